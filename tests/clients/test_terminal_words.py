"""How the command line reads and writes times, lengths and directions; no service involved."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from noonframe_terminal import moments, words
from noonframe_terminal.compass import azimuth_text
from noonframe_terminal.show_exposure import exposure_sentences, weather_words
from noonframe_terminal.show_light import light_sentence
from noonframe_terminal.show_slots import sun_sentence
from noonframe_terminal.trouble import Refused

LISBON = ZoneInfo("Europe/Lisbon")
AUCKLAND = ZoneInfo("Pacific/Auckland")
NOW = dt.datetime(2026, 6, 21, 13, 0, tzinfo=LISBON)
TODAY = NOW.date()


@pytest.mark.parametrize(
    ("seconds", "told"),
    [
        (0.2, "1 s"),
        (47.6, "48 s"),
        (119.4, "119 s"),
        (119.6, "2 min"),
        (578.0, "9 min 40 s"),
        (1194.0, "19 min 50 s"),
        (1196.0, "20 min"),
        (1260.0, "21 min"),
        (3569.0, "59 min"),
        (3571.0, "1 h"),
        (6480.0, "1 h 48 min"),
        (86400.0, "24 h"),
    ],
)
def test_lengths_are_told_as_finely_as_one_would_say_them(seconds, told):
    assert words.length(seconds) == told


def test_the_day_is_named_only_when_it_is_another():
    at = dt.datetime(2026, 6, 21, 23, 59, 45, tzinfo=LISBON)
    assert words.on_day(NOW, TODAY) == ""
    assert words.clock(at) == "00:00"
    assert words.on_day(at, TODAY) == " tomorrow"
    assert words.on_day(dt.datetime(2028, 2, 29, 12, 0, tzinfo=LISBON), TODAY) == " on 29 February 2028"


@pytest.mark.parametrize(("second", "told"), [(29.999, "13:00"), (30, "13:00"), (30.001, "13:01")])
def test_half_a_minute_goes_to_the_even_one_as_in_the_services_sentences(second, told):
    assert words.clock(NOW + dt.timedelta(seconds=second)) == told
    assert words.clock(NOW + dt.timedelta(seconds=60 + 30)) == "13:02"


@pytest.mark.parametrize(
    ("word", "degrees"),
    [
        ("north", "0"),
        ("N", "0"),
        ("nne", "22.5"),
        ("north-north-east", "22.5"),
        ("East", "90"),
        ("south east", "135"),
        ("southwest", "225"),
        ("South-West", "225"),
        ("WSW", "247.5"),
        ("nnw", "337.5"),
        ("123.4", "123.4"),
        ("90°", "90"),
        ("45 deg", "45"),
    ],
)
def test_compass_words_are_degrees_clockwise_from_north(word, degrees):
    assert azimuth_text(word) == degrees


@pytest.mark.parametrize("word", ["", "upward", "north-south", "n-n", "12 34"])
def test_other_words_are_no_direction(word):
    with pytest.raises(Refused, match="--facing"):
        azimuth_text(word)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("14:30", "2026-06-21T14:30:00+01:00"),
        ("9:05", "2026-06-21T09:05:00+01:00"),
        ("14:30:15", "2026-06-21T14:30:15+01:00"),
        ("2026-12-21 14:30", "2026-12-21T14:30:00+00:00"),
        ("2026-12-21T14:30", "2026-12-21T14:30:00+00:00"),
        ("2028-02-29 12:00", "2028-02-29T12:00:00+00:00"),
        ("2026-06-21T14:30:00+09:00", "2026-06-21T14:30:00+09:00"),
        ("2026-06-21T14:30:00Z", "2026-06-21T14:30:00Z"),
    ],
)
def test_a_time_is_read_by_the_clock_of_the_place(text, told):
    assert moments.instant_text(text, LISBON, "--start", TODAY) == told


def test_tomorrow_is_a_day_at_the_place(monkeypatch):
    monkeypatch.setattr(moments, "today_at", lambda zone: TODAY)
    assert moments.instant_text("tomorrow 08:00", AUCKLAND, "--start") == "2026-06-22T08:00:00+12:00"
    assert moments.day_text("tomorrow", LISBON) == "2026-06-22"


@pytest.mark.parametrize(
    ("text", "zone", "reason"),
    [
        # changes of the clocks: IANA time zone database, rules EU and NZ
        ("2026-03-29 01:00", LISBON, "go forward"),
        ("2026-03-29 01:59:59", LISBON, "go forward"),
        ("2026-09-27 02:30", AUCKLAND, "go forward"),
        ("2026-10-25 01:00", LISBON, "go back"),
        ("2026-04-05 02:30", AUCKLAND, "go back"),
        ("24:00", LISBON, "time of day"),
        ("12:60", LISBON, "time of day"),
        ("2026-02-29 12:00", LISBON, "a date"),
        ("noonish", LISBON, "HH:MM"),
        ("", LISBON, "HH:MM"),
        ("1430", LISBON, "HH:MM"),
    ],
)
def test_a_time_that_is_not_one_instant_is_refused_with_the_reason(text, zone, reason):
    with pytest.raises(Refused, match=reason) as caught:
        moments.instant_text(text, zone, "--start", TODAY)
    assert caught.value.lines[0].startswith("--start")


@pytest.mark.parametrize(
    "text", ["2026-03-29 00:59", "2026-03-29 02:00", "2026-10-25 00:59", "2026-10-25 02:00"]
)
def test_the_edges_of_a_change_of_clocks_are_ordinary_times(text):
    told = dt.datetime.fromisoformat(moments.instant_text(text, LISBON, "--start"))
    assert told.astimezone(LISBON).replace(tzinfo=None) == dt.datetime.fromisoformat(text)


def test_a_time_that_happens_twice_is_offered_both_ways():
    with pytest.raises(Refused) as caught:
        moments.instant_text("2026-10-25 01:30", LISBON, "--start")
    line = caught.value.lines[0]
    assert "2026-10-25T01:30:00+01:00" in line
    assert "2026-10-25T01:30:00+00:00" in line


@pytest.mark.parametrize(("day", "hours"), [("2026-03-29", 23), ("2026-06-21", 24), ("2026-10-25", 25)])
def test_a_day_is_as_long_as_its_clocks_make_it(day, hours):
    start, end = map(dt.datetime.fromisoformat, moments.day_bounds(dt.date.fromisoformat(day), LISBON))
    assert (end - start).total_seconds() == hours * 3600 - 1  # the last second is the day's own


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("600", "600"), ("600s", "600"), ("10min", "600"), ("1.5 h", "5400"), ("1H", "3600")],
)
def test_steps_are_lengths_of_time(text, seconds):
    assert moments.step_text(text) == seconds


@pytest.mark.parametrize("text", ["", "-5min", "ten", "5 days", "nan", "1e3"])
def test_other_steps_are_refused(text):
    with pytest.raises(Refused, match="--step"):
        moments.step_text(text)


def an_exposure(**changes):
    return {
        "start": "2026-06-21T13:00:20+01:00",
        "end": "2026-06-21T13:10:00+01:00",
        "length_s": 580.0,
        "length_low_s": 480.0,
        "length_high_s": 710.0,
        "reached": True,
        "dose_share": 1.0,
        "light_end": "2026-06-21T21:40:00+01:00",
        "if_sun_stays_s": 580.0,
        "if_cloud_covers_s": 1260.0,
        "next_start": None,
        "next_length_s": None,
    } | changes


def test_an_exposure_begun_now_needs_no_start_and_no_date():
    assert exposure_sentences(an_exposure(), NOW) == [
        "Expose 9 min 40 s, until 13:10. If cloud covers the sun: 21 min.",
        "Eight times in ten it takes 8 min to 11 min 50 s.",
    ]


def test_an_exposure_of_a_minute_is_timed_to_the_second():
    answer = an_exposure(end="2026-06-21T13:01:33.400+01:00", length_s=73.4, if_cloud_covers_s=74.0)
    assert exposure_sentences(answer, NOW)[0] == "Expose 73 s, until 13:01:33."


def test_an_exposure_across_midnight_names_both_days():
    answer = an_exposure(start="2026-06-21T23:50:00+01:00", end="2026-06-22T00:10:00+01:00", length_s=1200.0)
    assert exposure_sentences(answer, NOW)[0].startswith(
        "Expose 20 min from 23:50 today until 00:10 tomorrow."
    )


def test_both_other_skies_are_told_when_they_matter():
    answer = an_exposure(if_sun_stays_s=300.0, if_cloud_covers_s=None)
    assert exposure_sentences(answer, NOW)[0].endswith(
        "If the sun comes out and stays: 5 min."
        " If cloud covers the sun, the light goes before the sheet has enough."
    )
    assert "If" not in exposure_sentences(an_exposure(if_cloud_covers_s=590.0), NOW)[0]


def test_a_range_that_runs_into_the_dark_says_so():
    assert "the light goes first" in exposure_sentences(an_exposure(length_high_s=None), NOW)[1]


def unreached(**changes):
    return an_exposure(
        reached=False, end=None, length_s=None, length_low_s=None, length_high_s=None, **changes
    )


def test_an_exposure_out_of_reach_says_how_far_it_gets_and_when_it_can_be_made():
    answer = unreached(dose_share=0.314, next_start="2026-06-22T07:30:00+01:00", next_length_s=2400.0)
    assert exposure_sentences(answer, NOW) == [
        "There is not enough light: 31 % of the dose by dark, at 21:40.",
        "The next chance: 07:30 tomorrow, for 40 min.",
    ]


def test_an_exposure_that_a_whole_day_cannot_give_names_no_dusk():
    answer = unreached(dose_share=0.999, light_end="2026-06-22T13:00:20+01:00")
    assert exposure_sentences(answer, NOW) == [
        "There is not enough light: 99 % of the dose in a whole day.",
        "No day in the coming year gives enough.",
    ]


def test_a_sun_that_does_not_set_names_no_dusk_either():
    answer = unreached(dose_share=0.009, light_end=None)
    assert exposure_sentences(answer, NOW)[0] == "There is not enough light: 1 % of the dose in a whole day."


def test_hardly_any_light_is_not_called_dark():
    assert exposure_sentences(unreached(dose_share=0.0), NOW)[0].startswith("There is not enough light: 1 %")
    dark = unreached(dose_share=0.0, light_end="2026-06-21T13:00:20+01:00")
    assert exposure_sentences(dark, NOW)[0] == "It is dark at 13:00."


def a_day(**changes):
    return {
        "date": "2026-06-21",
        "outcome": "rises-and-sets",
        "dawn": "2026-06-21T05:28:08+01:00",
        "rise": "2026-06-21T06:01:55+01:00",
        "transit": "2026-06-21T13:36:15+01:00",
        "set": "2026-06-21T21:10:36+01:00",
        "dusk": "2026-06-21T21:44:22+01:00",
        "transit_elevation_deg": 72.287,
    } | changes


def test_the_suns_day_is_told_in_its_order():
    assert sun_sentence(a_day()) == (
        "21 June 2026: the sun rises at 06:02, is highest at 13:36 (72°), sets at 21:11."
        " Twilight begins at 05:28 and ends at 21:44."
    )


def test_days_without_rise_or_set_have_their_own_words():
    none = {"dawn": None, "rise": None, "set": None, "dusk": None}
    assert sun_sentence(a_day(**none, outcome="up-all-day")) == (
        "21 June 2026: the sun stays up all day, is highest at 13:36 (72°)."
    )
    assert sun_sentence(a_day(**none, outcome="down-all-day")) == "21 June 2026: the sun stays down all day."
    rises = sun_sentence(a_day(outcome="rises-only", set=None, dusk=None))
    assert rises.startswith("21 June 2026: the sun rises and does not set, rises at 06:02")


def test_a_dark_course_of_light_is_called_dark():
    assert light_sentence({"effective_w_m2": [0.0, 0.0], "time": ["", ""]}) == "It is dark all this time."


@pytest.mark.parametrize(
    ("weather", "said"),
    [
        (None, []),
        ({"attribution": "Made-up weather", "age_s": 300, "why": []}, ["Made-up weather, 5 min old"]),
        ({"attribution": None, "age_s": None, "why": ["open-meteo: no answer"]}, ["open-meteo: no answer"]),
    ],
)
def test_whose_forecast_it_is_and_why_there_is_none_are_part_of_the_basis(weather, said):
    assert weather_words({"weather": weather}) == said
