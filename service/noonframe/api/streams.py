"""Watching the records for all open streams at once, so that a hundred of them cost one question a second."""

import asyncio
import contextlib
from dataclasses import dataclass, field
from uuid import UUID

from starlette.concurrency import run_in_threadpool

from noonframe.api.records import Records
from noonframe.errors import NoonframeError
from noonframe.store.actors import Studio, current_studio

POLL_S = 1.0
_Key = tuple[Studio | None, UUID]


@dataclass
class _Watched:
    """One exposure: how many streams look at it, its newest version, and what wakes them."""

    version: int
    readers: int = 0
    moved: asyncio.Event = field(default_factory=asyncio.Event)

    def wake(self) -> None:
        self.moved.set()
        self.moved = asyncio.Event()


class Watcher:
    """Tells streams when the records of their exposure have changed; one per app and loop.

    Other workers write to the same database, so it is asked rather than told.  While the records cannot be
    read, streams keep what they have.
    """

    def __init__(self, records: Records) -> None:
        self._records = records
        self._watched: dict[_Key, _Watched] = {}
        self._task: asyncio.Task[None] | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._hurried: asyncio.Event | None = None
        self.stopping = False

    @property
    def watched(self) -> int:
        """How many exposures are watched."""
        return len(self._watched)

    def watch(self, run_id: UUID, version: int) -> None:
        """Begin to watch an exposure that is at `version`."""
        entry = self._watched.setdefault(_key(run_id), _Watched(version))
        entry.readers += 1
        entry.version = max(version, entry.version)
        if self._task is None or self._task.done():
            self._loop, self._hurried = asyncio.get_running_loop(), asyncio.Event()
            self._task = self._loop.create_task(self._poll(self._hurried))

    def hurry(self) -> None:
        """Something was told through this very app: ask at once.  For any thread."""
        if self._watched and self._loop is not None and self._hurried is not None:
            with contextlib.suppress(RuntimeError):  # the loop is closed, and with it every stream
                self._loop.call_soon_threadsafe(self._hurried.set)

    def leave(self, run_id: UUID) -> None:
        """One stream fewer on an exposure."""
        entry = self._watched[_key(run_id)]
        entry.readers -= 1
        if entry.readers == 0:
            del self._watched[_key(run_id)]

    def version(self, run_id: UUID) -> int:
        """The newest version known of a watched exposure."""
        return self._watched[_key(run_id)].version

    async def wait(self, run_id: UUID, version: int, timeout_s: float) -> None:
        """Until the exposure is past `version`, the app stops, or the time is over."""
        entry = self._watched[_key(run_id)]
        if self.stopping or entry.version > version:
            return
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(timeout_s):
                await entry.moved.wait()

    async def stop(self) -> None:
        """End the watching and let every stream go."""
        self.stopping = True
        for entry in self._watched.values():
            entry.wake()
        if self._task is not None:
            self._task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._task

    async def _poll(self, hurried: asyncio.Event) -> None:
        while self._watched and not self.stopping:
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(POLL_S):
                    await hurried.wait()
            hurried.clear()
            asked: dict[Studio | None, list[UUID]] = {}
            for studio, run_id in self._watched:
                asked.setdefault(studio, []).append(run_id)
            # side by side: a studio whose records are slow must not hold up another's streams
            await asyncio.gather(*(self._look(studio, ids) for studio, ids in asked.items()))

    async def _look(self, studio: Studio | None, ids: list[UUID]) -> None:
        try:
            found = await run_in_threadpool(self._ask, studio, ids)
        except NoonframeError:
            return
        for run_id, version in found.items():
            entry = self._watched.get((studio, run_id))
            if entry is not None and version > entry.version:
                entry.version = version
                entry.wake()

    def _ask(self, studio: Studio | None, ids: list[UUID]) -> dict[UUID, int]:
        from noonframe.store import exposures

        store = self._records.house() if studio is None else self._records.of(studio)
        with store.read() as db:
            return {one: version for one, (version, _) in exposures.versions(db, ids).items()}


def _key(run_id: UUID) -> _Key:
    return current_studio.get(), run_id
