"""Lamps on the command line: saved, exposed under, followed."""

import json

import pytest


@pytest.fixture
def bench(call, monkeypatch, tmp_path):
    """The command line with records of its own, and no usual place."""
    monkeypatch.setenv("NOONFRAME_STATE_DIR", str(tmp_path))
    monkeypatch.delenv("NOONFRAME_PLACE", raising=False)
    return call


def good(said):
    assert said.code == 0, said.err
    return said.out


BOX = ("lamp", "add", "quayside box", "--kind", "uv-a-tube-368", "--reading-mw", "6")


def test_a_lamp_is_saved_and_exposed_under_without_a_place(bench):
    assert "a meter read 6 mW/cm²" in good(bench(*BOX))
    said = good(bench("now", "--lamp", "quayside box", "--target", "24000", "--objects", "leaf"))
    assert said.startswith("Expose ")
    assert "cloud" not in said.lower()
    assert "Fresh green leaf: about 3 to 5 stops less" in said
    assert "Basis: quayside box (uv-a-tube-368)" in said
    answer = json.loads(good(bench("now", "--lamp", "quayside box", "--start", "10:00", "--json")))
    assert "T10:00:00" in answer["start"]


def test_each_way_to_know_a_lamp_can_be_typed(bench):
    good(bench("lamp", "add", "bank", "--kind", "uv-a-tube-352", "--power", "120", "--distance", "0.08",
               "--tube-length", "0.44", "--tubes", "8", "--pitch", "0.05", "--reflector", "1.5",
               "--sheet", "0.2x0.25"))  # fmt: skip
    good(bench("lamp", "add", "print", "--kind", "led-395", "--print-length", "12min", "--target", "24000"))
    good(bench("lamp", "add", "panel", "--kind", "led-405", "--radiant", "20", "--distance", "0.2",
               "--panel", "0.3x0.2", "--warm-up", "10s", "--start-share", "0.9"))  # fmt: skip
    listed = good(bench("lamp", "list"))
    assert all(name in listed for name in ("bank", "print", "panel"))
    said = json.loads(good(bench("lamp", "show", "panel", "--json")))
    assert said["output"]["source"] == {"shape": "panel", "width_m": 0.3, "depth_m": 0.2}
    assert said["time_constant_s"] == 10.0
    assert "8 tubes of 0.44 m" in good(bench("lamp", "show", "bank"))


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (("--reading", "40"), "--kind"),
        (("--kind", "led-365"), "how much light it gives is not known"),
        (("--kind", "led-365", "--reading", "40", "--power", "30"), "--power"),
        (("--kind", "led-365", "--power", "30", "--panel", "0.3"), "--panel"),
        (("--kind", "led-365", "--reading", "much"), "--reading"),
        (("--kind", "led-365", "--reading", "40", "--hours", "-3"), "--hours"),
        (("--kind", "led-355", "--reading", "40"), "--kind"),
        (("--kind", "led-405", "--reading", "40"), "--meter-to"),
    ],
)
def test_what_is_wrong_is_told_by_its_option(bench, typed, words):
    said = bench("lamp", "add", "x", *typed)
    assert said.code == 2
    assert words in said.err


def test_a_lamp_goes_on_ages_and_is_put_away(bench):
    good(bench(*BOX))
    assert "version 2" in good(bench("lamp", "change", "quayside box", "--hours", "250"))
    assert "250 h burned since" in good(bench("lamp", "show", "quayside box"))
    good(bench("lamp", "retire", "quayside box"))
    assert bench("now", "--lamp", "quayside box").code == 2
    good(bench("lamp", "restore", "quayside box"))
    assert "uv-a-tube-368" in good(bench("lamp", "kinds"))


def test_a_run_under_a_lamp_is_paused_and_goes_on(bench):
    good(bench(*BOX))
    begun = good(bench("run", "start", "--lamp", "quayside box", "--name", "kelp", "--target", "24000"))
    assert "Under the lamp" in begun
    assert "Paused" in good(bench("run", "tell", "lamp-off"))
    assert "counts as off" in good(bench("run", "show"))
    good(bench("run", "tell", "lamp-on"))
    assert bench("run", "tell", "cloud").code == 2
    assert "finished" in good(bench("run", "tell", "finished"))


def test_a_strip_and_a_course_of_light_are_planned_under_a_lamp(bench):
    good(bench(*BOX))
    good(bench("recipe", "add", "kelp"))
    assert "strips" in good(bench("strip", "plan", "kelp", "--lamp", "quayside box"))
    assert "Of full" in good(bench("light", "--lamp", "quayside box"))
    rows = good(bench("light", "--lamp", "quayside box", "--csv")).splitlines()
    assert rows[0] == "time,output_share,uva_w_m2,blue_w_m2,effective_w_m2"


def test_a_place_beside_a_lamp_is_refused(bench):
    good(bench(*BOX))
    said = bench("now", "--lamp", "quayside box", "--place", "Porto")
    assert (said.code, "--place" in said.err) == (2, True)
