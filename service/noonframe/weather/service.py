"""Forecasts for a place: kept while they hold, asked for when they do not, and never a reason to fail.

Providers are taken in the order of the settings.  For each: its forecast while it holds, else a new one
(both fresh); else the last one up to `weather_stale_s` old (stale, with its age); else the next provider.
What went wrong on the way is told in `WeatherAnswer.why`.
"""

import random
import time
from collections.abc import Callable

import httpx

from noonframe.settings import Settings
from noonframe.weather.answer import Freshness, WeatherAnswer, WeatherEvidence, WeatherFailure
from noonframe.weather.cache import WeatherCache
from noonframe.weather.errors import FailureKind, UpstreamError
from noonframe.weather.fetch import countdown
from noonframe.weather.met_norway import MetNorway
from noonframe.weather.open_meteo import OpenMeteo, OpenMeteoEnsemble
from noonframe.weather.pauses import Pauses
from noonframe.weather.provider import AskedPlace, Provider, key_of
from noonframe.weather.renewal import Renewal
from noonframe.weather.shelf import Shelf, holds


def providers_from(settings: Settings) -> tuple[Provider, ...]:
    """The providers that the settings name, in their order."""
    contact = settings.weather_contact
    secret = settings.weather_open_meteo_key
    key = secret.get_secret_value() if secret else None
    made: dict[str, Callable[[], Provider]] = {
        "open-meteo": lambda: OpenMeteo(settings.weather_open_meteo_url, contact, key),
        "open-meteo-ensemble": lambda: OpenMeteoEnsemble(
            settings.weather_ensemble_url, settings.weather_ensemble_model, contact, key
        ),
        "met-norway": lambda: MetNorway(settings.weather_met_norway_url, contact or ""),
    }
    return tuple(made[name]() for name in settings.weather_providers)


class WeatherService:
    """Asks the providers, at most once at a time for each place, and keeps what they say.

    `clock` tells unix seconds, `pause` sleeps.  Safe to call from many threads.  `close` when done; the
    client and the cache stay the caller's.
    """

    def __init__(
        self,
        settings: Settings,
        cache: WeatherCache,
        clock: Callable[[], float],
        client: httpx.Client,
        *,
        chance: random.Random | None = None,
        pause: Callable[[float], None] = time.sleep,
    ) -> None:
        chance = chance or random.SystemRandom()
        self._settings = settings
        self._cache = cache
        self._clock = clock
        shelf = self._shelf = Shelf()
        pauses = self._pauses = Pauses(cache, chance)

        def renewal_of(provider: Provider) -> Renewal:
            return Renewal(
                settings,
                provider,
                cache,
                client,
                shelf=shelf,
                pauses=pauses,
                clock=clock,
                chance=chance,
                pause=pause,
            )

        self._renewals = [(p, renewal_of(p)) for p in providers_from(settings)]

    def close(self) -> None:
        """Ask nobody any more; a request under way is not waited for."""
        for _, renewal in self._renewals:
            renewal.close()

    def forecast_for(
        self, latitude_deg: float, longitude_deg: float, now_s: float | None = None
    ) -> WeatherAnswer:
        """What is known about the weather there and how well; returns within `weather_budget_s`.

        `now_s` is the present in unix seconds, by default the clock's.  Raises `OutOfDomain` for a position
        that is not on earth, and nothing because of the weather.
        """
        place = AskedPlace.near(latitude_deg, longitude_deg)
        now_s = self._clock() if now_s is None else now_s
        if not self._renewals:
            off = WeatherFailure("", FailureKind.OFF, "no weather provider is configured")
            return WeatherAnswer(now_s, why=(off,))
        left_s = countdown(self._settings.weather_budget_s)
        why: list[WeatherFailure] = []
        for position, (provider, renewal) in enumerate(self._renewals):
            wait_s = max(left_s(), 0.0) / (len(self._renewals) - position)
            evidence, failure = self._from_one(provider, renewal, place, now_s, wait_s=wait_s)
            if failure is not None:
                why.append(failure)
            if evidence is not None:
                return WeatherAnswer(now_s, (evidence,), tuple(why))
        return WeatherAnswer(now_s, why=tuple(why))

    def _from_one(
        self, provider: Provider, renewal: Renewal, place: AskedPlace, now_s: float, *, wait_s: float
    ) -> tuple[WeatherEvidence | None, WeatherFailure | None]:
        stored = self._cache.get(key_of(provider, place))
        failure = None
        if stored is None or not holds(stored, now_s):
            try:
                stored = renewal.answer(place, now_s, wait_s)
            except UpstreamError as problem:
                pause = self._pauses.in_force(provider, place, now_s)
                retry_at_s = None if pause is None else pause.until_s
                failure = WeatherFailure(provider.name, problem.kind, problem.reason, retry_at_s)
        if stored is None:
            return None, failure
        age_s = max(now_s - stored.fetched_s, 0.0)
        if failure is not None and age_s > self._settings.weather_stale_s:
            return None, failure
        try:
            forecast = self._shelf.opened(provider, place, stored)
        except UpstreamError as problem:
            return None, failure or WeatherFailure(provider.name, problem.kind, problem.reason)
        if forecast.samples[-1].start_s < now_s and max(s.end_s for s in forecast.samples) < now_s:
            return None, failure or WeatherFailure(
                provider.name, FailureKind.MALFORMED, "its forecast has come to its end"
            )
        freshness = Freshness.FRESH if failure is None else Freshness.STALE
        return WeatherEvidence(forecast, freshness, age_s), failure
