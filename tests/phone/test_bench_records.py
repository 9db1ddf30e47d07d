"""Prints judged, recipes and spots kept, conflicts shown: what the bench of the page saves."""

import httpx
import pytest
from phone.bench_shelf import RECIPE, WINDOW, YARD


@pytest.fixture
def recipe(room):
    """A recipe on the shelf."""
    return room.service.post("v1/recipes", RECIPE)


def finished_frame(phone):
    """A frame exposed to its end and taken in."""
    phone.go("#/now")
    phone.start()
    phone.settled()
    phone.wait(phone.left_s() + 2, 60)
    phone.tap("#finish")
    phone.until(".count-big", "Taken in")
    phone.settled()


def target(room, recipe):
    """What is believed of a recipe."""
    return room.service.get(f"v1/recipes/{recipe['id']}/target")


def test_a_print_is_judged_in_words_and_its_recipe_learns(phone, room, recipe):
    finished_frame(phone)
    before = target(room, recipe)
    phone.go("#/bench")
    phone.tap(".todo a")
    phone.until("h1", "How did it come out?")
    assert phone.page.is_disabled("#judge-tell")
    phone.page.check("[data-word='6']")
    phone.page.fill("#print-name", "tide table")
    phone.page.fill("#print-notes", "blocked up in the small figures")
    phone.shot("judge", whole=True)
    phone.axe()
    phone.tap("#judge-tell")
    phone.page.wait_for_selector(".belief-dose")
    kept = room.service.get("v1/prints")["prints"]
    assert [(one["name"], one["judgement"], one["notes"]) for one in kept] == [
        ("tide table", "far too dark", "blocked up in the small figures")
    ]
    after = target(room, recipe)
    assert after["target_j_m2"] < before["target_j_m2"]
    assert "less than before" in phone.text(".belief-moved")
    phone.page.wait_for_selector(".outcome img")
    phone.shot("judged", whole=True)
    phone.axe()
    phone.go("#/bench")
    assert phone.page.locator(".todo a").count() == 0


def test_a_verdict_waits_for_the_service_and_is_told_once(phone, room, recipe):
    finished_frame(phone)
    phone.go("#/bench/prints")
    phone.go("#/bench")
    phone.page.click(".todo a")
    phone.page.wait_for_selector("#judge-tell")
    phone.page.check("[data-word='3']")
    phone.offline(True)
    phone.tap("#judge-tell")
    phone.until(".outcome", "Kept on this phone")
    phone.offline(False)
    for _ in range(30):
        phone.wait(1, 1)
        phone.page.wait_for_timeout(50)
        if room.service.get("v1/prints")["total"]:
            break
    phone.settled()
    assert [one["judgement"] for one in room.service.get("v1/prints")["prints"]] == ["right"]


def test_the_log_is_searched_and_a_print_judged_anew_in_stops(phone, room, recipe):
    for name, word in (("kelp fronds", "right"), ("ferry ticket", "too pale"), ("kelp holdfast", "too dark")):
        room.service.post(
            "v1/prints", {"name": name, "recipe": recipe["id"], "dose_j_m2": 25000, "judgement": word}
        )
    phone.go("#/bench/prints")
    phone.until(".told", "3 prints")
    phone.page.fill("#print-words", "kelp")
    phone.wait(1, 1)
    phone.until(".told", "2 prints")
    phone.page.select_option("#print-verdict", "too dark")
    phone.until(".told", "1 print")
    phone.tap(".leads a")
    phone.until("h1", "kelp holdfast")
    phone.tap("summary >> text=Or in stops")
    phone.page.fill("#verdict-stops", "0.4")
    phone.tap("#print-save")
    phone.until(".told", "Saved")
    kept = room.service.get("v1/prints", text="holdfast")["prints"][0]
    assert (kept["judgement"], kept["judgement_stops"], kept["version"]) == (None, 0.4, 2)
    phone.page.wait_for_selector(".belief-dose")
    phone.tap("#print-retire")
    phone.until("#print-retire", "Take back")
    assert room.service.get("v1/prints")["total"] == 2
    phone.tap("#print-retire")
    phone.until("#print-retire", "Put away")
    assert room.service.get("v1/prints")["total"] == 3


def test_a_recipe_is_made_used_and_changed(phone, room):
    phone.go("#/bench/recipes/new")
    phone.page.fill("#recipe-name", "tide table on sized rag")
    phone.tap(".layer:nth-child(2) .cross")
    phone.tap("summary >> text=A dose believed beforehand")
    phone.page.fill("#recipe-median", "18000")
    phone.page.fill("#recipe-spread", "0.4")
    phone.tap("#recipe-save")
    phone.until("h1", "tide table on sized rag")
    phone.until(".belief-dose", "18 kJ/m²")
    kept = room.service.get("v1/recipes")["recipes"][0]
    assert kept["stack"] == ["float-glass-4mm"]
    assert kept["prior"]["median_j_m2"] == 18000
    phone.tap("summary >> text=Paper, coating, negative")
    phone.page.fill("#recipe-paper", "sized rag")
    phone.tap("#recipe-save")
    phone.until(".told", "Saved")
    assert room.service.get(f"v1/recipes/{kept['id']}")["paper"] == "sized rag"
    phone.tap("#recipe-use")
    phone.until("#pick-recipe", "tide table on sized rag")
    phone.until(".answer", "min")


def test_a_recipe_changed_elsewhere_is_shown_and_nothing_is_dropped(phone, room, recipe):
    phone.go(f"#/bench/recipes/{recipe['id']}")
    phone.page.fill("#recipe-paper", "my hot-pressed rag")
    phone.page.fill("#recipe-notes", "two coats")
    theirs = {"paper": "their cold-pressed rag", "coat_notes": "rod, twice"}
    answer = httpx.patch(
        f"{room.service.url}/v1/recipes/{recipe['id']}",
        json=theirs,
        headers={"If-Match": '"1"'},
        trust_env=False,
    )
    assert answer.status_code == 200
    phone.tap("#recipe-save")
    phone.until(".conflict", "Somebody else changed this too")
    said = phone.text(".conflict")
    assert "my hot-pressed rag" in said
    assert "their cold-pressed rag" in said
    assert "rod, twice" in said
    phone.shot("conflict", whole=True)
    phone.axe()
    assert room.service.get(f"v1/recipes/{recipe['id']}")["version"] == 2
    phone.page.check("input[name='conflict-paper'][value='theirs']")
    phone.tap("#conflict-save")
    phone.until(".told", "Saved")
    kept = room.service.get(f"v1/recipes/{recipe['id']}")
    assert (kept["paper"], kept["notes"], kept["coat_notes"], kept["version"]) == (
        *("their cold-pressed rag", "two coats", "rod, twice"),
        3,
    )
    assert phone.page.input_value("#recipe-paper") == "their cold-pressed rag"


def test_a_spot_is_put_away_and_taken_back(phone, room):
    yard = room.service.post("v1/spots", YARD)
    phone.go(f"#/bench/spots/{yard['id']}")
    phone.tap("#spot-retire")
    phone.until("#spot-retire", "Take back")
    phone.go("#/bench/spots")
    phone.until(".told", "No spots are saved yet")
    phone.page.select_option("#spots-retired", "yes")
    phone.until(".leads", "quayside yard")
    phone.tap(".leads a")
    phone.tap("#spot-retire")
    phone.until("#spot-retire", "Put away")
    phone.tap("#spot-use")
    phone.until("#pick-spot", "quayside yard")


def test_a_window_is_measured_by_tape_and_drawn_as_it_is_typed(phone, room):
    phone.go("#/bench/spots/new")
    phone.page.fill("#spot-name", "south-east window")
    phone.page.select_option("#spot-kind", "window")
    wide = phone.page.locator(".room-drawing").first
    for field, value in (
        ("window-width_m", "150"),
        ("window-head_m", "160"),
        ("frame-distance_m", "45"),
        ("frame-offset_m", "-20"),
    ):
        phone.page.fill(f"#{field}", value)
    phone.page.select_option("[aria-label='Or by name']", "135")
    assert "1.5 m wide" in wide.get_attribute("aria-label")
    assert "20 cm to the left" in wide.get_attribute("aria-label")
    phone.page.fill("#window-sill_m", "170")
    phone.until(".window-part .told >> nth=0", "The lower edge must lie below")
    phone.page.fill("#window-sill_m", "20")
    phone.tap("#window-patch")
    phone.page.wait_for_selector(".draw-patch")
    body = {
        "kind": "window",
        "window": {
            "outward_azimuth_deg": 135,
            "width_m": 1.5,
            "sill_m": 0.2,
            "head_m": 1.6,
            "reveal_depth_m": 0.2,
        },
    }
    body["frame"] = {"distance_m": 0.45, "offset_m": -0.2}
    place = {"latitude_deg": 41.1485, "longitude_deg": -8.611, "time_zone": "Europe/Lisbon"}
    answer = room.service.post("v1/patch", {**place, "spot": body})
    assert phone.text(".window-part > p[role=status] >> nth=0") == answer["summary"]
    phone.page.press("#patch-time", "Home")
    assert phone.text("output[for=patch-time]") == answer["moments"][0]["time"][11:16]
    phone.shot("window-patch", whole=True)
    phone.axe()
    phone.tap("#spot-save")
    phone.until(".screen > .told", "Saved")
    phone.until("h1", "south-east window")
    kept = room.service.get("v1/spots")["spots"][0]["spot"]
    assert kept["window"]["width_m"] == pytest.approx(1.5)
    assert kept["frame"]["offset_m"] == pytest.approx(-0.2)
    assert "skyline" not in kept["window"]


def test_in_inches_nothing_is_lost_that_was_not_touched(phone, room):
    spot = room.service.post("v1/spots", WINDOW)
    phone.page.evaluate("document.querySelector('a[href=\"#/page\"]').click()")
    phone.page.click("text=Inches")
    phone.go(f"#/bench/spots/{spot['id']}")
    assert phone.page.input_value("#window-width_m") == "47.2"  # 1.2 m; 1 in is 25.4 mm exactly (NIST SP 811)
    phone.page.fill("#frame-distance_m", "20")
    phone.tap("#spot-save")
    phone.until(".told >> nth=-1", "Saved")
    kept = room.service.get(f"v1/spots/{spot['id']}")["spot"]
    assert kept["window"]["width_m"] == 1.2
    assert kept["frame"]["distance_m"] == pytest.approx(0.508)


def test_coating_tells_millilitres_and_remembers_what_is_ticked(phone, room):
    phone.go("#/bench/coat")
    phone.page.fill("#sheet-0-count", "8")
    phone.page.check("#coat-oxidising_rinse")
    phone.tap("#coat-ask")
    answer = room.service.post(
        "v1/coating", {"sheets": [{"width_mm": 200, "height_mm": 250, "count": 8}], "oxidising_rinse": True}
    )
    phone.until(".bottles dd >> nth=0", f"{answer['stocks'][0]['volume_ml']:.1f} mL")
    assert len(answer["cautions"]) == phone.page.locator(".cautions li").count() - 1
    assert phone.page.locator("[id^=step-washing]").count() == len(answer["washing"])
    phone.page.check("#step-washing-0")
    phone.settled()
    phone.reload()
    phone.page.wait_for_selector("#step-washing-0")
    assert phone.page.is_checked("#step-washing-0")
    assert phone.page.input_value("#sheet-0-count") == "8"
    phone.tap("#coat-anew")
    assert not phone.page.is_checked("#step-washing-0")


def test_a_spot_needs_a_place_and_says_so(room):
    phone = room.phone().open()
    phone.go("#/bench/spots/new")
    phone.until(".note", "Give the place first")
    assert phone.page.is_disabled("#spot-save")
    phone.go("#/bench/strip")
    phone.until(".lead", "Give the place first")
    phone.axe()
