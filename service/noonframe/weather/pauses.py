"""Leaving a provider alone for a while after it failed, longer each time, and remembered by every worker."""

import logging
import random

from noonframe.weather.cache import BackOff, WeatherCache
from noonframe.weather.errors import UpstreamError
from noonframe.weather.provider import AskedPlace, Provider, key_of, scope_of
from noonframe.weather.verdict import LONGEST_PAUSE_S

FIRST_PAUSE_S, LONGEST_GROWN_PAUSE_S = 30.0, 900.0
PAUSE_JITTER = 0.1

_log = logging.getLogger(__name__)


class Pauses:
    """The pauses of one cache: of a whole provider, or of a provider at one place."""

    def __init__(self, cache: WeatherCache, chance: random.Random) -> None:
        self._cache = cache
        self._chance = chance

    def in_force(self, provider: Provider, place: AskedPlace, now_s: float) -> BackOff | None:
        """The pause that ends last; None when the provider may be asked.

        One that ends farther off than any pause lasts is left over from a wrong clock.
        """
        found = (self._cache.get_back_off(s) for s in (scope_of(provider), key_of(provider, place)))
        latest_s = now_s + (1.0 + PAUSE_JITTER) * LONGEST_PAUSE_S
        running = [p for p in found if p is not None and now_s < p.until_s <= latest_s]
        return max(running, key=lambda p: p.until_s) if running else None

    def start(self, provider: Provider, place: AskedPlace, problem: UpstreamError, now_s: float) -> None:
        """Begin the pause that `problem` asks for, or one that doubles with each failure in a row."""
        scope = key_of(provider, place) if problem.place_only else scope_of(provider)
        earlier = self._cache.get_back_off(scope)
        failures = 1 if earlier is None else earlier.failures + 1
        grown_s = min(FIRST_PAUSE_S * 2.0 ** min(failures - 1, 10), LONGEST_GROWN_PAUSE_S)
        pause_s = grown_s if problem.pause_s is None else max(problem.pause_s, FIRST_PAUSE_S)
        pause_s *= 1.0 + self._chance.uniform(0.0, PAUSE_JITTER)
        begun = BackOff(now_s + pause_s, problem.kind.value, problem.reason, failures)
        self._cache.set_back_off(scope, begun)
        _log.warning("%s: %s; not asked again for %.0f s", provider.name, problem.reason, pause_s)

    def end(self, provider: Provider, place: AskedPlace) -> None:
        """Forget what was held against the provider."""
        for scope in (scope_of(provider), key_of(provider, place)):
            self._cache.set_back_off(scope, None)
