"""Calendars written as iCalendar: RFC 5545, with the properties of RFC 7986.

All times are UTC, so that no clock change needs telling.  Nothing depends on the moment of writing: without a
METHOD, DTSTAMP is when the entry was last revised (RFC 5545, 3.8.7.2), so equal calendars are equal bytes.
"""

import datetime as dt
import re
import unicodedata
from typing import TYPE_CHECKING

from noonframe.api.calendar_entries import Alarm, CalendarSheet, Entry, uid_of

if TYPE_CHECKING:
    from icalendar import Alarm as IcsAlarm
    from icalendar import Event

MEDIA_TYPE = "text/calendar"
CONTENT_TYPE = f"{MEDIA_TYPE}; charset=utf-8"
_PRODID = "-//noonframe//sun prints//EN"
_LINE_ENDS = re.compile("\r\n|[\r\v\f\x85\u2028\u2029]")
_COLOUR = "goldenrod"  # a CSS name, as RFC 7986 asks for; a hint only


def write_ics(sheet: CalendarSheet) -> bytes:
    """The calendar as an iCalendar object: CRLF, lines folded at 75 octets, entries in order of time."""
    from icalendar import Calendar, vText

    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", _PRODID)
    calendar.add("calscale", "GREGORIAN")
    calendar.add("uid", str(sheet.uid))
    # neither this nor the X- properties are text to the library, which would leave commas as they are
    calendar.add("name", vText(writable(sheet.name)))
    calendar.add("description", writable(sheet.text))
    calendar.add("last-modified", _utc(sheet.revised_s))
    calendar.add("color", _COLOUR)
    # What came before RFC 7986, and is still what many clients read.
    calendar.add("x-wr-calname", vText(writable(sheet.name)))
    calendar.add("x-wr-caldesc", vText(writable(sheet.text)))
    if sheet.refresh_s is not None:
        every = dt.timedelta(seconds=sheet.refresh_s)
        calendar.add("refresh-interval", every, parameters={"VALUE": "DURATION"})
        calendar.add("x-published-ttl", every, parameters={"VALUE": "DURATION"})
    if sheet.source is not None:
        calendar.add("source", sheet.source, parameters={"VALUE": "URI"})
    for entry in sorted(sheet.entries, key=lambda one: (one.start_s, one.identity)):
        calendar.add_component(_event(entry))
    return bytes(calendar.to_ical())


def writable(text: str) -> str:
    """Text as an iCalendar can hold it (RFC 5545, 3.3.11).

    Every way to end a line becomes a newline, also those of Unicode, at which some readers would end the
    property; a control character becomes a blank.
    """
    return "".join(
        sign if sign in "\n\t" or unicodedata.category(sign) != "Cc" else " "
        for sign in _LINE_ENDS.sub("\n", text)
    )


def _event(entry: Entry) -> "Event":
    from icalendar import Event

    event, revised = Event(), _utc(entry.revised_s)
    event.add("uid", str(entry.uid))
    event.add("dtstamp", revised)
    event.add("last-modified", revised)
    event.add("sequence", entry.sequence)
    event.add("dtstart", _utc(entry.start_s))
    if round(entry.end_s) > round(entry.start_s):  # DTEND has to be later; without it the entry is a moment
        event.add("dtend", _utc(entry.end_s))
    event.add("summary", writable(entry.title))
    event.add("description", writable(entry.text))
    event.add("status", entry.status.value)
    event.add("transp", "OPAQUE" if entry.busy else "TRANSPARENT")
    if entry.where is not None:
        event.add("location", writable(entry.where))
    if entry.position is not None:
        event.add("geo", tuple(round(degrees, 6) for degrees in entry.position))
    if entry.categories:
        event.add("categories", list(entry.categories))
    for number, alarm in enumerate(entry.alarms):
        event.add_component(_alarm(alarm, f"{entry.identity}|alarm {number}"))
    return event


def _alarm(alarm: Alarm, identity: str) -> "IcsAlarm":
    from icalendar import Alarm as IcsAlarm

    made = IcsAlarm()
    made.add("action", "DISPLAY")
    made.add("uid", str(uid_of(identity)))
    made.add("description", writable(alarm.says))
    made.add(
        "trigger",
        dt.timedelta(seconds=round(alarm.after_s)),
        parameters={"RELATED": "END"} if alarm.from_end else {},
    )
    return made


def _utc(unix_s: float) -> dt.datetime:
    return dt.datetime.fromtimestamp(round(unix_s), dt.UTC)
