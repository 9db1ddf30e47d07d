"""Flows at the frame: from opening the page to a print taken in."""

import datetime as dt
import re

import pytest
from phone.plan_rig import seconds

DOSE_J_M2 = 24000.0  # the classic coat's documented prior; common practice, no source
COUNT = re.compile(r"^\d+:\d\d(:\d\d)?$")
MOST_TAPS = 4


def told(room):
    """The newest exposure as the service has it."""
    newest = room.service.get("v1/runs", limit=1)["runs"][0]
    return room.service.get(f"v1/runs/{newest['id']}")


def test_from_the_place_to_a_running_exposure_takes_at_most_four_taps(room):
    phone = room.phone().open()
    phone.place("Porto")
    phone.shot("now")
    phone.start()
    assert phone.taps <= MOST_TAPS
    phone.settled()
    assert told(room)["status"] == "running"
    assert COUNT.match(phone.text(".count-big"))
    phone.shot("frame")


def test_the_phone_can_tell_the_place_itself(room):
    phone = room.phone(
        geolocation={"latitude": -45.87, "longitude": 170.5}, permissions=["geolocation"]
    ).open()
    phone.tap("#locate")
    phone.until("#bar .bar-place", "Here")
    assert phone.taps == 1
    phone.until("#bar .bar-clock", "00:40")  # midsummer noon in Porto is midnight in Dunedin


def test_the_first_answer_is_the_services_own(phone, room):
    answer = room.service.post(
        "v1/exposure",
        {
            **{"latitude_deg": 41.1485, "longitude_deg": -8.611, "time_zone": "Europe/Lisbon"},
            **{"sensitizer": "citrate-classic", "stack": "float-glass-4mm,polyester-film"},
        },
    )
    assert seconds(phone.text(".answer")) == 10 * round(answer["length_s"] / 10)
    rows = phone.page.locator(".ifs dd").all_inner_texts()
    assert seconds(rows[0]) == 10 * round(answer["if_sun_stays_s"] / 10)
    assert seconds(rows[1]) == 60 * round(answer["if_cloud_covers_s"] / 60)
    end = dt.datetime.fromisoformat(answer["end"]) + dt.timedelta(seconds=30)  # to the nearest minute
    assert phone.text(".until") == f"until {end:%H:%M}"


def test_a_sky_spot_or_recipe_is_changed_with_the_thumb_and_answered_at_once(phone):
    clear = seconds(phone.text(".answer"))
    phone.tap("#pick-sky")
    phone.tap("dialog >> text=Grey all over")
    phone.until("#pick-sky", "Grey all over")
    phone.until(".answer", re.compile(r"\d h|[3-9]\d min"))
    assert seconds(phone.text(".answer")) > 2 * clear
    box = phone.page.locator("#pick-sky").bounding_box()
    assert box["y"] > 844 / 2  # the lower half, where the thumb is
    phone.tap("#pick-sky")
    phone.tap("dialog >> text=Clear")
    phone.tap("#pick-recipe")
    phone.page.fill("#coat-target", "12000")
    phone.tap("dialog >> text=Classic iron citrate")
    phone.until(".answer", "5 min")
    phone.tap("#pick-spot")
    phone.tap("dialog >> text=Leaning, in the open")
    phone.tap("dialog >> text=Take this")
    phone.until("#pick-spot", "30° to the south")


def test_the_countdown_follows_the_dose_and_not_the_clock(phone, room):
    phone.start()
    phone.settled()
    phone.wait(60)
    phone.look_again()
    before = phone.left_s()
    assert before == pytest.approx(told(room)["remaining_s"], abs=2)
    phone.tap("[data-sky=covered]")
    phone.settled()
    phone.look_again()
    state = told(room)
    assert state["sky"]["seen"] == "covered"
    assert phone.left_s() == pytest.approx(state["remaining_s"], abs=2)
    assert phone.left_s() > before + 60
    assert phone.page.get_attribute("[data-sky=covered]", "aria-pressed") == "true"


def test_a_late_word_is_told_with_its_own_time(phone, room):
    phone.start()
    phone.wait(300)
    phone.tap("[data-ago='2']")
    phone.tap("[data-sky=covered]")
    phone.settled()
    run = told(room)
    events = room.service.get(f"v1/runs/{run['id']}/events")["events"]
    seen = next(event for event in events if event["kind"] == "sky")
    assert seen["at"][11:19] == "13:43:00"  # five minutes after the start, less two
    assert phone.page.get_attribute("[data-ago='0']", "aria-pressed") == "true"


def test_a_reload_loses_nothing(phone, room):
    phone.start()
    phone.wait(120)
    phone.tap("[data-sky=thin-cloud]")
    phone.settled()
    phone.look_again()
    before = phone.left_s()
    phone.reload()
    phone.until(".count-big", re.compile(r"\d:\d\d"))
    assert phone.left_s() == pytest.approx(before, abs=2)
    assert len(room.service.get("v1/runs")["runs"]) == 1


def test_two_frames_at_once_are_followed_side_by_side(phone, room):
    phone.start()
    phone.wait(60)
    phone.go("#/now")
    phone.start()
    phone.settled()
    tabs = phone.page.locator(".tabs a")
    assert tabs.count() == 2
    first, second = (tabs.nth(index).inner_text().split("\n") for index in (1, 0))
    assert (first[0], second[0]) == ("Frame 1", "Frame 2")
    phone.wait(10)
    tabs.nth(1).click()
    phone.until(".frame-name", "Frame 1")
    one = phone.left_s()
    tabs.nth(0).click()
    phone.until(".frame-name", "Frame 2")
    assert phone.left_s() - one == pytest.approx(
        60, abs=8
    )  # begun a minute later, under nearly the same light
    assert phone.text("#rail-frames .count") == "2"
    phone.shot("two-frames")


def test_covering_stops_the_dose_and_uncovering_goes_on(phone, room):
    phone.start()
    phone.wait(120)
    phone.settled()
    phone.tap("#cover")
    phone.until("#cover", "Uncover it")
    phone.settled()
    left = phone.left_s()
    phone.wait(180, 60)
    phone.settled()
    assert phone.left_s() == pytest.approx(left, abs=4)
    assert told(room)["status"] == "covered"
    phone.tap("#cover")
    phone.until("#cover", "Cover it")
    phone.wait(30)
    phone.settled()
    assert phone.left_s() == pytest.approx(left - 30, abs=6)


@pytest.fixture
def listening(room):
    """A phone whose sound and vibration are written down."""
    made = room.phone()
    made.page.add_init_script(
        """window.sounded = []; window.shaken = [];
        const start = OscillatorNode.prototype.start;
        OscillatorNode.prototype.start = function (...when) {
          window.sounded.push(this.frequency.value);
          return start.apply(this, when);
        };
        const shake = (pattern) => { window.shaken.push(pattern); return true; };
        Object.defineProperty(navigator, "vibrate", { value: shake });"""
    )
    made.open()
    made.place()
    return made


def test_at_the_end_it_calls_until_somebody_comes_and_takes_it_in(listening, room):
    phone = listening
    phone.start()
    phone.settled()
    left = phone.left_s()
    phone.wait(left - 20, 60)
    assert phone.page.evaluate("window.sounded.length") == 2  # the nudge that the end is near
    phone.wait(25, 1)
    phone.until(".count-big", "Done")
    sounded = phone.page.evaluate("window.sounded.length")
    assert sounded > 4
    assert [300, 150, 300] in phone.page.evaluate("window.shaken")
    phone.shot("done")
    phone.axe()
    phone.tap(".paper")  # any touch is an answer; the sheet is still out
    sounded = phone.page.evaluate("window.sounded.length")
    phone.wait(10, 2)
    assert phone.page.evaluate("window.sounded.length") == sounded
    phone.until(".count-big", "Done")
    phone.tap("#finish")
    phone.until(".count-big", "Taken in")
    phone.settled()
    run = told(room)
    assert run["status"] == "finished"
    assert run["dose_share"] == pytest.approx(
        1.0, abs=0.06
    )  # a quarter of a minute over, and more by the clock
    phone.shot("taken-in")


def test_a_locked_phone_wakes_to_the_right_end(listening, room):
    phone = listening
    phone.start()
    phone.settled()
    left = phone.left_s()
    phone.page.evaluate(
        """() => {
        Object.defineProperty(document, "visibilityState", { get: () => window.shown ?? "hidden" });
        document.dispatchEvent(new Event("visibilitychange")); }"""
    )
    phone.jump(left + 180)  # no timer ran: the end is an absolute time
    phone.page.evaluate(
        "() => { window.shown = 'visible'; document.dispatchEvent(new Event('visibilitychange')); }"
    )
    phone.until(".count-big", "Done")
    phone.until(".paper .until", re.compile(r"since 13:5\d:\d\d, [23] min"))
    assert phone.page.evaluate("window.sounded.length") >= 2


def test_giving_up_asks_once_and_is_told(phone, room):
    phone.start()
    phone.settled()
    phone.tap("#more")
    phone.axe()
    phone.tap("#discard")
    phone.until(".count-big", "Given up")
    phone.settled()
    assert told(room)["status"] == "discarded"


def test_a_frame_begun_elsewhere_is_followed_here(phone, room):
    run = room.service.post(
        "v1/runs",
        {
            "place": "Porto",
            "name": "ferry ticket",
            "target_j_m2": DOSE_J_M2,
            "stack": "float-glass-4mm,polyester-film",
        },
    )
    phone.go("#/frames")
    phone.until(".frame-name", "ferry ticket")
    phone.until(".count-big", re.compile(r"\d:\d\d"))
    assert phone.left_s() == pytest.approx(run["remaining_s"], abs=2)
    room.service.post(f"v1/runs/{run['id']}/events", {"kind": "sky", "sky": "overcast"})
    phone.wait(20, 5)
    phone.settled()
    assert phone.page.get_attribute("[data-sky=overcast]", "aria-pressed") == "true"


def test_where_streams_do_not_come_through_the_page_asks(room):
    phone = room.phone()
    phone.page.route(re.compile("/stream$"), lambda route: route.abort())
    phone.open()
    phone.place()
    phone.start()
    phone.settled()
    run = told(room)
    room.service.post(f"v1/runs/{run['id']}/events", {"kind": "sky", "sky": "fog"})
    phone.wait(16, 4)
    phone.settled()
    assert phone.page.get_attribute("[data-sky=fog]", "aria-pressed") == "true"


def test_a_call_that_nobody_answers_ends_after_a_minute_or_so(listening):
    phone = listening
    phone.start()
    phone.settled()
    phone.wait(phone.left_s() + 60, 30)
    phone.until(".count-big", "Done")
    phone.wait(60, 10)
    sounded = phone.page.evaluate("window.sounded.length")
    phone.wait(30, 10)
    assert phone.page.evaluate("window.sounded.length") == sounded
    assert 60 <= sounded <= 100
