"""Times as people type them: RFC 3339, or the clock at the place, which must name exactly one instant."""

import datetime as dt
import re

from noonframe_terminal.trouble import refusal

_LOCAL = re.compile(
    r"(?:(?P<day>\d{4}-\d{2}-\d{2}|today|tomorrow)[T ])?"
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2}))?",
    re.ASCII | re.IGNORECASE,
)
_STEP = re.compile(r"(\d+(?:\.\d+)?)\s*(s|min|h)?", re.ASCII | re.IGNORECASE)
_SHAPES = 'HH:MM at the place, "2026-06-21 14:30", or RFC 3339 with an offset (2026-06-21T14:30:00+01:00)'
_SECONDS = {"": 1.0, "s": 1.0, "min": 60.0, "h": 3600.0}


def today_at(zone: dt.tzinfo) -> dt.date:
    """The civil day it is now in `zone`."""
    return dt.datetime.now(zone).date()


def is_local(text: str) -> bool:
    """Whether `text` is a clock time that needs the place's zone."""
    return _LOCAL.fullmatch(text.strip()) is not None


def is_word_of_day(text: str) -> bool:
    """Whether `text` is a day that needs the place's zone."""
    return text.strip().lower() in ("today", "tomorrow")


def day_text(text: str, zone: dt.tzinfo) -> str:
    """An ISO date; `today` and `tomorrow` are days at the place."""
    word = text.strip().lower()
    if word == "today":
        return today_at(zone).isoformat()
    if word == "tomorrow":
        return (today_at(zone) + dt.timedelta(days=1)).isoformat()
    return word


def a_day(text: str, zone: dt.tzinfo, option: str) -> dt.date:
    """The same as a date; refused unless it is one."""
    try:
        return dt.date.fromisoformat(day_text(text, zone))
    except ValueError:
        raise refusal(option, text, "a date such as 2026-06-21, today or tomorrow") from None


def instant_text(text: str, zone: dt.tzinfo | None, option: str, day: dt.date | None = None) -> str:
    """RFC 3339 for what was typed; a clock time without a date is on `day`, or today at the place.

    `zone` may be None unless `is_local(text)`.  Refuses clock times that a change of the clocks leaves out
    or lets happen twice.
    """
    found = _LOCAL.fullmatch(text.strip())
    if found is None:
        if not re.match(r"\d{4}-\d{2}-\d{2}[Tt ]", text.strip(), re.ASCII):
            raise refusal(option, text, _SHAPES)
        return text.strip()
    assert zone is not None
    date = a_day(found["day"], zone, option) if found["day"] else day or today_at(zone)
    try:
        clock = dt.time(int(found["hour"]), int(found["minute"]), int(found["second"] or 0))
    except ValueError:
        raise refusal(option, text, "a time of day from 00:00 to 23:59") from None
    return _only_instant(text, date, clock, zone, option).isoformat()


def _only_instant(text: str, date: dt.date, clock: dt.time, zone: dt.tzinfo, option: str) -> dt.datetime:
    first = dt.datetime.combine(date, clock, tzinfo=zone)
    second = first.replace(fold=1)
    if first.utcoffset() == second.utcoffset():
        return first
    if first.astimezone(dt.UTC).astimezone(zone).replace(tzinfo=None) != first.replace(tzinfo=None):
        # PEP 495: only a time inside a gap does not survive the round trip
        raise refusal(
            option,
            text,
            f"a time that exists: on {date.isoformat()} the clocks in {zone} go forward and leave it out",
        )
    raise refusal(
        option,
        text,
        f"one instant: on {date.isoformat()} the clocks in {zone} go back and it happens twice;"
        f" write {first.isoformat()} or {second.isoformat()}",
    )


def day_bounds(day: dt.date, zone: dt.tzinfo) -> tuple[str, str]:
    """RFC 3339 of the first and the last whole second of `day` in `zone`."""
    start = dt.datetime.combine(day, dt.time(), tzinfo=zone)
    following = dt.datetime.combine(day + dt.timedelta(days=1), dt.time(), tzinfo=zone)
    end = following.astimezone(dt.UTC) - dt.timedelta(seconds=1)
    return start.isoformat(), end.astimezone(zone).isoformat()


def step_text(text: str, option: str = "--step") -> str:
    """Seconds, as text, for `600`, `600s`, `10min` or `1h`."""
    found = _STEP.fullmatch(text.strip())
    if found is None:
        raise refusal(option, text, "a length of time such as 600s, 10min or 1h")
    return f"{float(found[1]) * _SECONDS[(found[2] or '').lower()]:.12g}"
