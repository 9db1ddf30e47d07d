"""A session from the list of sheets to the last wash, told of and planned anew, also without a network."""

import datetime as dt
import re

import httpx
import pytest
from phone.plan_rig import PORTO, SCENE, SHEETS, clock_of, draft, saved_session, shown_length


@pytest.fixture
def drawn(phone):
    """A phone with the plan of a list of sheets before it."""
    phone.go("#/plan/session")
    phone.page.wait_for_selector("#session-add")
    draft(phone, SHEETS)
    phone.tap("#session-plan")
    phone.page.wait_for_selector(".sheet-rows li")
    return phone


@pytest.fixture
def followed(phone, room):
    """A phone that follows a kept session."""
    session = saved_session(room)
    phone.go(f"#/plan/session/{session['id']}")
    phone.until("#step", "Load")
    return phone, session


def session_of(room, phone):
    return room.service.get(f"v1/sessions/{phone.page.url.rsplit('/', 1)[1]}")


def local(text):
    """Day and time by the clock of Porto in summer."""
    return f"{dt.datetime.fromisoformat(text).astimezone(dt.timezone(dt.timedelta(hours=1))):%d %H:%M}"


def newest(room, session):
    return room.service.get(f"v1/sessions/{session['id']}")


def planned(phone):
    """Wait until the plan on the way is there."""
    phone.page.wait_for_selector("#step-late:not([disabled])")


def hands(plan):
    return [step for step in plan["steps"] if step["hands"]]


def step_words(step):
    return {
        "load": f"Load {step['sheet']} in {step['frame']}",
        "unload": f"Take {step['sheet']} out of {step['frame']}",
        "wash": f"Wash {step['sheet']}",
    }[step["kind"]]


def test_the_plan_of_a_list_is_the_services_own(drawn, room):
    sheets = [{"name": name, "count": count} for name, count in SHEETS]
    spots = [{"name": "Flat, open ground"}]
    body = {**SCENE, "sheets": sheets, "spots": spots, "frames": [{"name": "frame", "count": 2}]}
    plan = room.service.post("v1/session", {**body, "date": "2026-06-21"})
    assert drawn.text("#plan-summary") == plan["summary"]
    shown = [
        (
            row.locator(".sheet-time").inner_text(),
            row.locator(".sheet-name").inner_text(),
            row.locator(".sheet-length").inner_text(),
        )
        for row in drawn.page.locator(".sheet-rows li").all()
    ]
    assert shown == [
        (clock_of(one["start"]), one["sheet"], shown_length(one["length_s"])) for one in plan["sheets"]
    ]
    steps = drawn.page.locator(".steps li").all_text_contents()
    assert len(steps) == len(plan["steps"])
    for text, step in zip(steps, plan["steps"], strict=True):
        assert text.startswith(f"{clock_of(step['start'])}–{clock_of(step['end'])} {step['says']}")
    assert drawn.page.locator(".plan-block").count() == len(plan["steps"])


def test_a_touch_near_a_step_and_the_buttons_tell_its_words(drawn):
    block = drawn.page.locator(".plan-block[data-kind=expose]").first
    box = block.bounding_box()
    drawn.page.mouse.click(box["x"] + 1, box["y"] + box["height"] + 4)  # beside it, as a thumb is
    drawn.until(".plan-said", "in the light")
    said = drawn.text(".plan-said")
    drawn.tap("text=Next step")
    drawn.page.wait_for_timeout(50)
    assert drawn.text(".plan-said") != said
    drawn.tap("text=Step back")
    drawn.until(".plan-said", said)


def test_hours_breaks_priorities_and_limits_are_asked_as_written(phone, room):
    phone.go("#/plan/session")
    phone.page.wait_for_selector("#session-add")
    phone.tap("#session-add")
    phone.page.fill("#sheet-name", "ferry ticket")
    phone.page.fill("#sheet-count", "2")
    phone.page.fill("#sheet-by", "16:30")
    phone.page.select_option("#sheet-priority", "2")
    phone.tap("#sheet-take")
    phone.until("#session-sheets", "Rather this one · by 16:30")
    phone.page.fill("#session-frames", "1")
    phone.page.fill("#session-from", "14:30")
    phone.page.fill("#session-until", "17:15")
    phone.tap("#session-break")
    phone.page.fill(".break input >> nth=0", "15:00")
    phone.page.fill(".break input >> nth=1", "15:20")
    phone.page.locator(".break input >> nth=1").blur()
    phone.wait(1)
    phone.tap("#session-plan")
    phone.page.wait_for_selector(".sheet-rows li")
    phone.tap("#plan-keep")
    phone.until("#step", "Load ferry ticket 1 in frame")
    session = session_of(room, phone)
    asked = session["asked"]
    assert (local(asked["start"]), local(asked["end"])) == ("21 14:30", "21 17:15")
    assert [local(asked["breaks"][0][end]) for end in ("start", "end")] == ["21 15:00", "21 15:20"]
    sheet = asked["sheets"][0]
    assert (sheet["count"], sheet["priority"], local(sheet["done_by"])) == (2, 2, "21 16:30")
    assert asked["frames"] == [{"name": "frame", "count": 1}]
    assert phone.page.locator(".plan-pause").count() == 1
    phone.shot("plan-break", whole=True)


def test_what_does_not_fit_is_said_with_its_reason(phone, room):
    phone.go("#/plan/session")
    phone.page.wait_for_selector("#session-add")
    draft(phone, [("kelp fronds", 8)])
    phone.page.fill("#session-frames", "1")
    phone.page.fill("#session-until", "15:00")
    phone.page.locator("#session-until").blur()
    phone.tap("#session-plan")
    phone.page.wait_for_selector("[data-reason]")
    left = phone.page.locator("[data-reason]")
    assert 0 < left.count() < 8
    assert "does not fit" in left.first.inner_text()
    assert phone.page.locator(".sheet-rows li").count() + left.count() == 8
    phone.axe()


def test_the_next_step_is_told_done_with_one_tap_and_the_rest_planned_anew(followed, room):
    phone, session = followed
    first = hands(session["plan"])[0]
    assert phone.text("#step") == step_words(first)
    assert clock_of(first["start"]) in phone.text(".step-card .until")
    phone.wait(300, 60)
    phone.until("#step-when", "Late")
    phone.taps = 0
    phone.tap("#step-done")
    phone.until("#step", re.compile(f"^(?!{re.escape(step_words(first))})"))
    planned(phone)
    now = newest(room, session)
    assert phone.taps == 1
    assert [(one["kind"], one["sheet_id"]) for one in now["events"]] == [("started", first["sheet_id"])]
    sheet = next(one for one in now["plan"]["sheets"] if one["sheet_id"] == first["sheet_id"])
    assert sheet["state"] == "running"
    assert clock_of(sheet["end"]) in phone.text(".in-light")
    upcoming = next(step for step in hands(now["plan"]) if step["state"] == "planned")
    phone.until("#step", step_words(upcoming))
    phone.axe()
    phone.shot("plan-followed")


def test_a_whole_sheet_goes_through_the_light_and_the_wash(phone, room):
    session = saved_session(room, sheets=[{"name": "tide table"}])
    phone.go(f"#/plan/session/{session['id']}")
    phone.until("#step", "Load tide table in frame 1")
    phone.wait(120, 60)
    phone.tap("#step-done")
    phone.until("#step", "Take tide table out of frame 1")
    phone.wait(720, 60)
    phone.until("#step-when", re.compile("Now|Late"))
    phone.tap("#step-done")
    phone.until("#step", "Wash tide table")
    now = newest(room, session)
    assert [one["kind"] for one in now["events"]] == ["started", "ended"]
    phone.tap("#step-done")
    phone.until("#step", "Nothing left to do")
    phone.reload()
    phone.until("#step", "Nothing left to do")


def test_late_dropped_and_cloud_are_told_and_planned_around(followed, room):
    phone, session = followed
    phone.wait(600, 60)
    phone.tap("#step-late")
    planned(phone)
    later = newest(room, session)
    assert later["version"] > session["version"]
    assert dt.datetime.fromisoformat(hands(later["plan"])[0]["start"]) >= dt.datetime.fromtimestamp(
        room.rig.clock.now_s - 60, dt.UTC
    )
    phone.tap("#step-more")
    phone.tap("dialog >> text=Drop kelp fronds 2")
    phone.until("main", "2 sheets planned")
    planned(phone)
    phone.tap("#step-more")
    phone.tap("dialog >> text=Grey all over")
    planned(phone)
    now = newest(room, session)
    assert [one["kind"] for one in now["events"]] == ["dropped", "cloud"]
    clear, grey = (
        next(one["length_s"] for one in saved["plan"]["sheets"] if one["sheet"] == "tide table")
        for saved in (later, now)
    )
    assert grey > 1.5 * clear


def test_what_is_told_without_a_network_is_kept_and_told_later_once(followed, room):
    phone, session = followed
    first = hands(session["plan"])[0]
    phone.offline(True)
    phone.wait(90, 30)
    phone.tap("#step-done")
    phone.until(".aged", "One word is still to be told")
    phone.until("#step", re.compile(f"^(?!{re.escape(step_words(first))})"))
    told_s = room.rig.clock.now_s
    phone.axe()
    phone.shot("plan-offline")
    phone.go("#/now")
    phone.go(f"#/plan/session/{session['id']}")
    phone.until(".in-light", "In the light")
    phone.wait(120, 30)
    assert newest(room, session)["events"] == []
    phone.offline(False)
    phone.page.wait_for_selector(".aged", state="hidden")
    now = newest(room, session)
    assert [one["kind"] for one in now["events"]] == ["started"]
    at = dt.datetime.fromisoformat(now["events"][0]["at"]).timestamp()
    assert at == pytest.approx(told_s, abs=5)


def test_a_plan_changed_elsewhere_is_taken_and_the_own_word_told_again(followed, room):
    phone, session = followed
    path = f"v1/sessions/{session['id']}/replan"
    event = {"kind": "dropped", "at": "2026-06-21T12:40:00Z", "sheet_id": "tide-table-1"}
    answer = httpx.post(
        f"{room.service.url}/{path}", json={"events": [event]}, headers={"If-Match": '"1"'}, trust_env=False
    )
    assert answer.status_code == 200
    phone.wait(30)
    phone.tap("#step-done")
    phone.until(".aged", "changed elsewhere")
    planned(phone)
    kinds = [one["kind"] for one in newest(room, session)["events"]]
    assert sorted(kinds) == ["dropped", "started"]


def test_a_word_that_cannot_be_is_shown_not_dropped(followed, room):
    phone, session = followed
    first = hands(session["plan"])[0]
    phone.offline(True)
    phone.tap("#step-done")
    phone.until(".aged", "still to be told")
    event = {"kind": "dropped", "at": "2026-06-21T12:39:00Z", "sheet_id": first["sheet_id"]}
    httpx.post(
        f"{room.service.url}/v1/sessions/{session['id']}/replan",
        json={"events": [event]},
        headers={"If-Match": '"1"'},
        trust_env=False,
    )
    phone.offline(False)
    phone.until(".troubles", f"{first['sheet']} into the light")
    phone.axe()
    phone.tap("text=Leave it out")
    phone.page.wait_for_selector(".trouble", state="detached")
    assert [one["kind"] for one in newest(room, session)["events"]] == ["dropped"]


def test_the_session_goes_into_a_calendar_and_is_put_away(followed, room):
    phone, session = followed
    phone.tap("#step-more")
    phone.tap("dialog >> text=Put it into a calendar")
    phone.page.wait_for_selector("#calendar-file")
    link = phone.page.get_attribute("#calendar-file", "href")
    assert "kelp fronds" in httpx.get(f"{room.service.url}/{link}", trust_env=False).text
    phone.tap("#calendar-make")
    phone.page.wait_for_selector("#calendar-address")
    assert room.service.get("v1/feeds")["feeds"][0]["shows"] == "session"
    phone.page.keyboard.press("Escape")
    phone.tap("#step-more")
    phone.tap("dialog >> text=Put this session away")
    phone.until("h1", "What do you want to print?")
    assert newest(room, session)["retired"] is True


def test_sheets_lie_at_saved_spots_by_saved_recipes(phone, room):
    opening = {"outward_azimuth_deg": 180, "width_m": 1.2, "sill_m": 0.2, "head_m": 1.4, "pane": "none"}
    frame = {
        "distance_m": 0.5,
        "offset_m": 0.0,
        "width_m": 0.3,
        "height_m": 0.4,
        "tilt_deg": 0,
        "aim_azimuth_deg": 180,
    }
    sill = {"name": "window table", **PORTO, "spot": {"kind": "window", "window": opening, "frame": frame}}
    room.service.post("v1/spots", sill)
    room.service.post(
        "v1/recipes",
        {"name": "kelp on cotton", "sensitizer": "citrate-classic", "stack": ["float-glass-4mm"]},
    )
    phone.go("#/plan/session")
    phone.tap("text=window table")
    phone.tap("text=Frames may be moved there")
    phone.tap("#session-add")
    phone.page.select_option("#sheet-recipe", label="kelp on cotton")
    phone.page.select_option("#sheet-spot", label="window table")
    phone.tap("#sheet-take")
    phone.until("#session-sheets", "kelp on cotton · window table")
    draft(phone, [("tide table", 1)])
    assert phone.small_targets() == []
    phone.axe()
    phone.shot("plan-spots", whole=True)
    phone.tap("#session-plan")
    phone.page.wait_for_selector(".sheet-rows li")
    phone.tap("#plan-keep")
    phone.until("#step", "Load")
    session = session_of(room, phone)
    asked = session["asked"]
    assert [one["name"] for one in asked["spots"]] == ["Flat, open ground", "window table"]
    assert asked["spots"][1]["moves"] == "table"
    assert asked["sheets"][0]["spots"] == ["window table"]
    recipe = room.service.get("v1/recipes")["recipes"][0]
    assert asked["sheets"][0]["recipe"] == recipe["id"]
    assert phone.page.locator(".plan-line .chart-cloud").count() == 1  # the second spot's light
    phone.shot("plan-two-spots", whole=True)


def test_a_sheet_put_into_the_light_is_followed_by_its_dose_and_taken_in_with_its_step(followed, room):
    phone, session = followed
    phone.tap("#step-done")
    planned(phone)
    begun = newest(room, session)["events"][0]["at"]
    sheet = next(one for one in newest(room, session)["plan"]["sheets"] if one["state"] == "running")
    phone.tap(".dose-of")
    phone.until(".frame-name", sheet["sheet"])
    phone.settled()
    (run,) = room.service.get("v1/runs")["runs"]
    state = room.service.get(f"v1/runs/{run['id']}")
    assert dt.datetime.fromisoformat(state["start"]) == dt.datetime.fromisoformat(begun)
    assert state["target_j_m2"] == sheet["target_j_m2"]
    phone.look_again()
    assert phone.left_s() == pytest.approx(state["remaining_s"], abs=2)
    phone.go(f"#/plan/session/{session['id']}")
    phone.until(".dose-of", re.compile(r"\d:\d\d left by dose"))
    phone.axe()
    phone.shot("plan-dose", whole=True)
    for _ in range(6):  # other steps come between
        if "Take" in phone.text("#step"):
            break
        phone.tap("#step-done")
        planned(phone)
    phone.wait(60, 10)
    phone.tap("#step-done")
    planned(phone)
    phone.settled()
    states = {one["status"] for one in room.service.get("v1/runs")["runs"] if one["id"] == run["id"]}
    assert states == {"finished"}
