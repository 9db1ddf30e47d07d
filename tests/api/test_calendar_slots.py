"""The best slots of the next days as a calendar: as /v1/slots has them, steady, true to the day."""

import datetime as dt
from itertools import pairwise
from zoneinfo import ZoneInfo

import icalendar
import pytest
from api.conftest import Caller
from clients.runs_rig import free_port
from weather_rig import CLEAR, NOON_S, StillClock, rigged

from noonframe.api.app import create_app
from noonframe.settings import Settings
from noonframe.weather.rehearsal_sky import ScriptedSky, Spell

PATH = "/v1/slots/calendar.ics"
YARD = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
SHEET = {**YARD, "target_j_m2": 24000, "stack": "float-glass-4mm"}


@pytest.fixture
def clock():
    return StillClock(NOON_S)


@pytest.fixture
def asker(clock, tmp_path):
    return Caller(create_app(Settings(state_dir=tmp_path), clock=clock))


def events(response):
    assert response.status_code == 200, response.text
    return icalendar.Calendar.from_ical(response.content).events


def instant(text):
    return dt.datetime.fromisoformat(text).replace(microsecond=0)


def test_each_day_has_the_best_slot_that_slots_tells(asker):
    found = events(asker.get(PATH, {**SHEET, "days": 3}))
    assert len(found) == 3
    for number, event in enumerate(found):
        day = dt.date(2026, 6, 21 + number)
        best = asker.answer("/v1/slots", {**SHEET, "date": day})["slots"][0]
        assert event.start == instant(best["first_start"])
        assert event.end == max(instant(best["last_start"]), instant(best["best_end"]))
        local = instant(best["best_start"])
        assert f"best at {local:%H:%M}" in event["summary"]
        (alarm,) = event.walk("VALARM")
        assert event.start + alarm["trigger"].dt == local - dt.timedelta(minutes=15)
        assert "Never look at the sun" in event["description"]
        assert "Europe/Lisbon" in event["description"]
        assert (event["geo"].latitude, event["geo"].longitude) == (41.15, -8.61)


def test_several_slots_of_a_day_stand_in_order_of_time(asker):
    found = events(asker.get(PATH, {**SHEET, "days": 1, "per_day": 3, "reminder": "false"}))
    starts = [event.start for event in found]
    assert len(found) == 3
    assert starts == sorted(starts)
    told = asker.answer("/v1/slots", {**SHEET, "limit": 3})["slots"]
    assert set(starts) == {instant(slot["first_start"]) for slot in told}
    assert not [event for event in found if event.walk("VALARM")]


def test_it_changes_with_the_day_and_not_with_the_clock(asker, clock):
    first = asker.get(PATH, SHEET)
    for after_s in (1.0, 60.0, 3600.0, 8 * 3600.0):
        clock.now_s = NOON_S + after_s
        again = asker.get(PATH, SHEET)
        assert again.content == first.content
        assert again.headers["etag"] == first.headers["etag"]
        assert again.headers["last-modified"] == first.headers["last-modified"]
    clock.now_s = NOON_S + 86400.0
    tomorrow = asker.get(PATH, SHEET)
    assert tomorrow.headers["etag"] != first.headers["etag"]
    old = {str(event["uid"]): event for event in events(first)}
    new = {str(event["uid"]): event for event in events(tomorrow)}
    shared = old.keys() & new.keys()
    assert len(shared) == 6
    for uid in shared:
        assert new[uid].start == old[uid].start
        assert new[uid]["sequence"] > old[uid]["sequence"]


def test_another_question_has_other_entries_and_more_days_of_one_the_same(asker):
    def uids(**changes):
        return {str(event["uid"]) for event in events(asker.get(PATH, {**SHEET, "days": 2, **changes}))}

    assert uids(days=4) > uids()
    assert uids(target_j_m2=30000) == uids(reminder="false") == uids()
    assert not uids(tilt_deg=30) & uids()
    assert not uids(stack="none") & uids()


def with_forecast(asker, fields):
    """The best slot of today, once the forecast has come: a machine with much to do may miss it at first."""
    asked = {name: value for name, value in fields.items() if name != "days"}
    for _ in range(10):
        answer = asker.client.get("/v1/slots", params=asked).json()
        if answer["basis"]["weather"]["provider"] is not None:
            return answer["slots"][0]
    raise AssertionError(answer["basis"]["weather"])


OVERCAST = ScriptedSky((Spell(NOON_S, 0.25, cloud_low=1.0, cloud_mid=0.9),), elevation_m=80.0)


def test_a_new_forecast_moves_an_entry_that_keeps_its_uid_and_has_a_higher_revision(tmp_path):
    fields, told = {**SHEET, "days": 5, "target_j_m2": 60000}, []
    for number, sky in enumerate((CLEAR, OVERCAST)):
        with rigged(tmp_path / str(number), sky, NOON_S + 3600.0 * number) as rig:
            asker = rig.ask("open-meteo")
            best = with_forecast(asker, {**fields, "limit": 1})
            told.append(asker.client.get(PATH, params=fields))
            rig.clock.now_s += 60.0
            assert asker.client.get(PATH, params=fields).content == told[-1].content
            first = events(told[-1])[0]
            assert abs(first.start - instant(best["first_start"])) <= dt.timedelta(minutes=5)
    before, after = (events(response) for response in told)
    assert [str(event["uid"]) for event in before] == [str(event["uid"]) for event in after]
    assert before[0]["summary"] != after[0]["summary"]
    assert after[0]["sequence"] > before[0]["sequence"]
    assert after[0].LAST_MODIFIED > before[0].LAST_MODIFIED
    assert "Open-Meteo" in after[0]["description"]
    # no forecast tells of a day so far ahead, so nothing has changed there
    assert after[-1] == before[-1]
    assert "Open-Meteo" not in after[-1]["description"]


def test_with_no_forecast_to_be_had_it_is_revised_every_quarter_of_an_hour(clock, tmp_path):
    away = {"weather_providers": "open-meteo", "weather_open_meteo_url": f"http://127.0.0.1:{free_port()}"}
    asker = Caller(create_app(Settings(state_dir=tmp_path, **away), clock=clock))
    clock.now_s = 900.0 * (NOON_S // 900.0)
    numbers = []
    for after_s in (0.0, 600.0, 300.0):
        clock.now_s += after_s
        (event,) = events(asker.get(PATH, {**SHEET, "days": 1}))
        numbers.append(event["sequence"])
        assert "no forecast is to be had" in event["description"].lower()
    assert numbers[0] == numbers[1] == numbers[2] - 900
    asker.app.state.weather.close()
    asker.app.state.records.close()


# The weeks of the clock changes of 2026: Directive 2000/84/EC; New Zealand Daylight Time Order 2007.
CHANGES = {
    "2026-03-26T12:00:00+00:00": (41.15, -8.61, "Europe/Lisbon", 60),
    "2026-10-22T12:00:00+01:00": (41.15, -8.61, "Europe/Lisbon", -60),
    "2026-04-02T12:00:00+13:00": (-36.85, 174.76, "Pacific/Auckland", -60),
    "2026-09-24T12:00:00+12:00": (-36.85, 174.76, "Pacific/Auckland", 60),
}


@pytest.mark.parametrize("now", CHANGES)
def test_over_a_clock_change_the_sun_keeps_its_time_and_the_clock_does_not(asker, clock, now):
    latitude_deg, longitude_deg, zone, minutes = CHANGES[now]
    clock.now_s = dt.datetime.fromisoformat(now).timestamp()
    fields = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg, "target_j_m2": 24000, "days": 7}
    found = events(asker.get(PATH, fields))
    assert len(found) == 7
    reminders = [event.start + event.walk("VALARM")[0]["trigger"].dt for event in found]
    local = [at.astimezone(ZoneInfo(zone)) for at in reminders]
    assert len({at.date() for at in local}) == 7
    # starts are looked for every five minutes, and noon drifts by half a minute a day at most
    assert all(
        abs((later - earlier).total_seconds() - 86400.0) <= 600.0 for earlier, later in pairwise(reminders)
    )
    wandered = (local[-1].hour * 60 + local[-1].minute) - (local[0].hour * 60 + local[0].minute)
    assert wandered == pytest.approx(minutes, abs=15)


def test_a_place_without_light_has_a_calendar_without_entries(asker, clock):
    clock.now_s = dt.datetime(2026, 12, 21, 12, tzinfo=dt.UTC).timestamp()
    response = asker.get(PATH, {"latitude_deg": 78.2, "longitude_deg": 15.6, "days": 14})
    assert events(response) == []
    assert response.headers["etag"]


def test_a_day_that_the_clocks_left_out_is_none_of_the_days(asker, clock):
    """Samoa had no 30 December 2011 (IANA time zone database, Pacific/Apia)."""
    clock.now_s = dt.datetime.fromisoformat("2011-12-29T08:00:00-10:00").timestamp()
    found = events(asker.get(PATH, {"latitude_deg": -13.83, "longitude_deg": -171.76, "days": 2}))
    days = [event.start.astimezone(ZoneInfo("Pacific/Apia")).day for event in found]
    assert days == [29, 31]


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"days": 15}, "days"),
        ({"days": 0}, "days"),
        ({"per_day": 4}, "per_day"),
        ({"reminder_min": -1}, "reminder_min"),
        ({"start": "2026-06-21T12:00:00Z"}, "start"),
        ({"latitude_deg": ""}, "latitude_deg"),
        (
            {"saved_spot": "nowhere", "latitude_deg": None, "longitude_deg": None, "elevation_m": None},
            "saved_spot",
        ),
    ],
)
def test_a_question_that_cannot_be_answered_is_refused_by_its_field(asker, fields, field):
    asked = {name: value for name, value in {**SHEET, **fields}.items() if value is not None}
    response = asker.get(PATH, asked)
    assert response.status_code == 422
    assert [error["field"] for error in response.json()["errors"]] == [field]
