"""A test strip from its plan to what it teaches: covers called out, offline too, each told once."""

import re
from datetime import datetime, timedelta, timezone

import pytest
from phone.bench_shelf import RECIPE
from playwright.sync_api import TimeoutError

SUMMER_TIME = timezone(timedelta(hours=1))


def instant(text):
    """A time as the service tells it."""
    return datetime.fromisoformat(text)


def on_clock(phone, text):
    """The moment of a `13:45:10` on a phone in Porto."""
    day = datetime.fromtimestamp(phone.room.rig.clock.now_s, SUMMER_TIME)
    hours, minutes, seconds = map(int, text.split(":"))
    return day.replace(hour=hours, minute=minutes, second=seconds, microsecond=0)


@pytest.fixture
def recipe(room):
    """A recipe on the shelf."""
    return room.service.post("v1/recipes", RECIPE)


@pytest.fixture
def listening(room, recipe):
    """A phone set to that recipe, whose sound and vibration are written down."""
    made = room.phone()
    made.page.add_init_script(
        """window.sounded = []; window.shaken = [];
        const start = OscillatorNode.prototype.start;
        OscillatorNode.prototype.start = function (...when) {
          window.sounded.push(this.frequency.value);
          return start.apply(this, when);
        };
        const vibrate = (pattern) => { window.shaken.push(pattern); return true; };
        Object.defineProperty(navigator, "vibrate", { value: vibrate });"""
    )
    made.open()
    made.place()
    made.go("#/bench/strip")
    made.tap("#strip-recipe")
    made.tap(f"dialog >> text={RECIPE['name']}")
    made.until("#strip-recipe", RECIPE["name"])
    return made


def begin(phone, strips=4, *, online=True):
    """Plan so many strips a stop apart, and put the sheet into the light."""
    phone.page.select_option("#strip-step", "1")
    phone.page.select_option("#strip-count", str(strips))
    phone.until(".lead", f"{strips} strips")
    if not online:
        phone.offline(True)
        phone.until(".told", "times are read from the light kept on this phone")
    phone.tap("#strip-start")
    phone.page.wait_for_selector("#strip-covered")
    phone.settled()


def seconds_of(phone):
    """The countdown to the next cover."""
    return sum(
        int(part) * 60**power for power, part in enumerate(reversed(phone.text("#strip-big").split(":")))
    )


def until_seen(phone, selector, most_s=60):
    """Let second after second pass until something is there to be seen."""
    for _ in range(most_s):
        if phone.page.locator(selector).is_visible():
            return
        phone.wait(1)
    raise AssertionError(f"{selector} did not come within {most_s} s")


def until_due(phone):
    """Let time pass until a cover is asked for."""
    phone.jump(seconds_of(phone) - 12)
    phone.settled()
    until_seen(phone, ".strip-paper[data-state=due]")


def until_told(phone, selector):
    """Wait for what is shown once the service was told; a pause in between is made up for."""
    for _ in range(5):
        try:
            phone.page.wait_for_selector(selector, timeout=4000)
            return
        except TimeoutError:
            phone.wait(16)  # after which what could not be told is told again
    raise AssertionError(f"{selector} did not come: {phone.text('main')}")


def evidence(room, recipe):
    """What the service knows of a recipe."""
    return room.service.get(f"v1/recipes/{recipe['id']}/evidence")["evidence"]


def test_the_plan_is_the_services_own(listening, room, recipe):
    phone = listening
    phone.page.select_option("#strip-step", "1")
    phone.page.select_option("#strip-count", "4")
    phone.until(".lead", "4 strips")
    plan = room.service.post(
        "v1/strip",
        {
            "latitude_deg": 41.1485,
            "longitude_deg": -8.611,
            "recipe": recipe["id"],
            "step_stops": 1,
            "strip_count": 4,
        },
    )
    shown = [row.split(" · ")[1] for row in phone.page.locator(".strip-word").all_inner_texts()]
    for text, strip in zip(shown, plan["strips"], strict=True):
        assert abs((on_clock(phone, text) - instant(strip["cover_at"])).total_seconds()) <= 2
    assert phone.page.locator(".strip-note").all_inner_texts()[1] == "0.5 stops below it"


def test_covers_are_called_out_until_they_are_made(listening, room):
    phone = listening
    begin(phone)
    phone.shot("strip-follow")
    phone.axe()
    for number in (1, 2, 3):
        until_due(phone)
        phone.until("#strip-what", f"Cover strip {number} now")
        phone.wait(3, 1)
        assert phone.page.evaluate("window.sounded.length") >= 4
        assert [250, 120, 250, 120, 250] in phone.page.evaluate("window.shaken")
        if number == 2:
            phone.shot("strip-due")
            phone.axe()
            phone.page.click("#bar [aria-label^='Red on black']")
            phone.page.wait_for_selector("html[data-theme=dim]")
            phone.shot("strip-due-dim")
            phone.axe()
            phone.page.click("#bar [aria-label^='Back to daylight']")
            phone.go("#/now")
            until_seen(phone, ".strip-call")
            phone.until(".strip-call", "Cover strip 2 now")
            phone.page.click(".strip-call")
            phone.page.wait_for_selector("#strip-covered")
        phone.page.evaluate("window.sounded = []; window.shaken = []; 0")
        phone.tap("#strip-covered")
        phone.until(f"[data-strip='{number}']", "covered")
        phone.settled()
        phone.wait(3, 1)
        assert phone.page.evaluate("window.shaken.filter((one) => one.length === 5)") == []
    until_due(phone)
    phone.until("#strip-what", "Take the sheet in now")
    phone.tap("#strip-covered")
    phone.settled()
    assert room.service.get("v1/runs", limit=1)["runs"][0]["status"] == "finished"


def test_the_reading_moves_the_target(listening, room, recipe):
    phone = listening
    begin(phone)
    before = room.service.get(f"v1/recipes/{recipe['id']}/target")
    for _ in range(4):
        until_due(phone)
        phone.tap("#strip-covered")
        phone.settled()
    phone.until("h1", "Read Strip")
    run = room.service.get("v1/runs", limit=1)["runs"][0]
    phone.tap(".reading [data-strip='3']")
    phone.tap(".reading [data-strip='2']")
    phone.until(".reading [data-strip='3']", "first full")
    phone.until(".reading [data-strip='2']", "first tone")
    assert [phone.page.get_attribute(f".reading [data-strip='{n}']", "data-mark") for n in (1, 2, 3, 4)] == [
        "bare",
        "some",
        "full",
        "full",
    ]
    phone.shot("strip-read", whole=True)
    phone.axe()
    phone.tap("#strip-tell")
    until_told(phone, ".belief-dose")
    told = evidence(room, recipe)
    assert len(told) == 1
    assert told[0]["run_id"] == run["id"]
    assert told[0]["told"]["first_full"] == 3
    after = room.service.get(f"v1/recipes/{recipe['id']}/target")
    assert after["target_spread_stops"] < before["target_spread_stops"]
    two_figures = float(f"{after['target_j_m2']:.2g}")
    assert phone.text(".belief-dose") == f"{two_figures / 1000:g} kJ/m²"
    phone.page.wait_for_selector(".outcome img")
    phone.shot("strip-told", whole=True)
    phone.axe()


def test_a_strip_is_followed_and_read_without_a_network_and_told_once(listening, room, recipe):
    phone = listening
    phone.go("#/bench")  # a phone that keeps the page has all its files; this one has what it has seen
    phone.go("#/bench/strip")
    begin(phone, 2, online=False)
    assert room.service.get("v1/runs")["runs"] == []
    until_due(phone)
    phone.until("#strip-what", "Cover strip 1 now")
    phone.tap("#strip-covered")
    phone.wait(3, 1)
    phone.until(".aged", "Worked out on this phone")
    until_due(phone)
    phone.until("#strip-what", "Take the sheet in now")
    phone.tap("#strip-covered")
    phone.until("h1", "Read Strip")
    phone.tap("#strip-none")
    phone.tap(".reading [data-strip='2']")
    phone.tap("#strip-tell")
    phone.until(".outcome", "Kept on this phone")
    phone.go("#/bench")
    phone.until(".waiting-room", "The reading of Strip")
    phone.shot("bench-waiting")
    assert evidence(room, recipe) == []
    phone.offline(False)
    for _ in range(20):
        phone.wait(2, 1)
        phone.page.wait_for_timeout(100)
        if evidence(room, recipe):
            break
    told = evidence(room, recipe)
    assert len(told) == 1
    assert told[0]["told"]["first_full"] == "none"
    phone.reload()
    phone.go("#/bench")
    phone.settled()
    assert len(evidence(room, recipe)) == 1
    assert phone.text(".waiting-room") == ""


def test_a_strip_survives_a_reload_and_a_wrong_tap(listening, room):
    phone = listening
    begin(phone, 3)
    until_due(phone)
    phone.tap("#strip-covered")
    phone.until("#strip-what", "Cover strip 2 in")
    at = phone.text("#strip-when")
    phone.reload()
    phone.until("#strip-what", "Cover strip 2 in")
    assert abs(on_clock(phone, phone.text("#strip-when")[3:]) - on_clock(phone, at[3:])) <= timedelta(
        seconds=2
    )
    phone.go("#/now")
    phone.reload()  # whatever the page is opened at, the strip is watched
    until = on_clock(phone, at[3:]).timestamp() - room.rig.clock.now_s
    phone.jump(until - 10)
    phone.settled()
    assert not phone.page.locator(".strip-call").is_visible()
    until_seen(phone, ".strip-call")
    phone.until(".strip-call", "Cover strip 2 now")
    phone.tap(".strip-call")
    phone.page.wait_for_selector("#strip-undo")
    phone.tap("#strip-undo")
    phone.until("#strip-what", "Cover strip 1 now")
    phone.tap("#strip-covered")
    phone.go("#/bench")
    phone.until(".todo", re.compile("Go on covering Strip"))


def test_covers_that_nobody_told_of_count_from_when_they_were_due(listening, room, recipe):
    phone = listening
    begin(phone, 2)
    due = on_clock(phone, phone.text("[data-strip='1'] .strip-word"))
    until_due(phone)
    end = on_clock(phone, phone.text("[data-strip='2'] .strip-word"))
    phone.jump(end.timestamp() - room.rig.clock.now_s + 2)
    phone.settled()
    phone.go("#/frames")
    phone.tap("#finish")
    phone.until(".count-big", "Taken in")
    phone.settled()
    phone.go("#/bench")
    phone.tap(".todo a")
    phone.until("h1", "Read Strip")
    phone.tap(".reading summary")
    said = phone.text(".told-list li >> nth=0")
    assert "taken as done when it was due" in said
    assert abs(on_clock(phone, said.split(": ")[1].split(",")[0]) - due) <= timedelta(seconds=3)
    phone.tap(".reading [data-strip='2']")
    phone.tap(".reading [data-strip='1']")
    phone.tap("#strip-tell")
    until_told(phone, ".belief-dose")
    low, high = evidence(room, recipe)[0]["told"]["doses_j_m2"]
    assert high / low == pytest.approx(2, rel=0.02)  # a stop apart, as planned


def test_covers_too_quick_for_a_hand_are_said_and_mended(listening):
    phone = listening
    phone.page.select_option("#strip-step", "0.25")
    phone.tap("#strip-recipe")
    phone.page.fill("#coat-target", "300")
    phone.tap("dialog >> text=Classic iron citrate")
    phone.until(".note", "too quick for a hand")
    phone.tap("#strip-handier")
    phone.page.wait_for_selector("#strip-handier", state="detached")
