"""Strict reading of JSON answers: whatever breaks the documented format is named, nothing is mended."""

import json
import math
from collections.abc import Sequence
from typing import Any

from noonframe.errors import OutOfDomain
from noonframe.sky.forecast import SampleKind, WeatherSample
from noonframe.weather.errors import UpstreamMalformed
from noonframe.weather.provider import FARTHEST_CELL_DEG, HORIZON_S, AskedPlace


def _no_number(text: str) -> float:
    raise UpstreamMalformed(f"{text} stands where a number should be")


def json_object(body: bytes) -> dict[str, Any]:
    """The JSON object in `body`; an error text after a broken-off answer is told apart from other damage."""
    try:
        found = json.loads(body.decode("utf-8"), parse_constant=_no_number)
    except (ValueError, RecursionError):
        tail = body[-300:].decode("utf-8", "replace")
        if "error while streaming" in tail.lower():
            raise UpstreamMalformed("the answer breaks off with an error message of the server") from None
        raise UpstreamMalformed("the answer is not complete JSON") from None
    if not isinstance(found, dict):
        raise UpstreamMalformed("the answer is not a JSON object")
    return found


def member(parent: dict[str, Any], name: str, kind: type, where: str) -> Any:
    """`parent[name]`, which must be of `kind`."""
    value = parent.get(name)
    if not isinstance(value, kind) or isinstance(value, bool):
        raise UpstreamMalformed(f"{where}.{name} is missing or of the wrong type")
    return value


def number(value: object, where: str) -> float:
    """A finite number."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise UpstreamMalformed(f"{where} is not a number")
    try:
        found = float(value)
    except OverflowError:
        found = math.inf
    if not math.isfinite(found):
        raise UpstreamMalformed(f"{where} is not a finite number")
    return found


def number_or_none(value: object, where: str) -> float | None:
    """A finite number, or None where the provider tells nothing."""
    return None if value is None else number(value, where)


def share(percent: float | None) -> float | None:
    """Percent as a fraction."""
    return None if percent is None else percent / 100.0


def sample(kind: SampleKind, start_s: float, end_s: float, **told: float | None) -> WeatherSample | None:
    """A sample, or None where it would tell nothing; a value outside its range spoils the answer."""
    if all(value is None for name, value in told.items() if name != "member"):
        return None
    told = {name: value for name, value in told.items() if value is not None}
    count = int(told.pop("member", None) or 0)
    rain = told.get("precipitation_mm_h")
    if rain is not None and rain < 0.0:
        raise UpstreamMalformed(f"precipitation_mm_h is {rain}; it must be at least 0")
    try:
        return WeatherSample(kind, start_s, end_s, member=count, **told)
    except OutOfDomain as problem:
        raise UpstreamMalformed(f"{problem.field} is {problem.value}; it must be {problem.limit}") from None


def check_cell(latitude_deg: float, longitude_deg: float, place: AskedPlace) -> None:
    """Refuse an answer about somewhere else; a grid cell's centre lies near the place asked about.

    Longitudes are compared as lengths on the parallel, so that poles and antimeridian need no exception.
    """
    if not (-90.0 <= latitude_deg <= 90.0 and -180.0 <= longitude_deg <= 180.0):
        raise UpstreamMalformed("the answer's coordinates are not on earth")
    across = (longitude_deg - place.longitude_deg + 180.0) % 360.0 - 180.0
    across *= math.cos(math.radians(place.latitude_deg))
    if math.hypot(latitude_deg - place.latitude_deg, across) > FARTHEST_CELL_DEG:
        raise UpstreamMalformed("the answer is about another place")


def in_order(samples: Sequence[WeatherSample | None], fetched_s: float) -> tuple[WeatherSample, ...]:
    """Samples in time order up to the horizon; there must be some, and they must reach the present."""
    kept = [s for s in samples if s is not None and s.start_s <= fetched_s + HORIZON_S]
    if not kept:
        raise UpstreamMalformed("the answer tells nothing")
    if max(s.end_s for s in kept) < fetched_s:
        raise UpstreamMalformed("the answer ends before the present")
    return tuple(sorted(kept, key=lambda s: (s.start_s, s.end_s, s.member)))
