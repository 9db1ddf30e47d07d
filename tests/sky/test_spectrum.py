"""The state of the sky and its spectra: domain, limiting cases, and what more cloud or haze may never do."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from noonframe.errors import OutOfDomain
from noonframe.sky.optical_depth import extraterrestrial_irradiance
from noonframe.sky.spectrum import (
    DARK_ELEVATION_DEG,
    SkyState,
    knot_true_elevation_deg,
    knot_zenith_deg,
    spectral_curves,
)
from noonframe.sky.transfer import beam_transmittance, load_transfer_table
from noonframe.sky.words import SKY_WORDS, CloudPart
from noonframe.sun.position import RISE_ELEVATION_DEG, refraction_deg

CLEAR = (CloudPart(1.0, 0.0),)
steady = settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)

TABLE_RIPPLE = 5e-3
"""The transfer table is interpolated by splines, which may ripple by a few parts in a thousand between
nodes."""


def sky(cloud=CLEAR, ozone=300.0, aerosol=0.1, albedo=0.05, pressure=1013.25) -> SkyState:
    return SkyState(ozone, aerosol, albedo, pressure, cloud)


def whole(optical_depth: float) -> tuple[CloudPart, ...]:
    return (CloudPart(1.0, optical_depth),)


@pytest.mark.parametrize(
    ("field", "change"),
    [
        ("ozone_du", {"ozone": 99.0}),
        ("ozone_du", {"ozone": 601.0}),
        ("ozone_du", {"ozone": np.nan}),
        ("aerosol_optical_depth", {"aerosol": -0.01}),
        ("aerosol_optical_depth", {"aerosol": 2.01}),
        ("aerosol_optical_depth", {"aerosol": np.nan}),
        ("ground_albedo", {"albedo": -0.01}),
        ("ground_albedo", {"albedo": 1.01}),
        ("ground_albedo", {"albedo": np.nan}),
        ("pressure_hpa", {"pressure": 499.0}),
        ("pressure_hpa", {"pressure": np.inf}),
        ("cloud_optical_depth", {"cloud": whole(128.1)}),
        ("cloud_optical_depth", {"cloud": whole(np.nan)}),
        ("cloud", {"cloud": ()}),
        ("cloud", {"cloud": (CloudPart(0.5, 0.0),)}),
        ("cloud", {"cloud": (CloudPart(np.nan, 0.0),)}),
        ("cloud", {"cloud": (CloudPart(1.5, 0.0), CloudPart(-0.5, 5.0))}),
    ],
)
def test_a_sky_outside_the_domain_is_refused_by_name(field, change):
    with pytest.raises(OutOfDomain) as caught:
        sky(**change)
    assert caught.value.field == field


def test_knots_run_from_the_zenith_to_the_end_of_civil_twilight():
    zenith = knot_zenith_deg()
    assert zenith[0] == pytest.approx(0.0)
    assert zenith[-1] == pytest.approx(90.0 - DARK_ELEVATION_DEG)
    assert np.all(np.diff(zenith) > 0.0)


@pytest.mark.parametrize("pressure_hpa", [500.0, 1013.25, 1075.0])
def test_true_elevation_at_the_knots_undoes_refraction(pressure_hpa):
    apparent, true = 90.0 - knot_zenith_deg(), knot_true_elevation_deg(pressure_hpa)
    risen = true > RISE_ELEVATION_DEG + 1e-6
    assert true[risen] + refraction_deg(true[risen], pressure_hpa) == pytest.approx(apparent[risen], abs=1e-5)
    assert np.all(np.diff(true) < 0.0)
    assert true[-1] == pytest.approx(DARK_ELEVATION_DEG, abs=1e-9)


def test_a_mixture_of_clouds_is_linear_in_probability():
    thin, thick = spectral_curves(sky(whole(1.0))), spectral_curves(sky(whole(15.0)))
    mixed = spectral_curves(sky((CloudPart(0.3, 1.0), CloudPart(0.7, 15.0))))
    for name in ("beam_normal", "diffuse", "circumsolar"):
        expected = 0.3 * getattr(thin, name) + 0.7 * getattr(thick, name)
        assert getattr(mixed, name) == pytest.approx(expected, rel=1e-9, abs=1e-15)


def test_equal_clouds_mixed_are_that_cloud():
    mixed = spectral_curves(sky((CloudPart(0.25, 4.0), CloudPart(0.75, 4.0))))
    assert mixed.level == pytest.approx(spectral_curves(sky(whole(4.0))).level, rel=1e-9)
    assert mixed.uv_index == pytest.approx(spectral_curves(sky(whole(4.0))).uv_index, rel=1e-9)


@pytest.mark.parametrize("optical_depth", [1e-6, 1e-3])
def test_the_thinnest_cloud_joins_on_to_the_clear_sky(optical_depth):
    """Nothing may jump where a forecast's cloud becomes none.  At low sun the cloud's path is 20 times
    longer, and what it takes from the beam goes into the diffuse light."""
    clear, hint = spectral_curves(sky()), spectral_curves(sky(whole(optical_depth)))
    high = clear.zenith_deg < 80.0
    assert hint.level[high] == pytest.approx(
        clear.level[high], rel=3.0 * optical_depth + 1e-5
    )  # the table is single precision


def test_black_ground_gives_what_the_table_holds():
    state = sky(albedo=0.0)
    curves = spectral_curves(state)
    table, column = load_transfer_table(), state.atmosphere(state.cloud[0])
    zenith = knot_zenith_deg()
    black = table.diffuse_transmittance(column, table.zenith_operator(zenith))
    assert curves.diffuse == pytest.approx(black * extraterrestrial_irradiance(), rel=1e-6, abs=1e-12)
    above = zenith < 90.0
    beam = beam_transmittance(column, zenith)[above] * extraterrestrial_irradiance()
    assert curves.beam_normal[above] == pytest.approx(beam, rel=1e-12)


@pytest.mark.parametrize("albedo", [0.2, 1.0])
def test_ground_and_sky_throw_light_to_and_fro_as_a_geometric_series(albedo):
    """F = F0 (1 + aS + (aS)^2 + ...): summed term by term here, closed in the engine."""
    dark, bright = spectral_curves(sky(albedo=0.0)), spectral_curves(sky(albedo=albedo))
    state = sky()
    back = albedo * load_transfer_table().spherical_albedo(state.atmosphere(state.cloud[0]))
    series = sum(back**k for k in range(400))
    assert bright.level == pytest.approx(dark.level * series, rel=1e-6, abs=1e-12)
    assert bright.beam_normal == pytest.approx(dark.beam_normal)


def test_circumsolar_and_isotropic_add_up_to_the_diffuse_light():
    curves = spectral_curves(sky(SKY_WORDS["broken"].parts))
    total = curves.circumsolar_normal * curves.cos_zenith[:, None] + curves.isotropic
    assert total == pytest.approx(curves.diffuse, rel=1e-12)
    assert np.all(curves.isotropic >= 0.0)
    assert np.all(curves.circumsolar <= curves.diffuse)


def test_no_beam_below_the_horizon():
    curves = spectral_curves(sky())
    assert np.array_equal(
        curves.beam_normal[curves.zenith_deg > 90.0], np.zeros((np.sum(curves.zenith_deg > 90.0), 41))
    )
    assert np.all(curves.diffuse > 0.0)


def test_light_above_black_ground_is_less_than_arrives_above_the_air():
    """Energy conservation, with the sun above 5 degrees: lower down the curved air scatters in light from
    beyond."""
    curves = spectral_curves(sky(aerosol=0.0, albedo=0.0, ozone=100.0))
    high = curves.zenith_deg < 85.0
    arriving = curves.cos_zenith[high, None] * extraterrestrial_irradiance()
    assert np.all(curves.level[high] < arriving)


skies = st.builds(
    SkyState,
    ozone_du=st.floats(100.0, 600.0),
    aerosol_optical_depth=st.floats(0.0, 2.0),
    ground_albedo=st.floats(0.0, 0.9),
    pressure_hpa=st.floats(500.0, 1075.0),
    cloud=st.floats(0.0, 128.0).map(whole),
)


@steady
@given(state=skies)
def test_any_sky_in_the_domain_gives_finite_light(state):
    curves = spectral_curves(state)
    for values in (curves.beam_normal, curves.diffuse, curves.circumsolar, curves.isotropic, curves.uv_index):
        assert np.isfinite(values).all()
        assert (values >= 0.0).all()


@steady
@given(state=skies, more=st.floats(0.05, 40.0))
def test_more_cloud_never_brightens_the_sky(state, more):
    """Over ground darker than snow: over snow a cloud can brighten by throwing light back."""
    dark_ground = SkyState(state.ozone_du, state.aerosol_optical_depth, 0.05, state.pressure_hpa, state.cloud)
    depth = state.cloud[0].optical_depth
    thicker = SkyState(
        state.ozone_du, state.aerosol_optical_depth, 0.05, state.pressure_hpa, whole(min(depth + more, 128.0))
    )
    high = knot_zenith_deg() < 75.0  # at a low sun thin cloud turns grazing beam into light from overhead
    before, after = spectral_curves(dark_ground).level[high], spectral_curves(thicker).level[high]
    assert np.all(after <= before * (1.0 + TABLE_RIPPLE) + 1e-12)


@steady
@given(state=skies, more=st.floats(0.001, 1.0))
def test_more_haze_never_brightens_the_beam(state, more):
    hazier = SkyState(
        state.ozone_du,
        min(state.aerosol_optical_depth + more, 2.0),
        state.ground_albedo,
        state.pressure_hpa,
        state.cloud,
    )
    assert np.all(spectral_curves(hazier).beam_normal <= spectral_curves(state).beam_normal)


@steady
@given(state=skies, more=st.floats(1.0, 200.0))
def test_more_ozone_never_raises_the_uv_index(state, more):
    thicker = SkyState(
        min(state.ozone_du + more, 600.0),
        state.aerosol_optical_depth,
        state.ground_albedo,
        state.pressure_hpa,
        state.cloud,
    )
    high = knot_zenith_deg() < 85.0
    before, after = spectral_curves(state).uv_index[high], spectral_curves(thicker).uv_index[high]
    assert np.all(after <= before * (1.0 + TABLE_RIPPLE) + 1e-12)
