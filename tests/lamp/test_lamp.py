"""The light of a lamp at the sheet, by reading, print and power, and how sure it is."""

import math

import pytest

from noonframe.dose.lamp_scene import LampScene
from noonframe.errors import OutOfDomain
from noonframe.lamp.geometry import Panel, PointSource, Tubes
from noonframe.lamp.kinds import find_lamp_kind
from noonframe.lamp.lamp import Lamp, Output, from_power, from_print, from_reading
from noonframe.lamp.warmup import WarmUp
from noonframe.stack.effective import band_weights
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer

TUBE, LED = find_lamp_kind("uv-a-tube-368"), find_lamp_kind("led-405")
FRAME = parse_stack("float-glass-4mm,polyester-film")
COAT = find_sensitizer("citrate-classic")


def lamp(kind=TUBE, output=None, **more):
    return Lamp(kind, output or from_reading(kind, 60.0), kind.warm_up, **more)


def test_a_lamp_told_by_a_reading_gives_that_reading_in_its_band():
    spectral = lamp().spectral_w_m2_nm
    assert float(spectral @ band_weights(315.0, 400.0)) == pytest.approx(60.0, rel=1e-12)


def test_a_meter_for_the_lamps_own_wavelength_reads_all_of_it():
    assert from_reading(LED, 30.0, centre_nm=405.0).total_w_m2 == 30.0
    with pytest.raises(OutOfDomain, match="meter_centre_nm"):
        from_reading(LED, 30.0, centre_nm=365.0)


def test_a_band_that_misses_the_lamp_is_refused():
    with pytest.raises(OutOfDomain, match="meter_high_nm"):
        from_reading(LED, 30.0, low_nm=315.0, high_nm=395.0)


@pytest.mark.parametrize("reading", [0.0, -1.0, float("nan"), float("inf")])
def test_a_reading_must_be_light(reading):
    with pytest.raises(OutOfDomain, match="irradiance_w_m2"):
        from_reading(TUBE, reading)


def test_a_print_that_came_right_gives_its_own_length_back():
    output = from_print(TUBE, 720.0, target_j_m2=20000.0, stack=FRAME, sensitizer=COAT, warm_up=TUBE.warm_up)
    scene = LampScene(lamp(output=output), FRAME, COAT)
    assert scene.expose(0.0, 20000.0).length_s == pytest.approx(720.0, rel=1e-9)
    assert scene.light_spread_stops == pytest.approx(
        math.hypot(0.25, FRAME.spread_stops(TUBE.boxes * COAT.action))
    )


def test_twice_the_power_is_twice_the_light_and_efficiency_widens_it():
    one, two = (from_power(TUBE, Tubes(0.4, 6, 0.05), 0.1, electrical_w=w) for w in (60.0, 120.0))
    assert two.total_w_m2 == pytest.approx(2 * one.total_w_m2, rel=1e-12)
    radiant = from_power(TUBE, Tubes(0.4, 6, 0.05), 0.1, radiant_w=60.0 * TUBE.efficiency)
    assert radiant.total_w_m2 == pytest.approx(one.total_w_m2, rel=1e-12)
    assert radiant.spread_stops < one.spread_stops
    assert one.is_diffuse
    assert not from_power(LED, PointSource(), 0.3, radiant_w=1.0).is_diffuse


def test_age_takes_its_share_and_widens_the_answer():
    old = lamp(hours=1000.0, loss_per_1000_h=0.2)
    assert old.age_share == pytest.approx(0.8)
    assert old.total_w_m2 == pytest.approx(0.8 * lamp().total_w_m2)
    assert old.output_spread_stops > lamp().output_spread_stops


def test_a_violet_line_on_the_steep_of_the_answer_is_less_sure_than_a_band_at_its_top():
    spreads = {
        name: lamp(kind, from_reading(kind, 30.0, centre_nm=kind.peak_nm)).spectrum_spread_stops(FRAME, COAT)
        for name in ("uv-a-tube-352", "uv-a-tube-368", "led-395", "led-405")
        for kind in (find_lamp_kind(name),)
    }
    assert spreads["uv-a-tube-352"] < spreads["led-395"] < spreads["led-405"]


def test_a_stack_that_swallows_the_lamp_is_refused():
    with pytest.raises(OutOfDomain, match="stack"):
        LampScene(
            lamp(find_lamp_kind("led-365"), from_reading(find_lamp_kind("led-365"), 30.0)), OPAQUE, COAT
        )


OPAQUE = parse_stack(",".join(["polycarbonate-3mm"] * 8))


@pytest.mark.reference
def test_an_exposure_unit_takes_about_as_long_as_practice_says():
    # Common practice, no source: about 10-15 minutes in a UV exposure unit for the default recipe.  The unit:
    # eight 15 W tubes, 0.44 m, 5 cm apart, 6 to 10 cm above the sheet, white reflector.
    for name in ("uv-a-tube-352", "uv-a-tube-368"):
        kind = find_lamp_kind(name)
        bank = Tubes(0.44, 8, 0.05, 1.5)
        lengths = [
            LampScene(lamp(kind, from_power(kind, bank, h, electrical_w=120.0)), FRAME, COAT)
            .expose(0.0, COAT.target_j_m2)
            .length_s
            for h in (0.06, 0.10)
        ]
        assert 8 * 60 < min(lengths) < max(lengths) < 21 * 60


@pytest.mark.reference
def test_a_violet_led_is_slower_than_one_at_365_nm_for_the_same_light():
    # common practice, no source: 405 nm LEDs work, but slower than 365 or 385 nm
    lengths = []
    for name in ("led-365", "led-385", "led-405"):
        kind = find_lamp_kind(name)
        scene = LampScene(lamp(kind, Output("reading", 50.0, 0.2, "x")), parse_stack("none"), COAT)
        lengths.append(scene.expose(0.0, 24000.0).length_s)
    assert lengths == sorted(lengths)


def test_bad_lamps_are_refused():
    for make, name in (
        (lambda: lamp(hours=-1.0), "hours"),
        (lambda: lamp(hours=float("nan")), "hours"),
        (lambda: lamp(loss_per_1000_h=0.95), "loss_per_1000_h"),
        (lambda: Output("reading", 1e6, 0.2, "x"), "lamp.output"),
        (lambda: from_power(TUBE, Panel(0.2, 0.2), 0.1), "power_w"),
        (lambda: from_power(TUBE, Panel(0.2, 0.2), 0.1, radiant_w=float("nan")), "power_w"),
        (lambda: LampScene(lamp(), FRAME, COAT, coldness=2.0), "coldness"),
        (lambda: LampScene(lamp(), FRAME, COAT, reciprocity_exponent=0.5), "reciprocity_exponent"),
    ):
        with pytest.raises(OutOfDomain, match=name):
            make()


def test_a_cold_start_makes_an_exposure_longer_and_a_warm_one_does_not():
    cold, warm = (LampScene(lamp(), FRAME, COAT, coldness=c).expose(0.0, 24000.0) for c in (1.0, 0.0))
    assert warm.length_s == pytest.approx(24000.0 / LampScene(lamp(), FRAME, COAT).effective_w_m2)
    assert cold.length_s - warm.length_s == pytest.approx(0.35 * 120.0, abs=0.5)
    assert WarmUp().is_instant
