"""Everything by keyboard alone: first use to a print taken in, the plan of a session to its first step."""

import re

import pytest

STYLE = """() => {
  const one = document.activeElement, box = one.getBoundingClientRect();
  return [getComputedStyle(one).outline, Math.round(box.top), Math.round(box.bottom), innerHeight].join();
}"""


class Keys:
    """Hands that never leave the keyboard; wherever they stop, the focus must be seen."""

    def __init__(self, phone):
        self.phone, self.press, self.type = phone, phone.page.keyboard.press, phone.page.keyboard.type

    def at(self, selector):
        return self.phone.page.evaluate("one => document.activeElement.matches(one)", selector)

    def seen(self):
        """Whether the focused control is outlined and lies within the window."""
        return self.phone.page.evaluate(
            """() => {
              const one = document.activeElement, style = getComputedStyle(one);
              const box = one.getBoundingClientRect();
              const outlined = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
              return (outlined || one.matches("main")) && box.bottom > 0 && box.top < innerHeight;
            }"""
        )

    def reach(self, selector, most=60, key="Tab"):
        """Go from control to control until one is reached."""
        for _ in range(most):
            self.press(key)
            said = self.phone.page.evaluate("document.activeElement.outerHTML.slice(0, 80)")
            assert self.seen() or self.at("body"), (
                f"the focus is not seen on {said}: {self.phone.page.evaluate(STYLE)}"
            )
            if self.at(selector):
                return
        raise AssertionError(f"{selector} is not reached by the {key} key")

    def take(self, selector, **how):
        """Reach a control and press it."""
        self.reach(selector, **how)
        self.press("Enter")


@pytest.fixture
def keys(room):
    return Keys(room.phone().open())


def test_from_first_use_to_a_print_taken_in_by_keyboard_alone(keys, room):
    phone = keys.phone
    keys.reach(".skip")
    keys.reach("#place-name")
    keys.type("Porto")
    keys.press("Enter")
    phone.page.wait_for_selector(".choice")
    keys.reach(".choice", key="Shift+Tab")
    keys.press("Enter")
    phone.page.wait_for_selector(".chart")
    keys.take("#pick-sky")
    phone.page.wait_for_selector("dialog")
    keys.press("Escape")
    assert keys.at("#pick-sky")
    keys.take("#start")
    phone.page.wait_for_selector(".count-big")
    keys.take("[data-ago='1']")
    keys.take("[data-sky=covered]", key="Tab")
    phone.settled()
    keys.take("#cover")
    phone.until("#cover", "Uncover it")
    keys.press("Enter")
    phone.until("#cover", "Cover it")
    keys.take("#finish")
    phone.until(".count-big", "Taken in")
    phone.settled()
    (run,) = room.service.get("v1/runs")["runs"]
    events = room.service.get(f"v1/runs/{run['id']}/events")["events"]
    assert [event["kind"] for event in events] == ["started", "sky", "covered", "uncovered", "finished"] or [
        event["kind"] for event in events
    ] == ["sky", "started", "covered", "uncovered", "finished"]
    assert room.service.get(f"v1/runs/{run['id']}")["status"] == "finished"


def test_a_session_is_planned_and_its_first_step_told_by_keyboard_alone(keys, room):
    phone = keys.phone
    phone.place()
    keys.take("#rail-plan")
    phone.page.wait_for_selector(".plan-line")
    keys.take("a[href='#/plan/session']")
    phone.page.wait_for_selector("#session-add")
    keys.take("#session-add")
    phone.page.wait_for_selector("dialog")
    keys.reach("#sheet-name")
    keys.press("Control+a")
    keys.type("kelp fronds")
    keys.take("#sheet-take")
    phone.page.wait_for_selector("dialog", state="detached")
    phone.until("#session-sheets", "kelp fronds")
    keys.take("#session-plan")
    phone.page.wait_for_selector(".sheet-rows li")
    keys.take("#plan-keep")
    phone.until("#step", re.compile("Load kelp fronds"))
    keys.take("#step-done")
    phone.page.wait_for_selector("#step-late:not([disabled])")
    keys.take(".dose-of")
    phone.until(".frame-name", "kelp fronds")
    phone.until(".count-big", re.compile(r"\d:\d\d"))
    (session,) = room.service.get("v1/sessions")["sessions"]
    kept = room.service.get(f"v1/sessions/{session['id']}")
    assert [event["kind"] for event in kept["events"]] == ["started"]
    assert len(room.service.get("v1/runs")["runs"]) == 1
