"""Calendars as iCalendar: read back by two independent readers, equal bytes for equal calendars."""

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

import icalendar
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ical.calendar_stream import IcsCalendarStream

from noonframe.api.calendar_entries import (
    REVISIONS_SINCE_S,
    Alarm,
    CalendarSheet,
    Entry,
    Status,
    revision_number,
)
from noonframe.api.calendar_ics import write_ics
from noonframe.errors import OutOfDomain

NOON_S = dt.datetime(2026, 6, 21, 12, 0, tzinfo=dt.UTC).timestamp()
KELP = Entry(
    identity="yard|2026-06-21|1",
    start_s=NOON_S,
    end_s=NOON_S + 580.4,
    title="kelp fronds: 9 minutes 40 seconds, best at 13:00",
    text="Expose 9 minutes 40 seconds.\nCaution: Never look at the sun; not once, nor at glass\\mirrors.",
    status=Status.TENTATIVE,
    revised_s=NOON_S - 3600.5,
    where="Quayside yard, Porto",
    position=(41.15, -8.61),
    alarms=(Alarm(-900.0, "Soon: kelp fronds."), Alarm(0.0, "Take in kelp fronds.", from_end=True)),
    categories=("sun print", "exposure"),
)
SHEET = CalendarSheet(
    identity="calendar|yard",
    name="Quayside, yard",
    text="The best times; ask again.",
    revised_s=NOON_S - 3600.5,
    entries=(KELP,),
    source="http://printroom.local:8765/v1/calendars/x.ics",
    refresh_s=3600,
)


def of(*entries, **changes):
    return write_ics(replace(SHEET, entries=entries, **changes))


def unfolded(ics):
    return ics.replace(b"\r\n ", b"").decode().split("\r\n")


def library(ics):
    return icalendar.Calendar.from_ical(ics)


def other(ics):
    return IcsCalendarStream.calendar_from_ics(ics.decode())


def test_both_readers_find_what_was_written():
    ics = write_ics(SHEET)
    (event,), (second,) = library(ics).events, other(ics).events
    assert str(event["uid"]) == second.uid == str(KELP.uid)
    assert str(event["summary"]) == second.summary == KELP.title
    assert str(event["description"]) == second.description == KELP.text
    assert str(event["location"]) == second.location == KELP.where
    assert event.start == second.dtstart == dt.datetime(2026, 6, 21, 12, 0, tzinfo=dt.UTC)
    assert event.end == second.dtend == dt.datetime(2026, 6, 21, 12, 9, 40, tzinfo=dt.UTC)
    assert str(event["status"]) == second.status == "TENTATIVE"
    assert str(event["transp"]) == "TRANSPARENT"
    assert (
        (second.geo.lat, second.geo.lng) == (event["geo"].latitude, event["geo"].longitude) == KELP.position
    )
    assert second.categories == list(event.categories) == list(KELP.categories)
    assert event["sequence"] == second.sequence == KELP.sequence
    triggers = [alarm["trigger"].dt for alarm in event.walk("VALARM")]
    assert triggers == [alarm.trigger for alarm in second.alarm]
    assert triggers == [dt.timedelta(minutes=-15), dt.timedelta(0)]


def test_the_calendar_says_its_name_its_source_and_how_often_to_come_back():
    lines = unfolded(write_ics(SHEET))
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-2:] == ["END:VCALENDAR", ""]
    for line in (
        "VERSION:2.0",
        r"NAME:Quayside\, yard",
        r"X-WR-CALNAME:Quayside\, yard",
        r"DESCRIPTION:The best times\; ask again.",
        r"X-WR-CALDESC:The best times\; ask again.",
        f"UID:{SHEET.uid}",
        "LAST-MODIFIED:20260621T110000Z",
        # the forms of RFC 7986, 5.7 and 5.8
        "REFRESH-INTERVAL;VALUE=DURATION:PT1H",
        "SOURCE;VALUE=URI:http://printroom.local:8765/v1/calendars/x.ics",
    ):
        assert line in lines
    once = unfolded(of(KELP, source=None, refresh_s=None))
    assert not [line for line in once if line.startswith(("SOURCE", "REFRESH", "X-PUBLISHED", "METHOD"))]


def published(entry, line):
    assert line in unfolded(of(entry)), line


@pytest.mark.reference
def test_times_places_and_triggers_have_the_published_form():
    """Examples of RFC 5545: UTC time in 3.3.5, GEO in 3.8.1.6, TRIGGER in 3.8.6.3, STATUS in 3.8.1.11."""
    at_s = dt.datetime(1998, 1, 19, 7, 0, tzinfo=dt.UTC).timestamp()
    early = replace(KELP, start_s=at_s, end_s=at_s + 60.0)
    published(early, "DTSTART:19980119T070000Z")
    published(replace(KELP, position=(37.386013, -122.082932)), "GEO:37.386013;-122.082932")
    published(replace(KELP, alarms=(Alarm(-900.0, "x"),)), "TRIGGER:-PT15M")
    published(replace(KELP, alarms=(Alarm(300.0, "x", from_end=True),)), "TRIGGER;RELATED=END:PT5M")
    published(replace(KELP, status=Status.TENTATIVE), "STATUS:TENTATIVE")


@pytest.mark.reference
@pytest.mark.parametrize(
    ("zone", "moment", "before", "after"),
    [
        # Directive 2000/84/EC: summer time from the last Sunday in March to that in October, at 01:00 UTC
        ("Europe/Lisbon", "2026-03-29T01:00:00+00:00", "00:59", "02:00"),
        ("Europe/Lisbon", "2026-10-25T01:00:00+00:00", "01:59", "01:00"),
        # New Zealand Daylight Time Order 2007: last Sunday in September to first in April, at 2 a.m. standard
        ("Pacific/Auckland", "2026-04-04T14:00:00+00:00", "02:59", "02:00"),
        ("Pacific/Auckland", "2026-09-26T14:00:00+00:00", "01:59", "03:00"),
    ],
)
def test_times_stay_true_across_a_change_of_the_clocks(zone, moment, before, after):
    change_s = dt.datetime.fromisoformat(moment).timestamp()
    ics = of(replace(KELP, start_s=change_s - 60.0, end_s=change_s))
    for event in (library(ics).events[0], other(ics).events[0]):
        start, end = (
            (event.start, event.end) if hasattr(event, "property_items") else (event.dtstart, event.dtend)
        )
        assert end - start == dt.timedelta(minutes=1)
        assert [f"{one.astimezone(ZoneInfo(zone)):%H:%M}" for one in (start, end)] == [before, after]


def test_equal_calendars_are_equal_bytes_and_nothing_tells_the_moment_of_writing():
    assert write_ics(SHEET) == write_ics(replace(SHEET, entries=tuple(replace(one) for one in SHEET.entries)))
    stamps = [line for line in unfolded(write_ics(SHEET)) if line.startswith(("DTSTAMP", "LAST-MODIFIED"))]
    assert stamps == [
        "LAST-MODIFIED:20260621T110000Z",
        "DTSTAMP:20260621T110000Z",
        "LAST-MODIFIED:20260621T110000Z",
    ]


def test_an_entry_keeps_its_uid_when_its_times_move_and_its_revision_rises():
    moved = replace(
        KELP, start_s=KELP.start_s + 1800.0, end_s=KELP.end_s + 1800.0, revised_s=KELP.revised_s + 1.0
    )
    assert moved.uid == KELP.uid != replace(KELP, identity="yard|2026-06-22|1").uid
    assert moved.sequence > KELP.sequence
    assert KELP.uid.version == 5
    assert revision_number(0.0) == revision_number(REVISIONS_SINCE_S) == 0
    # RFC 5545, 3.3.8: an INTEGER ends at 2147483647
    assert revision_number(dt.datetime(2093, 12, 31, tzinfo=dt.UTC).timestamp()) <= 2147483647


def test_a_moment_has_no_end():
    lines = unfolded(of(replace(KELP, end_s=KELP.start_s)))
    assert not [line for line in lines if line.startswith("DTEND")]


@pytest.mark.parametrize("changes", [{"end_s": NOON_S - 1.0}, {"end_s": float("nan")}, {"revised_s": -1.0}])
def test_an_entry_that_cannot_be_is_refused(changes):
    with pytest.raises(OutOfDomain):
        replace(KELP, **changes)


@pytest.mark.parametrize(
    ("given_text", "read"),
    [
        ("two\r\nlines\rthree\u2028four\x0bfive\x85six", "two\nlines\nthree\nfour\nfive\nsix"),
        ("a bell\x07 and an escape\x1b[31m", "a bell  and an escape [31m"),
        ("tabs\tstay", "tabs\tstay"),
        ("BEGIN:VEVENT\nEND:VCALENDAR", "BEGIN:VEVENT\nEND:VCALENDAR"),
    ],
)
def test_text_cannot_end_its_property(given_text, read):
    ics = of(replace(KELP, text=given_text, title=given_text.split("\n")[0][:20] or "x"), name=given_text)
    assert str(library(ics).events[0]["description"]) == other(ics).events[0].description == read
    assert len(library(ics).events) == len(other(ics).events) == 1


_TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=200)


@settings(max_examples=60, deadline=None)
@given(title=_TEXTS, text=_TEXTS, name=_TEXTS)
def test_no_line_is_longer_than_75_octets_and_no_letter_is_cut(title, text, name):
    """RFC 5545, 3.1: lines SHOULD NOT be longer than 75 octets, excluding the line break."""
    ics = of(replace(KELP, title=title, text=f"ü☀𝄞 {text}" * 3, where=title or None), name=name)
    assert ics.endswith(b"\r\n")
    for line in ics.split(b"\r\n"):
        assert len(line) <= 75
        assert not set(line) & set(b"\r\n")
        line.decode()  # raises where a fold has cut a letter
    assert len(library(ics).events) == len(other(ics).events) == 1
