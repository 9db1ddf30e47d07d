"""From options to the service's fields: the zone of the place, where a typed time needs it."""

import datetime as dt
from collections.abc import Mapping
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from noonframe_terminal import moments
from noonframe_terminal.contract import Service
from noonframe_terminal.trouble import Failed, refusal

_COORDINATES = ("latitude_deg", "longitude_deg")


async def zone_of(service: Service, fields: Mapping[str, str], names: Mapping[str, str]) -> dt.tzinfo:
    """The time zone of the place asked about; under a lamp that of this machine."""
    if "time_zone" in fields:
        return _zone(fields["time_zone"], "--time-zone")
    if "lamp" in fields:
        return dt.datetime.now().astimezone().tzinfo or dt.UTC
    saved = await _saved_place(service, fields, names)
    if "time_zone" in saved:
        return _zone(saved["time_zone"], None)
    fields = {**fields, **saved}
    if "place" in fields:
        name, called = fields["place"], names["place"]
    else:
        for field in _COORDINATES:
            _check_number(fields[field], names[field])
        name, called = ",".join(fields[field] for field in _COORDINATES), "--latitude, --longitude"
    answer = await service.get("/v1/places", {"name": name}, {**names, "place": called, "name": called})
    # of several cities that share a name the first will do: the question itself is then refused as ambiguous
    return _zone(str(answer.says["places"][0]["time_zone"]), None)


async def _saved_place(
    service: Service, fields: Mapping[str, str], names: Mapping[str, str]
) -> dict[str, str]:
    """The place of a saved spot, or a saved place, as far as it tells the zone; empty without either."""
    if "saved_spot" not in fields and "saved_place" not in fields:
        return {}
    from noonframe_terminal.saved import PLACES, SPOTS, find_saved, is_saved

    words = fields.get("saved_place")
    if "saved_spot" in fields:
        spot = await find_saved(service, SPOTS, fields["saved_spot"], names["saved_spot"])
        if spot["time_zone"] is not None:
            return {"time_zone": str(spot["time_zone"])}
        if spot["place"] is None:
            return {name: str(spot[name]) for name in _COORDINATES}
        if not await is_saved(service, PLACES, spot["place"]):
            return {"place": str(spot["place"])}
        words = str(spot["place"])
    assert words is not None
    place = await find_saved(service, PLACES, words, names["saved_place"])
    return {"time_zone": str(place["time_zone"])}


def _check_number(text: str, option: str) -> None:
    try:
        float(text)
    except ValueError:
        raise refusal(option, text, "a number") from None


def _zone(name: str, option: str | None) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        if option is None:
            raise Failed(f"this machine knows no time zone {name}; give --time-zone") from None
        raise refusal(option, name, "an IANA time zone such as Europe/Lisbon") from None


async def start_field(
    service: Service, text: str | None, fields: Mapping[str, str], names: Mapping[str, str]
) -> dict[str, str]:
    """The `start` field; empty for now, but under a lamp, which has no place, now by this machine's clock."""
    if text is None or text.strip().lower() == "now":
        if "lamp" not in fields or "time_zone" in fields:
            return {}
        return {"start": dt.datetime.now().astimezone().isoformat(timespec="seconds")}
    zone = await zone_of(service, fields, names) if moments.is_local(text) else None
    return {"start": moments.instant_text(text, zone, "--start")}


async def date_field(
    service: Service, text: str | None, fields: Mapping[str, str], names: Mapping[str, str]
) -> dict[str, str]:
    """The `date` field; empty for today."""
    if text is None or text.strip().lower() == "today":
        return {}
    if moments.is_word_of_day(text):
        return {"date": moments.day_text(text, await zone_of(service, fields, names))}
    return {"date": text.strip()}


async def span_fields(
    service: Service,
    *,
    day_text: str,
    from_text: str | None,
    to_text: str | None,
    fields: Mapping[str, str],
    names: Mapping[str, str],
) -> dict[str, str]:
    """The `start` and `end` fields of a course of light: what was typed, else the bounds of the day."""
    zone = await zone_of(service, fields, names)
    day = moments.a_day(day_text, zone, "--date")
    start, end = moments.day_bounds(day, zone)
    if from_text is not None:
        start = moments.instant_text(from_text, zone, "--from", day)
    if to_text is not None:
        end = moments.instant_text(to_text, zone, "--to", day)
    return {"start": start, "end": end}
