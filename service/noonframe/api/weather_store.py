"""Where forecasts are kept: in the database, and in memory while the database cannot be used."""

import logging
import threading
import time
from collections.abc import Callable
from typing import TypeVar

from noonframe.errors import NoonframeError
from noonframe.store.errors import StoreError
from noonframe.weather.cache import BackOff, MemoryCache, StoredAnswer, WeatherCache

REST_S = 60.0
ALONE = "the records cannot be used: forecasts are kept in memory, for this process alone"

_log = logging.getLogger(__name__)
_Found = TypeVar("_Found")


class SteadyCache:
    """A `WeatherCache` that never fails: a sick database must not stop an answer about light.

    `open_shared` gives the cache in the database and may raise.  After a failure the database is left alone
    for a minute by `clock` (monotonic seconds), because every attempt may wait as long as a change may.
    """

    def __init__(
        self, open_shared: Callable[[], WeatherCache], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._open_shared = open_shared
        self._clock = clock
        self._own = MemoryCache()
        self._opening = threading.Lock()
        self._turn = threading.Condition()
        self._at_work = 0
        self._shared: WeatherCache | None = None
        self._unread = self._unwritten = False
        self._again_s = -float("inf")

    @property
    def note(self) -> str | None:
        """What an answer should say of it, None while all is well."""
        return ALONE if self._unread or self._unwritten else None

    def close(self) -> None:
        """Leave the database alone from now on, once what is under way there has ended.

        A request to a provider may outlast the app, and must not open the records again when it comes back.
        """
        with self._turn:
            self._again_s = float("inf")
            self._turn.wait_for(lambda: self._at_work == 0, timeout=REST_S)

    def get(self, key: str) -> StoredAnswer | None:
        """The answer that came later, where both hold one."""
        found = (self._tried(lambda cache: cache.get(key)), self._own.get(key))
        return max((a for a in found if a is not None), key=lambda a: a.fetched_s, default=None)

    def put(self, key: str, answer: StoredAnswer) -> None:
        """See `WeatherCache`."""
        if not self._done(lambda cache: cache.put(key, answer)):
            self._own.put(key, answer)

    def forget_before(self, fetched_s: float) -> None:
        """See `WeatherCache`."""
        self._done(lambda cache: cache.forget_before(fetched_s))
        self._own.forget_before(fetched_s)

    def get_back_off(self, scope: str) -> BackOff | None:
        """The pause that ends later, where both hold one."""
        found = (self._tried(lambda cache: cache.get_back_off(scope)), self._own.get_back_off(scope))
        return max((p for p in found if p is not None), key=lambda p: p.until_s, default=None)

    def set_back_off(self, scope: str, pause: BackOff | None) -> None:
        """See `WeatherCache`."""
        kept = self._done(lambda cache: cache.set_back_off(scope, pause))
        self._own.set_back_off(scope, None if kept else pause)

    def take_lease(self, key: str, holder: str, now_s: float, until_s: float) -> bool:
        """See `WeatherCache`."""
        given = self._tried(lambda cache: cache.take_lease(key, holder, now_s, until_s), writes=True)
        return self._own.take_lease(key, holder, now_s, until_s) if given is None else given

    def drop_lease(self, key: str, holder: str) -> None:
        """See `WeatherCache`."""
        self._done(lambda cache: cache.drop_lease(key, holder))
        self._own.drop_lease(key, holder)

    def _done(self, action: Callable[[WeatherCache], None]) -> bool:
        def do(cache: WeatherCache) -> bool:
            action(cache)
            return True

        return self._tried(do, writes=True) is not None

    def _tried(self, action: Callable[[WeatherCache], _Found], *, writes: bool = False) -> _Found | None:
        """What `action` gives with the database; None while that cannot be used."""
        shared = self._usable()
        if shared is None:
            return None
        try:
            result = action(shared)
        except StoreError as problem:
            self._unwritten = self._unwritten or writes
            self._rest(problem)
            return None
        finally:
            with self._turn:
                self._at_work -= 1
                self._turn.notify_all()
        self._unread = False
        # a database that can be read may still take nothing in
        self._unwritten = self._unwritten and not writes
        return result

    def _usable(self) -> WeatherCache | None:
        """The database, marked as in use; None while it rests."""
        if self._shared is None:
            with self._opening:
                self._open()
        with self._turn:
            if self._shared is None or self._clock() < self._again_s:
                return None
            self._at_work += 1
            return self._shared

    def _open(self) -> None:
        if self._shared is None and self._clock() >= self._again_s:
            try:
                self._shared = self._open_shared()
            except NoonframeError as problem:  # also for an address that is none
                self._rest(problem)

    def _rest(self, problem: NoonframeError) -> None:
        self._unread = not self._unwritten
        self._again_s = max(self._again_s, self._clock() + REST_S)
        _log.warning("forecasts are kept in memory for now: %s", problem)
