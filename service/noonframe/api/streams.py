"""Watching the records for all open streams at once, so that a hundred of them cost one question a second."""

import asyncio
import contextlib
from uuid import UUID

from starlette.concurrency import run_in_threadpool

from noonframe.api.records import Records
from noonframe.store.errors import StoreError

POLL_S = 1.0


class Watcher:
    """Tells streams when the records of their exposure have changed; one per app and loop.

    Other workers write to the same database, so it is asked rather than told.  While the records cannot be
    read, streams keep what they have.
    """

    def __init__(self, records: Records) -> None:
        self._records = records
        self._watched: dict[UUID, int] = {}
        self._versions: dict[UUID, int] = {}
        self._changed: asyncio.Condition | None = None
        self._task: asyncio.Task[None] | None = None
        self.stopping = False

    def watch(self, run_id: UUID, version: int) -> None:
        """Begin to watch an exposure that is at `version`."""
        self._watched[run_id] = self._watched.get(run_id, 0) + 1
        self._versions[run_id] = max(version, self._versions.get(run_id, 0))
        if self._changed is None:
            self._changed = asyncio.Condition()
        if self._task is None or self._task.done():
            self._task = asyncio.create_task(self._poll())

    def leave(self, run_id: UUID) -> None:
        """One stream fewer on an exposure."""
        self._watched[run_id] -= 1
        if self._watched[run_id] == 0:
            del self._watched[run_id], self._versions[run_id]

    def version(self, run_id: UUID) -> int:
        """The newest version known of a watched exposure."""
        return self._versions[run_id]

    async def wait(self, run_id: UUID, version: int, timeout_s: float) -> None:
        """Until the exposure is past `version`, the app stops, or the time is over."""
        assert self._changed is not None
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(timeout_s), self._changed:
                await self._changed.wait_for(
                    lambda: self.stopping or self._versions.get(run_id, version) > version
                )

    async def stop(self) -> None:
        """End the watching and let every stream go."""
        self.stopping = True
        if self._changed is not None:
            async with self._changed:
                self._changed.notify_all()
        if self._task is not None:
            self._task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._task

    async def _poll(self) -> None:
        while self._watched and not self.stopping:
            await asyncio.sleep(POLL_S)
            ids = list(self._watched)
            try:
                found = await run_in_threadpool(self._ask, ids)
            except StoreError:
                continue
            moved = {one: at for one, at in found.items() if at > self._versions.get(one, at)}
            if moved and self._changed is not None:
                self._versions.update(moved)
                async with self._changed:
                    self._changed.notify_all()

    def _ask(self, ids: list[UUID]) -> dict[UUID, int]:
        from noonframe.store import exposures

        with self._records.open().read() as db:
            return {one: version for one, (version, _) in exposures.versions(db, ids).items()}
