"""What the weather service keeps between requests, as a protocol, and a version of it in memory.

Three kinds of record: the last good answer for a place, a pause during which nobody asks, and a lease that
lets one worker at a time ask for a place.  Every method may be called from any thread.  Keys and scopes are
opaque ASCII text of at most 120 characters.
"""

import threading
from dataclasses import dataclass, field
from typing import Protocol


@dataclass(frozen=True)
class StoredAnswer:
    """A provider's last good answer; unix seconds.

    `body` is the answer without transfer or content coding.  `etag` and `last_modified` are kept letter for
    letter as they came, because a conditional request must repeat them exactly; None where they did not come.
    No request is made before `expires_s`.  `fetched_s` is when the answer came or was last confirmed.
    """

    status: int
    body: bytes = field(repr=False)
    etag: str | None
    last_modified: str | None
    expires_s: float
    fetched_s: float


@dataclass(frozen=True)
class BackOff:
    """Nobody asks before `until_s` (unix seconds); `failures` counts those in a row, from 1.

    `kind` is a `FailureKind` value and `reason` one line of plain words.
    """

    until_s: float
    kind: str
    reason: str
    failures: int


class WeatherCache(Protocol):
    """Storage shared by every worker; each method is one short transaction."""

    def get(self, key: str) -> StoredAnswer | None:
        """The last answer put under `key`, whether expired or not."""
        ...

    def put(self, key: str, answer: StoredAnswer) -> None:
        """Keep `answer` under `key` in place of any earlier one."""
        ...

    def forget_before(self, fetched_s: float) -> None:
        """Drop every answer with `fetched_s` before this moment, and every pause that ended before it."""
        ...

    def get_back_off(self, scope: str) -> BackOff | None:
        """The pause last set for `scope` (a provider, or a provider at one place), even if it has ended."""
        ...

    def set_back_off(self, scope: str, pause: BackOff | None) -> None:
        """Set the pause of `scope` in place of any earlier one; None forgets it."""
        ...

    def take_lease(self, key: str, holder: str, now_s: float, until_s: float) -> bool:
        """Give `holder` the lease of `key` until `until_s`, and say whether it was given.

        Atomic.  Given when nobody has it, when the one in force ended at or before `now_s`, or when `holder`
        has it already (which moves its end).
        """
        ...

    def drop_lease(self, key: str, holder: str) -> None:
        """Give the lease of `key` back; nothing happens when `holder` does not have it."""
        ...


class MemoryCache:
    """`WeatherCache` for one process; forgotten when it ends."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._answers: dict[str, StoredAnswer] = {}
        self._pauses: dict[str, BackOff] = {}
        self._leases: dict[str, tuple[str, float]] = {}

    def get(self, key: str) -> StoredAnswer | None:
        """See `WeatherCache`."""
        with self._lock:
            return self._answers.get(key)

    def put(self, key: str, answer: StoredAnswer) -> None:
        """See `WeatherCache`."""
        with self._lock:
            self._answers[key] = answer

    def forget_before(self, fetched_s: float) -> None:
        """See `WeatherCache`."""
        with self._lock:
            self._answers = {k: a for k, a in self._answers.items() if a.fetched_s >= fetched_s}
            self._pauses = {k: p for k, p in self._pauses.items() if p.until_s >= fetched_s}

    def get_back_off(self, scope: str) -> BackOff | None:
        """See `WeatherCache`."""
        with self._lock:
            return self._pauses.get(scope)

    def set_back_off(self, scope: str, pause: BackOff | None) -> None:
        """See `WeatherCache`."""
        with self._lock:
            if pause is None:
                self._pauses.pop(scope, None)
            else:
                self._pauses[scope] = pause

    def take_lease(self, key: str, holder: str, now_s: float, until_s: float) -> bool:
        """See `WeatherCache`."""
        with self._lock:
            held = self._leases.get(key)
            if held is not None and held[0] != holder and held[1] > now_s:
                return False
            self._leases[key] = (holder, until_s)
            return True

    def drop_lease(self, key: str, holder: str) -> None:
        """See `WeatherCache`."""
        with self._lock:
            held = self._leases.get(key)
            if held is not None and held[0] == holder:
                del self._leases[key]
