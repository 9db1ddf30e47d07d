"""Days, months and the year: the page shows the service's own numbers, also without a network."""

import datetime as dt
import re

import httpx
import pytest
from phone.conftest import opened_room
from phone.plan_rig import SCENE, clock_of, shown_length
from weather_rig import NOON_S

EVENING_S = NOON_S + 5.5 * 3600.0
WINTER_S = dt.datetime(2026, 12, 20, 11, 0, tzinfo=dt.UTC).timestamp()
AUTUMN_S = dt.datetime(
    2026, 10, 24, 11, 0, tzinfo=dt.UTC
).timestamp()  # the clocks go back in the night after


def slots_shown(phone, selector=".slots:not(.slots-past *) .slot"):
    """Time and length of each slot, in the page's order."""
    return [
        (one.locator(".slot-time").inner_text(), one.locator(".slot-length").inner_text())
        for one in phone.page.locator(selector).all()
    ]


def as_shown(slots):
    return [(clock_of(one["best_start"]), shown_length(one["length_s"])) for one in slots]


def open_plan(phone, address="#/plan"):
    phone.go(address)
    phone.page.wait_for_selector(".slot, .plan-line, .told:not(:empty)")


def rest_of_day(room, now_s, end):
    start = dt.datetime.fromtimestamp(now_s, dt.UTC).isoformat()
    return room.service.post("v1/slots", {**SCENE, "start": start, "end": end, "limit": 12})


def test_the_slots_from_now_are_the_services_own_best_first(phone, room):
    open_plan(phone)
    answer = rest_of_day(room, room.rig.clock.now_s, "2026-06-21T23:59:59+01:00")
    assert slots_shown(phone, "ol.slots > .slot") == as_shown(answer["slots"])
    assert len(answer["slots"]) >= 2
    first = phone.page.locator("ol.slots > .slot").first.inner_text()
    assert f"start by {clock_of(answer['slots'][0]['last_start'])}" in first
    assert answer["slots"][0]["why"] in first
    assert "Eight times in ten" in first
    phone.page.wait_for_selector(".plan-line .chart-likely")


def test_a_slot_that_is_open_is_begun_with_one_tap(phone, room):
    open_plan(phone)
    phone.tap("#plan-start")
    phone.page.wait_for_selector("main[data-screen=frames] .count-big")
    phone.settled()
    assert len(room.service.get("v1/runs")["runs"]) == 1
    assert phone.taps == 1


def test_slots_that_are_over_are_said_to_be_over(browser, tmp_path, shots):
    with opened_room(browser, tmp_path, shots, now_s=EVENING_S) as room:
        phone = room.phone().open()
        phone.place()
        open_plan(phone)
        day = room.service.post("v1/slots", {**SCENE, "date": "2026-06-21", "limit": 12})["slots"]
        now = dt.datetime.fromtimestamp(EVENING_S, dt.UTC)
        over = [one for one in day if dt.datetime.fromisoformat(one["last_start"]) < now]
        over.sort(key=lambda one: one["last_start"], reverse=True)
        assert len(over) >= 2
        texts = phone.page.locator(".slots-past .slot").all_inner_texts()
        assert len(texts) == len(over)
        for text, one in zip(texts, over, strict=True):
            assert f"Over since {clock_of(one['last_start'])}." in text
            assert shown_length(one["length_s"]) in text
        assert not phone.page.is_visible("#plan-start")
        phone.axe()
        phone.shot("plan-evening", whole=True)
        room.check_quiet()


def test_tomorrow_is_the_services_own_day(phone, room):
    phone.go("#/plan/tomorrow")
    phone.until("h1", "Tomorrow, Monday 22 June")
    phone.page.wait_for_selector(".slot")
    answer = room.service.post("v1/slots", {**SCENE, "date": "2026-06-22", "limit": 12})
    assert slots_shown(phone, "ol.slots > .slot") == as_shown(answer["slots"])


def test_a_reminder_comes_as_a_file_or_from_an_address_shown_once(phone, room):
    open_plan(phone)
    phone.tap("#plan-remind")
    phone.page.select_option("#calendar-days", "2")
    phone.page.select_option("#calendar-ahead", "30")
    link = phone.page.get_attribute("#calendar-file", "href")
    file = httpx.get(f"{room.service.url}/{link}", trust_env=False)
    assert file.headers["content-type"].startswith("text/calendar")
    assert file.text.count("BEGIN:VEVENT") == 2
    assert file.text.count("BEGIN:VALARM") >= 2
    phone.page.fill("#calendar-name", "Yard")
    phone.tap("#calendar-make")
    phone.page.wait_for_selector("#calendar-address")
    address = phone.page.input_value("#calendar-address")
    assert "BEGIN:VCALENDAR" in httpx.get(address, trust_env=False).text
    phone.axe()
    assert phone.small_targets() == []
    assert [one["name"] for one in room.service.get("v1/feeds")["feeds"]] == ["Yard"]
    phone.page.keyboard.press("Escape")
    phone.page.wait_for_selector("dialog", state="detached")
    assert address not in phone.page.content()
    phone.tap("#plan-remind")
    assert phone.page.locator("#calendar-address").count() == 0


def test_without_a_network_the_last_answer_is_shown_with_its_age(phone, room):
    open_plan(phone)
    phone.go("#/plan/month")
    phone.page.wait_for_selector("tr[data-date]")
    month = phone.page.locator("tbody").inner_text()
    phone.go("#/plan")
    phone.page.wait_for_selector(".slot")
    shown = slots_shown(phone, "ol.slots > .slot")
    phone.offline(True)
    phone.wait(1200, 60)
    phone.until(".aged", re.compile(r"As it was answered (1\d|20) minutes ago"))
    assert slots_shown(phone, "ol.slots > .slot") == shown
    phone.go("#/plan/month")
    phone.until(".aged", "As it was answered 20 minutes ago")
    assert phone.page.locator("tbody").inner_text() == month
    phone.go("#/plan/month/2026-11")
    phone.until(".told", "no answer to this is kept")
    phone.offline(False)
    phone.page.wait_for_selector("tr[data-date='2026-11-30']")


@pytest.mark.parametrize("month", ["2026-06", "2026-12"])
def test_the_month_is_the_services_own(phone, room, month):
    phone.go(f"#/plan/month/{month}")
    phone.page.wait_for_selector("tr[data-date]")
    answer = room.service.post("v1/month", {**SCENE, "month": month})
    rows = phone.page.locator("tr[data-date]")
    assert rows.count() == len(answer["days"])
    for index in (0, 10, len(answer["days"]) - 1):
        day = answer["days"][index]
        cells = rows.nth(index).locator("td").all_inner_texts()
        good = f"{clock_of(day['useful_from'])}–{clock_of(day['useful_until'])}"
        assert cells == [clock_of(day["best_start"]), shown_length(day["best_length_s"]), good]
    rows.nth(10).locator("button").click()
    possible = [one for one in answer["days"][10]["starts"] if one["length_s"] is not None]
    phone.page.wait_for_selector("dialog tbody tr")
    told = [tuple(row.inner_text().split("\t")) for row in phone.page.locator("dialog tbody tr").all()]
    assert told == [(clock_of(one["start"]), shown_length(one["length_s"])) for one in possible]
    phone.axe()
    phone.tap("dialog a")
    phone.page.wait_for_selector(".slot")
    phone.page.wait_for_selector(".plan-line .chart-likely")


def test_the_year_is_the_services_own_and_its_pages_can_be_had(phone, room):
    phone.go("#/plan/year")
    phone.page.wait_for_selector("tr[data-month]")
    answer = room.service.post("v1/year", {**SCENE, "year": 2026})
    for row, month in zip(phone.page.locator("tr[data-month]").all(), answer["months"], strict=True):
        cells = row.locator("td").all_inner_texts()
        assert cells[:2] == [month["best_start"], shown_length(month["best_length_s"])]
        assert cells[2] == f"{month['useful_from']}–{month['useful_until']}"
    links = [one.get_attribute("href") for one in phone.page.locator(".screen a[download]").all()]
    kinds = [
        httpx.get(f"{room.service.url}/{link}", trust_env=False).headers["content-type"] for link in links
    ]
    assert kinds == ["application/pdf", "image/svg+xml"]
    phone.tap("tr[data-month='3'] a")
    phone.until("h1", "March 2026")


def test_a_leaning_frame_is_planned_as_it_leans(phone, room):
    phone.tap("#pick-spot")
    phone.tap("dialog >> text=Leaning, in the open")
    phone.tap("dialog >> text=Take this")
    phone.until("#pick-spot", "30° to the south")
    phone.go("#/plan/month/2026-12")
    phone.page.wait_for_selector("tr[data-date]")
    spot = {"kind": "open", "tilt_deg": 30, "aim_azimuth_deg": 180}
    day = room.service.post("v1/month", {**SCENE, "month": "2026-12", "spot": spot})["days"][14]
    assert phone.page.locator("tr[data-date='2026-12-15'] td").nth(1).inner_text() == shown_length(
        day["best_length_s"]
    )
    link = phone.page.get_attribute(".screen a[download]", "href")
    assert "tilt_deg=30" in link
    assert httpx.get(f"{room.service.url}/{link}", trust_env=False).status_code == 200


def test_the_day_on_which_the_clocks_change_keeps_its_own_hours(browser, tmp_path, shots):
    with opened_room(browser, tmp_path, shots, now_s=AUTUMN_S) as room:
        phone = room.phone().open()
        phone.place()
        phone.go("#/plan/tomorrow")
        phone.until("h1", "Sunday 25 October")
        phone.page.wait_for_selector(".slot")
        answer = room.service.post("v1/slots", {**SCENE, "date": "2026-10-25", "limit": 12})
        assert slots_shown(phone, "ol.slots > .slot") == as_shown(answer["slots"])
        assert answer["slots"][0]["best_start"].endswith("+00:00")
        phone.until("main", re.compile(r"Europe/Lisbon \(GMT(\+0)?\)"))
        phone.go("#/plan/month")
        phone.until(".note", re.compile("Sunday 25 October, from GMT.1 to GMT"))
        october = room.service.post("v1/month", {**SCENE, "month": "2026-10"})["days"]
        for date in ("2026-10-24", "2026-10-25"):
            day = next(one for one in october if one["date"] == date)
            cells = phone.page.locator(f"tr[data-date='{date}'] td").all_inner_texts()
            assert cells[:2] == [clock_of(day["best_start"]), shown_length(day["best_length_s"])]
        edges = phone.page.evaluate(
            """async () => { const main = document.querySelector("script[type=module]").src;
            const { dayStart, instantAt } = await import(main.replace("main.js", "plan_kit.js"));
            const zone = "Europe/Lisbon", at = (...when) => instantAt(...when, zone);
            const text = (ms) => new Date(ms).toISOString();
            const hours = (a, b) => (dayStart(b, zone) - dayStart(a, zone)) / 3600000;
            return [hours("2026-10-25", "2026-10-26"), hours("2026-03-29", "2026-03-30"),
              at("2026-03-29", "01:30"), text(at("2026-10-25", "01:30")),
              text(at("2026-10-25", "02:07"))]; }"""
        )
        # back at 01:00 UTC on the last Sunday of October, forward on that of March (directive 2000/84/EC)
        assert edges == [25, 23, None, "2026-10-25T00:30:00.000Z", "2026-10-25T02:07:00.000Z"]
        room.check_quiet()


def test_where_the_sun_does_not_rise_the_plan_says_so(browser, tmp_path, shots):
    with opened_room(browser, tmp_path, shots, now_s=WINTER_S) as room:
        phone = room.phone().open()
        phone.page.fill("#place-name", "69.65, 18.96")  # Tromsø
        phone.page.press("#place-name", "Enter")
        phone.page.click(".found .choice >> nth=0")
        phone.until("main", "Not now")
        phone.go("#/plan")
        phone.until(".lead", re.compile("The next chance is .* Feb"))
        assert phone.page.locator(".slot").count() == 0
        assert not phone.page.is_visible("#plan-start")
        phone.go("#/plan/month")
        phone.until("tbody", "Not enough light.")
        phone.page.locator("tr[data-date='2026-12-21'] button").click()
        phone.until("dialog", "The sun does not rise.")
        phone.axe()
        phone.page.keyboard.press("Escape")
        phone.go("#/plan/year")
        phone.until("tr[data-month='12']", "0 of 31 days have a start.")
        phone.axe()
        room.check_quiet()
