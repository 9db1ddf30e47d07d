"""Lengths and clock times as a printer reads them."""

import datetime as dt


def length(seconds: float) -> str:
    """A length of time, rounded as one would say it: seconds, then ten seconds, then minutes."""
    whole = round(seconds)
    if whole < 120:
        return f"{max(whole, 1)} s"
    if whole < 20 * 60:
        minutes, rest = divmod(10 * round(seconds / 10.0), 60)
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, minutes = divmod(round(seconds / 60.0), 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"


def moment(text: str) -> dt.datetime:
    """An aware datetime from an answer's RFC 3339 text."""
    return dt.datetime.fromisoformat(text)


def clock(when: dt.datetime, *, seconds: bool = False) -> str:
    """The time of day, to the nearest minute or second."""
    if seconds:
        return f"{when + dt.timedelta(milliseconds=500):%H:%M:%S}"
    return f"{_to_minute(when):%H:%M}"


def on_day(when: dt.datetime, today: dt.date) -> str:
    """` on 21 June 2026`, ` tomorrow`, or nothing when it is today."""
    day = _to_minute(when).date()
    if day == today:
        return ""
    if day == today + dt.timedelta(days=1):
        return " tomorrow"
    return f" on {date(day)}"


def _to_minute(when: dt.datetime) -> dt.datetime:
    """`when` to the nearest minute, half a minute to the even one, as the service's sentences have it."""
    return dt.datetime.fromtimestamp(60.0 * round(when.timestamp() / 60.0), when.tzinfo)


def date(day: dt.date) -> str:
    """`21 June 2026`."""
    return f"{day.day} {month(day.month)} {day.year}"


def month(number: int) -> str:
    """The name of a month, from 1 for January."""
    return _MONTHS[number - 1]


# not strftime's %B, which follows the machine's language while the rest of the sentence does not
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
