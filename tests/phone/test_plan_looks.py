"""Every screen of the plan: rules, names, sizes, both lights."""

from phone.looks import looked_at
from phone.plan_rig import SHEETS, draft, saved_session


def test_every_screen_of_the_plan_keeps_the_rules_at_every_size_in_both_lights(room):
    phone = room.phone().open()
    phone.place()
    phone.go("#/plan")
    phone.page.wait_for_selector(".plan-line")
    looked_at(phone, "plan-days", whole=True)
    phone.tap("#plan-remind")
    looked_at(phone, "plan-calendar", whole=True)
    phone.page.keyboard.press("Escape")
    phone.go("#/plan/session")
    phone.page.wait_for_selector("#session-add")
    phone.tap("#session-add")
    looked_at(phone, "plan-sheet", whole=True)
    phone.page.keyboard.press("Escape")
    draft(phone, SHEETS)
    looked_at(phone, "plan-session", whole=True)
    phone.tap("#session-plan")
    phone.page.wait_for_selector(".plan-line")
    looked_at(phone, "plan-drawn", whole=True)
    session = saved_session(room)
    phone.go(f"#/plan/session/{session['id']}")
    phone.until("#step", "Load")
    looked_at(phone, "plan-follow", whole=True)
    phone.tap("#step-more")
    looked_at(phone, "plan-more", whole=True)
    phone.page.keyboard.press("Escape")
    phone.go("#/plan/month")
    phone.page.wait_for_selector("tr[data-date]")
    looked_at(phone, "plan-month", whole=True)
    phone.go("#/plan/year")
    phone.page.wait_for_selector("tr[data-month]")
    looked_at(phone, "plan-year", whole=True)
