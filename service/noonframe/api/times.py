"""RFC 3339 in and out: always with an offset, never guessed."""

import datetime as dt
import re
from typing import Annotated

from pydantic import BeforeValidator, WithJsonSchema

from noonframe.errors import Malformed, OutOfDomain
from noonframe.sun.ephemeris import EARLIEST, LATEST

# A year inside what the sun is known for, so that a search for the next chance stays within it.
_FIRST, _LAST = EARLIEST.replace(year=EARLIEST.year + 1), LATEST.replace(year=LATEST.year - 2)
_RFC_3339 = re.compile(
    r"(\d{4})-(\d{2})-(\d{2})[Tt](\d{2}):(\d{2}):(\d{2})(\.\d{1,9})?([Zz]|[+-]([01]\d|2[0-3]):[0-5]\d)",
    re.ASCII,
)
_NAIVE = re.compile(r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?", re.ASCII)
_PLUS_LOST = re.compile(r".*\d \d{2}:\d{2}", re.ASCII)
_SHAPE = "an RFC 3339 time with an offset, such as 2026-06-21T12:00:00+01:00 or ...Z"


def parse_time(text: object) -> dt.datetime:
    """An aware datetime from RFC 3339 text; raises `Malformed` or `OutOfDomain` (outside 1901-2198)."""
    if isinstance(text, dt.datetime) and text.tzinfo is not None:
        return _in_range(text)
    if not isinstance(text, str):
        raise Malformed("time", text, _SHAPE)
    if not _RFC_3339.fullmatch(text):
        hint = ""
        if _PLUS_LOST.fullmatch(text):
            hint = "; a plus sign in an address must be written %2B"
        elif _NAIVE.fullmatch(text):
            hint = "; a time without an offset could mean anywhere"
        raise Malformed("time", text[:60], _SHAPE + hint)
    try:
        return _in_range(dt.datetime.fromisoformat(text.upper()))
    except ValueError as problem:  # a date or an hour that does not exist
        raise Malformed("time", text, f"a real date and time ({problem})") from None


def _in_range(moment: dt.datetime) -> dt.datetime:
    if not _FIRST <= moment < _LAST:
        raise OutOfDomain("time", moment.isoformat(), f"between the years {_FIRST.year} and {_LAST.year}")
    return moment


def _as_value_error(text: object) -> dt.datetime:
    try:
        return parse_time(text)
    except (Malformed, OutOfDomain) as problem:
        raise ValueError(problem.limit) from None


OffsetTime = Annotated[
    dt.datetime,
    BeforeValidator(_as_value_error),
    WithJsonSchema(
        {"type": "string", "format": "date-time", "examples": ["2026-06-21T12:00:00+01:00"]},
    ),
]
"""A request field that takes RFC 3339 with an offset and nothing else."""


_CIVIL_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


def _civil_date(text: object) -> dt.date:
    if isinstance(text, dt.date) and not isinstance(text, dt.datetime):
        return text
    if not (isinstance(text, str) and _CIVIL_DATE.fullmatch(text)):
        raise ValueError("a date such as 2026-06-21")
    try:
        day = dt.date.fromisoformat(text)
    except ValueError as problem:
        raise ValueError(f"a real date ({problem})") from None
    if not _FIRST.year <= day.year < _LAST.year:
        raise ValueError(f"a date between the years {_FIRST.year} and {_LAST.year}")
    return day


CivilDate = Annotated[
    dt.date,
    BeforeValidator(_civil_date),
    WithJsonSchema({"type": "string", "format": "date", "examples": ["2026-06-21"]}),
]
"""A request field that takes a civil date and nothing else: a bare number is no date."""


def format_time(unix_s: float, zone: dt.tzinfo) -> str:
    """RFC 3339 in `zone`, to the millisecond where there is one."""
    moment = dt.datetime.fromtimestamp(round(unix_s, 3), zone)
    return moment.isoformat(timespec="milliseconds" if moment.microsecond else "seconds")
