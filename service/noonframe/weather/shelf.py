"""Stored answers as forecasts, each read once, because many exposures may follow the same sky."""

import threading
from collections import OrderedDict

from noonframe.sky.forecast import Forecast
from noonframe.weather.cache import StoredAnswer
from noonframe.weather.provider import AskedPlace, Provider, key_of

MOST_READ = 64


class Shelf:
    """The latest few forecasts that were read, for any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._read: OrderedDict[tuple[str, float, float], Forecast] = OrderedDict()

    def opened(self, provider: Provider, place: AskedPlace, stored: StoredAnswer) -> Forecast:
        """`stored` as a forecast; raises `UpstreamMalformed`."""
        mark = (key_of(provider, place), stored.fetched_s, stored.expires_s)
        with self._lock:
            if mark in self._read:
                self._read.move_to_end(mark)
                return self._read[mark]
        forecast = provider.read(stored.body, place, stored.fetched_s, stored.expires_s)
        with self._lock:
            self._read[mark] = forecast
            while len(self._read) > MOST_READ:
                self._read.popitem(last=False)
        return forecast


def holds(stored: StoredAnswer, now_s: float) -> bool:
    """Whether `stored` is to be used without asking; one from the future is left over from a wrong clock."""
    return stored.fetched_s <= now_s + 60.0 and now_s < stored.expires_s
