"""Getting a new answer: one request at a time for each place, over all threads and workers."""

import logging
import random
import threading
import uuid
from collections.abc import Callable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from dataclasses import replace

import httpx

from noonframe.settings import Settings
from noonframe.weather.cache import StoredAnswer, WeatherCache
from noonframe.weather.errors import FailureKind, UpstreamError
from noonframe.weather.fetch import Reply, countdown, fetch
from noonframe.weather.pauses import Pauses
from noonframe.weather.provider import AskedPlace, Provider, key_of
from noonframe.weather.shelf import Shelf, holds
from noonframe.weather.verdict import check, lifetime_s

HOLD_JITTER, LONGEST_JITTER_S = 0.2, 300.0
RETRY_AFTER_S = (0.1, 0.3)
LEASE_POLL_S = 0.05
KEPT_S = 2 * 86400.0
MOST_REQUESTS = 4  # at once to one provider

_log = logging.getLogger(__name__)


class Renewal:
    """Asks one provider on threads of its own, so that no caller waits longer than it wants to.

    Name look-ups cannot be given a time limit, and a late answer still serves the next caller: that is why
    the request outlives the wait for it.
    """

    def __init__(
        self,
        settings: Settings,
        provider: Provider,
        cache: WeatherCache,
        client: httpx.Client,
        *,
        shelf: Shelf,
        pauses: Pauses,
        clock: Callable[[], float],
        chance: random.Random,
        pause: Callable[[float], None],
    ) -> None:
        self._settings = settings
        self._provider = provider
        self._cache = cache
        self._client = client
        self._shelf = shelf
        self._pauses = pauses
        self._clock = clock
        self._chance = chance
        self._pause = pause
        self._pool = ThreadPoolExecutor(MOST_REQUESTS, thread_name_prefix=f"noonframe-{provider.name}")
        self._lock = threading.Lock()
        self._flights: dict[str, Future[StoredAnswer]] = {}

    def close(self) -> None:
        """Ask no more; a request under way is not waited for."""
        self._pool.shutdown(wait=False, cancel_futures=True)

    def answer(self, place: AskedPlace, now_s: float, wait_s: float) -> StoredAnswer:
        """A new answer, from a request that all callers for this place share; raises `UpstreamError`."""
        self._refuse_in_pause(place, now_s)
        key = key_of(self._provider, place)
        try:
            with self._lock:
                flight = self._flights.get(key)
                if flight is None:
                    flight = self._pool.submit(self._fly, place, key, now_s)
                    self._flights[key] = flight
            return flight.result(timeout=wait_s)
        except TimeoutError:
            reason = f"no answer within {wait_s:.1f} s"
            raise UpstreamError(FailureKind.TIMED_OUT, reason) from None
        except (RuntimeError, CancelledError):
            raise UpstreamError(FailureKind.OFF, "the service is closing") from None

    def _refuse_in_pause(self, place: AskedPlace, now_s: float) -> None:
        pause = self._pauses.in_force(self._provider, place, now_s)
        if pause is not None:
            raise UpstreamError(FailureKind(pause.kind), pause.reason)

    def _fly(self, place: AskedPlace, key: str, now_s: float) -> StoredAnswer:
        try:
            return self._under_lease(place, key, now_s)
        except UpstreamError:
            raise
        except Exception:
            # weather is a help, not a condition: a fault here must not take an answer down with it
            _log.exception("the request to %s failed by a fault of this program", self._provider.name)
            reason = "a fault of this program; its log says more"
            raise UpstreamError(FailureKind.INTERNAL, reason) from None
        finally:
            with self._lock:
                del self._flights[key]

    def _under_lease(self, place: AskedPlace, key: str, now_s: float) -> StoredAnswer:
        holder = uuid.uuid4().hex
        request_s = self._settings.weather_request_s
        left_s = countdown(request_s)
        while True:
            began_s = self._clock()
            # a last read may begin just before the end of patience and take as long again
            leased = self._cache.take_lease(key, holder, began_s, began_s + 2.0 * request_s + 15.0)
            try:
                # another caller or worker may have brought it meanwhile, or learned to leave it alone
                stored = self._cache.get(key)
                if stored is not None and holds(stored, now_s):
                    return stored
                self._refuse_in_pause(place, now_s)
                if leased:
                    return self._asked_and_kept(place, key, stored, now_s)
            finally:
                if leased:
                    self._cache.drop_lease(key, holder)
            if left_s() <= 0.0:
                raise UpstreamError(FailureKind.TIMED_OUT, "another worker is still asking")
            self._pause(LEASE_POLL_S)

    def _asked_and_kept(
        self, place: AskedPlace, key: str, stored: StoredAnswer | None, now_s: float
    ) -> StoredAnswer:
        if stored is not None:
            try:
                self._shelf.opened(self._provider, place, stored)
            except UpstreamError:
                stored = None  # unreadable: not worth confirming
        try:
            answer = self._asked(place, stored, now_s)
            self._shelf.opened(self._provider, place, answer)
        except UpstreamError as problem:
            self._pauses.start(self._provider, place, problem, now_s)
            raise
        self._cache.put(key, answer)
        self._pauses.end(self._provider, place)
        self._cache.forget_before(now_s - KEPT_S)
        return answer

    def _asked(self, place: AskedPlace, stored: StoredAnswer | None, now_s: float) -> StoredAnswer:
        conditions = {}
        if stored is not None and stored.last_modified:
            conditions["If-Modified-Since"] = stored.last_modified
        if stored is not None and stored.etag:
            conditions["If-None-Match"] = stored.etag
        reply = self._reply(place, conditions, now_s)
        hold_s = lifetime_s(reply.headers, now_s, self._settings.weather_hold_s)
        hold_s += self._chance.uniform(0.0, min(HOLD_JITTER * hold_s, LONGEST_JITTER_S))
        if reply.status == 304 and stored is not None:
            return replace(stored, expires_s=now_s + hold_s, fetched_s=now_s)
        trial = reply.status == 203
        if trial:
            _log.warning(
                "%s answers 203: this version is a trial or about to be withdrawn", self._provider.name
            )
        return StoredAnswer(
            status=reply.status,
            body=reply.body,
            # a product that answers 203 does not honour conditions
            etag=None if trial else reply.headers.get("etag"),
            last_modified=None if trial else reply.headers.get("last-modified"),
            expires_s=now_s + hold_s,
            fetched_s=now_s,
        )

    def _reply(self, place: AskedPlace, conditions: dict[str, str], now_s: float) -> Reply:
        question = self._provider.request(place)
        left_s = countdown(self._settings.weather_request_s)
        wait_s = self._chance.uniform(*RETRY_AFTER_S)

        def attempt() -> Reply:
            reply = fetch(self._client, question, conditions, left_s)
            check(reply, bool(conditions), now_s)
            return reply

        try:
            return attempt()
        except UpstreamError as problem:
            if not problem.worth_retrying or left_s() < 2.0 * wait_s:
                raise
        self._pause(wait_s)
        return attempt()
