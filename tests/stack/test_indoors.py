"""Light inside a window: limits, an independent sum over the sky, and the pane."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from noonframe.dose.exposure import expose
from noonframe.dose.scene import Scene
from noonframe.sky.assume import assume_sky
from noonframe.sky.spectrum import spectral_curves
from noonframe.spot.indoors import WindowSpot, sheet_view
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.sheet import Frame
from noonframe.spot.window import Window
from noonframe.stack.indoors import effective_on_sheet, effective_on_sheets
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.place import Place

PORTO = Place(41.15, -8.61, 80.0)
DAY = dt.date(2026, 6, 21)
MIDNIGHT_S = dt.datetime(2026, 6, 21, tzinfo=dt.UTC).timestamp()
SOUTH_EAST = Window(135.0, 1.2, 0.1, 1.5, 0.2, 0.0, "none")


def scene(spot, *, sky=None, stack="none", pane="none", place=PORTO, **air):
    return Scene(
        place=place,
        sky=assume_sky(place, DAY, sky=sky, **air),
        spot=spot,
        stack=parse_stack(stack),
        sensitizer=find_sensitizer("citrate-classic"),
        near_ground_albedo=0.04,
        pane=parse_stack(pane),
    )


def hours(*values):
    return MIDNIGHT_S + 3600.0 * np.array(values, dtype=float)


def test_a_wall_that_is_all_window_gives_a_flat_sheet_at_its_foot_half_the_sky():
    wide = Window(135.0, 400.0, 0.0, 400.0)
    spot = WindowSpot(wide, Frame(0.05, 0.0, 0.05, 0.05))
    indoors = scene(spot, sky="overcast")
    open_ground = scene(OpenSpot(), sky="overcast")
    ratio = indoors.rate(hours(11)) / open_ground.rate(hours(11))
    assert sheet_view(spot).mean_sky == pytest.approx(0.5, abs=0.002)
    assert ratio[0] == pytest.approx(0.5, abs=0.005)


def test_in_the_patch_the_sun_gives_what_it_gives_in_the_open():
    spot = WindowSpot(SOUTH_EAST, Frame(0.5, 0.25, 0.1, 0.1))
    at = hours(9.5)
    indoors, open_ground = scene(spot), scene(OpenSpot())
    light = indoors.indoor_light(at)
    assert light.beam_share[0] == pytest.approx(1.0)
    beam_in = light.series.uva_w_m2 - light.series.uva_diffuse_w_m2
    outside = open_ground.light(at)
    assert beam_in[0] == pytest.approx((outside.uva_w_m2 - outside.uva_diffuse_w_m2)[0], rel=1e-4)


def test_behind_the_sun_only_the_sky_is_left():
    spot = WindowSpot(SOUTH_EAST, Frame(0.5, 0.0, 0.3, 0.4))
    light = scene(spot).indoor_light(hours(16))
    assert light.beam_share[0] == 0.0
    assert light.series.uva_diffuse_fraction[0] == pytest.approx(1.0)


def test_the_mean_rate_is_the_mean_of_many_points():
    fine = WindowSpot(SOUTH_EAST, Frame(0.6, 0.1, 0.3, 0.4), grid=(60, 60))
    inside = scene(fine, stack="float-glass-4mm", pane="float-glass-4mm")
    at = hours(*np.linspace(5, 20, 60))
    by_points = inside.point_rates(at) @ sheet_view(fine).weights
    # a straight edge through 60 points a side is told to about half a row
    assert inside.rate(at) == pytest.approx(by_points, abs=0.012 * by_points.max())


def test_the_mean_rate_follows_the_patch_without_jumps():
    inside = scene(WindowSpot(SOUTH_EAST, Frame(0.6, 0.1, 0.3, 0.4)))
    at = MIDNIGHT_S + np.arange(5 * 3600.0, 14 * 3600.0, 5.0)
    rate = inside.rate(at)
    assert np.abs(np.diff(rate)).max() < 0.01 * rate.max()


def test_several_places_at_once_equal_each_place_alone():
    first = WindowSpot(replace(SOUTH_EAST, pane="float-glass-4mm"), Frame(0.6, 0.1, 0.3, 0.4))
    places = tuple(replace(first, frame=replace(first.frame, offset_m=x)) for x in (-0.4, 0.0, 0.4))
    inside = scene(first, pane="float-glass-4mm")
    track = inside.track(hours(*np.linspace(5, 14, 30)))
    together = effective_on_sheets(inside.curves, track, places, 0.04)
    for row, spot in zip(together, places, strict=True):
        assert row == pytest.approx(effective_on_sheet(inside.curves, track, spot, 0.04), rel=1e-12)


def test_a_pane_passes_overcast_light_by_its_mean_over_the_part_of_the_sky_it_shows():
    # Independent path: sum over directions drawn evenly in solid angle through the opening.
    window = replace(SOUTH_EAST, pane="float-glass-4mm", reveal_depth_m=0.0)
    spot = WindowSpot(window, Frame(0.6, 0.0, 0.02, 0.02), grid=(1, 1))
    glazed = scene(spot, sky="overcast", pane="float-glass-4mm")
    bare = scene(replace(spot, window=replace(window, pane="none")), sky="overcast")
    found = float((glazed.rate(hours(11)) / bare.rate(hours(11)))[0])
    glass = parse_stack("float-glass-4mm")
    u, w = np.meshgrid(np.linspace(-0.6, 0.6, 121), np.linspace(0.1, 1.5, 141))
    square = u**2 + 0.36 + w**2
    share = (w / np.sqrt(square)) * (0.6 / np.sqrt(square)) / square  # cosine law, then solid angle
    angle = np.degrees(np.arccos(0.6 / np.sqrt(square))).ravel()
    spectra = spectral_curves(bare.sky.state)
    knot = int(np.argmin(np.abs(spectra.zenith_deg - 25.0)))
    action = find_sensitizer("citrate-classic").action * spectra.isotropic[knot]
    ratio = (glass.beam_transmittance(angle) @ action) / (glass.normal_transmittance @ action)
    weight = float(share.sum())
    through = float(share.ravel() @ ratio)
    plain = scene(OpenSpot(), sky="overcast", stack="none")
    normal = float((_behind_normal(plain, glass, hours(11)))[0])
    assert found == pytest.approx(normal * through / weight, rel=0.005)


def _behind_normal(open_scene, glass, at):
    """Share of the overcast's effective light that the glass passes straight on, through the real curves."""
    spectra = open_scene.curves  # the open scene's isotropic curve is the denominator
    from noonframe.stack.curves import light_curves, locate

    behind = light_curves(open_scene.sky.state, parse_stack("none"), open_scene.sensitizer, glass)
    look = locate(open_scene.track(at).up)
    return look.read(behind.effective.isotropic) / look.read(spectra.effective.isotropic)


def test_a_room_with_low_sun_through_a_pane_loses_more_than_with_the_sun_straight_on():
    window = replace(SOUTH_EAST, pane="float-glass-6mm")
    spot = WindowSpot(window, Frame(0.5, 0.0, 0.3, 0.3))
    glazed = scene(spot, pane="float-glass-6mm").curves
    assert np.all(np.diff(glazed.pane_ratio[40]) >= -1e-9)
    assert glazed.pane_ratio[40][-1] == pytest.approx(1.0)


@pytest.mark.reference
def test_inside_an_open_window_in_sun_takes_about_twenty_minutes_where_open_ground_takes_five_to_fifteen():
    # common practice, no source: 20 minutes inside, 5-15 outside.  Inputs: Porto, June, mid-morning, frame
    # glass and film over a classic coat of the documented prior dose, sheet within the patch all along.
    stack = "float-glass-4mm,polyester-film"
    inside = scene(WindowSpot(SOUTH_EAST, Frame(0.5, 0.35, 0.2, 0.25)), stack=stack)
    outside = scene(OpenSpot(), stack=stack)
    start = MIDNIGHT_S + 9.25 * 3600.0
    within = expose(inside.rate, start, 24000.0).length_s
    open_air = expose(outside.rate, start + 2.5 * 3600.0, 24000.0).length_s
    assert 5 * 60 <= open_air <= 15 * 60
    assert 15 * 60 <= within <= 25 * 60


@pytest.mark.reference
def test_indoors_on_a_rainy_overcast_day_takes_about_an_hour():
    # common practice, no source: about an hour.  Inputs: the same window, a bare sheet on an easel that
    # leans 60 degrees toward it, 35 cm from the wall, rain cloud at midday in June.
    easel = Frame(0.35, 0.0, 0.2, 0.25, tilt_deg=60.0, aim_azimuth_deg=135.0)
    inside = scene(WindowSpot(SOUTH_EAST, easel), sky="rain")
    length = expose(inside.rate, MIDNIGHT_S + 11.5 * 3600.0, 24000.0).length_s
    assert 40 * 60 <= length <= 80 * 60


def test_a_tilted_open_frame_and_an_easel_in_a_wall_free_room_see_the_same_half_of_the_sky():
    # A window so large that it fills the half space in front: what is left out is the sky behind the wall.
    huge = Window(180.0, 2000.0, 0.0, 2000.0)
    easel = WindowSpot(huge, Frame(0.1, 0.0, 0.05, 0.05, tilt_deg=90.0, aim_azimuth_deg=180.0))
    inside = scene(easel, sky="overcast", ground_albedo=0.0)
    upright = scene(OpenSpot(Aim(90.0, 180.0)), sky="overcast", ground_albedo=0.0)
    assert inside.rate(hours(12)) == pytest.approx(upright.rate(hours(12)), rel=0.1)
