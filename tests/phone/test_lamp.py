"""A frame under a lamp, begun elsewhere: no sky, no zone; switched off and on from the page."""

import re

import pytest

BOX = {"kind": "uv-a-tube-368", "output": {"by": "reading", "irradiance_mw_cm2": 6.0}}
FRAME = {"lamp": "box", "name": "box one", "stack": "float-glass-4mm,polyester-film", "target_j_m2": 24000}
COUNT = re.compile(r"\d:\d\d")


@pytest.fixture
def run(room):
    """A run as the command line begins one, its times by their offset alone."""
    room.service.post("v1/lamps", {"name": "box", **BOX})
    begun = room.service.post("v1/runs", {**FRAME, "start": "2026-06-21T12:40:00Z"})
    assert begun["basis"]["time_zone"] is None
    assert "sky" not in begun["basis"]
    return begun


def kinds(room, run):
    events = room.service.get(f"v1/runs/{run['id']}/events")["events"]
    return [(event["kind"], event["payload"]) for event in events]


def test_a_frame_under_a_lamp_is_shown_and_switched(phone, room, run):
    phone.go("#/frames")
    phone.until(".frame-name", "box one")
    phone.until(".count-big", COUNT)
    assert phone.left_s() == pytest.approx(run["remaining_s"], abs=2)
    assert phone.page.locator("[data-sky=covered]").is_hidden()
    assert phone.page.locator(".ifs").is_hidden()
    assert phone.page.locator(".move").is_hidden()
    phone.until(".says", "Under the lamp: box (uv-a-tube-368)")
    phone.until(".cautions", "Keep the lamp in a closed box")
    phone.until("#cover", "Lamp off")
    phone.axe()
    phone.shot("lamp", whole=True)
    phone.wait(120, 10)
    phone.tap("#cover")
    phone.until("#cover", "Lamp on")
    phone.settled()
    phone.until(".paper .until", "left under the lamp")
    phone.wait(60, 10)
    phone.tap("#cover")
    phone.until("#cover", "Lamp off")
    phone.settled()
    phone.tap("#more")
    phone.tap("#shade")
    phone.until("#cover", "Lamp on")
    phone.settled()
    assert kinds(room, run) == [
        ("started", {}), ("covered", {}), ("uncovered", {}), ("covered", {"lamp_on": True}),
    ]  # fmt: skip
    phone.tap("#cover")
    phone.settled()
    phone.look_again()
    state = room.service.get(f"v1/runs/{run['id']}")
    assert phone.left_s() == pytest.approx(state["remaining_s"], abs=2)
    phone.tap(".why summary")
    phone.until(".told-list", "lamp off, or covered")
    phone.reload()
    phone.until(".count-big", COUNT)
    phone.go("#/now")
    phone.page.wait_for_selector(".chart")


def test_without_a_network_the_lamps_last_word_goes_on_and_what_is_told_waits(phone, room, run):
    phone.go("#/frames")
    phone.until(".count-big", COUNT)
    phone.offline(True)
    phone.wait(100, 10)
    left = phone.left_s()
    assert left == pytest.approx(run["remaining_s"] - 100, abs=3)
    phone.tap("#finish")
    phone.until(".count-big", "Taken in")
    phone.offline(False)
    phone.page.evaluate("dispatchEvent(new Event('online'))")
    phone.page.wait_for_timeout(400)
    phone.settled()
    assert [kind for kind, _ in kinds(room, run)] == ["started", "finished"]
