"""The bench's screens: no fault by axe, targets for thumbs, nothing wider than the screen, in both lights."""

import pytest
from phone.bench_shelf import RECIPE, WINDOW, YARD, shared_room

room = shared_room

SCREENS = {
    "bench": "#/bench",
    "bench-strip": "#/bench/strip",
    "bench-prints": "#/bench/prints",
    "bench-print": "#/bench/prints/{print}",
    "bench-recipes": "#/bench/recipes",
    "bench-recipe": "#/bench/recipes/{recipe}",
    "bench-recipe-new": "#/bench/recipes/new",
    "bench-spots": "#/bench/spots",
    "bench-yard": "#/bench/spots/{yard}",
    "bench-window": "#/bench/spots/{window}",
    "bench-coat": "#/bench/coat",
}
SIZES = {"phone": (390, 844), "small": (320, 640), "desk": (1280, 800)}


@pytest.fixture(scope="module")
def stocked(room):
    """A bench with a recipe, a judged print, a yard and a window."""
    recipe = room.service.post("v1/recipes", RECIPE)
    made = {"name": "kelp fronds", "recipe": recipe["id"], "dose_j_m2": 30000, "judgement": "a little dark"}
    return {
        "recipe": recipe["id"],
        "print": room.service.post("v1/prints", made)["id"],
        "yard": room.service.post("v1/spots", YARD)["id"],
        "window": room.service.post("v1/spots", WINDOW)["id"],
    }


@pytest.mark.parametrize("size", SIZES)
def test_every_screen_of_the_bench_is_sound(phone, stocked, size):
    width, height = SIZES[size]
    phone.page.set_viewport_size({"width": width, "height": height})
    for name, address in SCREENS.items():
        phone.go(address.format(**stocked))
        phone.settled()
        assert phone.overflow() == 0, name
        assert phone.small_targets() == [], name
        if size == "phone":
            phone.axe()
        phone.shot(f"{name}-{size}", whole=True)


def test_every_screen_of_the_bench_is_sound_in_the_dim_room(phone, stocked):
    phone.tap("#bar [aria-label^='Red on black']")
    phone.page.wait_for_selector("html[data-theme=dim]")
    for name, address in SCREENS.items():
        phone.go(address.format(**stocked))
        phone.settled()
        phone.axe()
        phone.shot(f"{name}-dim")
        colours = phone.page.evaluate(
            """() => [...document.querySelectorAll("main *")].flatMap((one) => {
              const style = getComputedStyle(one);
              const notRed = (colour) => /rgba?\\(\\d+, (?!0, 0)/.test(colour);
              return [style.color, style.backgroundColor].filter(notRed);
            })"""
        )
        assert colours == [], name
