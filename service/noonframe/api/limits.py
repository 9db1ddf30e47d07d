"""How many requests a caller has left in this minute (draft-ietf-httpapi-ratelimit-headers-11).

The count lies in the database, so that all workers agree; each takes a batch of requests from it at a time,
a tenth of what is left, so that most requests touch no database and the last ones are counted one by one.
What a worker has taken and not used is lost at the end of the minute.  While the count cannot be reached a
worker counts alone.
"""

import asyncio
import math
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field

from starlette.concurrency import run_in_threadpool

from noonframe.api.access_errors import quota_exceeded
from noonframe.api.records import Records
from noonframe.errors import NoonframeError

WINDOW_S = 60
USUAL = 600
_MOST_CALLERS = 10_000
_SHARE = 10  # of what is left, one batch is one part in so many
POLICY, STREAMS_POLICY = "requests", "streams"


@dataclass
class _Caller:
    """One caller's minute: how many are ready to be used here, and how many nobody has taken."""

    starts_s: float = -math.inf
    ready: int = 0
    free: int = 0
    turn: asyncio.Lock = field(default_factory=asyncio.Lock)


class Limits:
    """Counts requests of each caller against `quota` a minute; for one app and loop."""

    def __init__(self, records: Records, clock: Callable[[], float], quota: int) -> None:
        self._records = records
        self._clock = clock
        self.quota = quota
        self.policy_field = f'"{POLICY}";q={quota};w={WINDOW_S}'
        self._callers: OrderedDict[str, _Caller] = OrderedDict()
        self._forgotten_s = -math.inf

    async def count(self, who: str) -> str:
        """Count one request, and give the RateLimit field; raises `Refusal` when there is none left."""
        now_s = self._clock()
        starts_s = now_s - now_s % WINDOW_S
        caller = self._callers.get(who)
        if caller is None:
            caller = self._callers[who] = _Caller()
            if len(self._callers) > _MOST_CALLERS:
                self._callers.popitem(last=False)
        if caller.starts_s != starts_s:
            caller.starts_s, caller.ready, caller.free = starts_s, 0, self.quota
        if caller.ready == 0:
            async with caller.turn:
                if caller.ready == 0 and caller.free > 0:
                    await self._take_batch(who, caller)
        left_s = max(1, math.ceil(starts_s + WINDOW_S - now_s))
        if caller.ready == 0:
            told = {"RateLimit-Policy": self.policy_field, "RateLimit": self._field(0, left_s)}
            detail = f"At most {self.quota} requests in {WINDOW_S} s; the next ones in {left_s} s"
            raise quota_exceeded(POLICY, left_s, detail, told)
        caller.ready -= 1
        return self._field(caller.ready + caller.free, left_s)

    @staticmethod
    def _field(remaining: int, left_s: int) -> str:
        return f'"{POLICY}";r={remaining};t={left_s}'

    async def _take_batch(self, who: str, caller: _Caller) -> None:
        wanted = max(1, caller.free // _SHARE)
        try:
            granted, taken = await run_in_threadpool(self._take, who, caller.starts_s, wanted)
        except NoonframeError:
            granted, taken = wanted, self.quota - caller.free + wanted
        caller.ready, caller.free = granted, self.quota - taken

    def _take(self, who: str, starts_s: float, wanted: int) -> tuple[int, int]:
        from noonframe.store import limits

        with self._records.house().write() as db:
            if self._forgotten_s < starts_s:
                limits.forget(db, starts_s - WINDOW_S)
                self._forgotten_s = starts_s
            return limits.take(db, who, starts_s, wanted, self.quota)


class OpenStreams:
    """How many streams each caller has open in this worker."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._open: dict[str, int] = {}

    @property
    def total(self) -> int:
        """All that are open."""
        return sum(self._open.values())

    def begin(self, who: str) -> None:
        """Count one more; raises `Refusal` when that is too many."""
        there = self._open.get(who, 0)
        if there >= self._most:
            told = {"RateLimit-Policy": f'"{STREAMS_POLICY}";q={self._most};qu="concurrent-requests"'}
            detail = f"At most {self._most} streams at once; close one first"
            raise quota_exceeded(STREAMS_POLICY, 5, detail, told)
        self._open[who] = there + 1

    def end(self, who: str) -> None:
        """Count one fewer."""
        left = self._open[who] - 1
        if left:
            self._open[who] = left
        else:
            del self._open[who]
