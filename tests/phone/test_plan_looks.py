"""Every screen of the plan: rules, sizes, both themes."""

import pytest
from phone.plan_rig import SHEETS, draft, saved_session

LOOKS = [(320, 640, "day"), (390, 844, "day"), (390, 844, "dim"), (1280, 800, "day")]


def looked_at(phone, name):
    """Rules, sizes and a picture of one screen."""
    phone.axe()
    assert phone.small_targets() == []
    assert phone.overflow() <= 0
    phone.shot(name, whole=True)


@pytest.mark.parametrize(("width", "height", "theme"), LOOKS)
def test_every_screen_of_the_plan_keeps_the_rules(room, width, height, theme):
    phone = room.phone(width=width, height=height).open()
    name = f"plan-{width}-{theme}"
    if theme == "dim":
        phone.tap("#bar button.round")
    phone.place()
    phone.go("#/plan")
    phone.page.wait_for_selector(".plan-line")
    looked_at(phone, f"{name}-days")
    phone.tap("#plan-remind")
    looked_at(phone, f"{name}-calendar")
    phone.page.keyboard.press("Escape")
    phone.go("#/plan/session")
    phone.page.wait_for_selector("#session-add")
    phone.tap("#session-add")
    looked_at(phone, f"{name}-sheet")
    phone.page.keyboard.press("Escape")
    draft(phone, SHEETS)
    looked_at(phone, f"{name}-session")
    phone.tap("#session-plan")
    phone.page.wait_for_selector(".plan-line")
    looked_at(phone, f"{name}-drawn")
    session = saved_session(room)
    phone.go(f"#/plan/session/{session['id']}")
    phone.until("#step", "Load")
    looked_at(phone, f"{name}-follow")
    phone.tap("#step-more")
    looked_at(phone, f"{name}-more")
    phone.page.keyboard.press("Escape")
    phone.go("#/plan/month")
    phone.page.wait_for_selector("tr[data-date]")
    looked_at(phone, f"{name}-month")
    phone.go("#/plan/year")
    phone.page.wait_for_selector("tr[data-month]")
    looked_at(phone, f"{name}-year")
