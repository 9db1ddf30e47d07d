"""The light of the whole engine against published spectra, a full radiative-transfer model and two other
models.

"Reference run" is libRadtran 2.0.2, DISORT 16 streams, pseudo-spherical beam; its values, and every other
printed one, stand in tests/authorities.  All light is at 1 AU."""

import csv
from pathlib import Path

import numpy as np
import pytest
from pvlib.atmosphere import get_relative_airmass
from pvlib.irradiance import get_extra_radiation
from pvlib.spectrum import spectrl2

from noonframe.sky.optical_depth import (
    WAVELENGTH_NM,
    extraterrestrial_irradiance,
    ozone_optical_depth,
    rayleigh_optical_depth_bodhaine_1999,
)
from noonframe.sky.spectrum import SkyState, spectral_curves
from noonframe.sky.transfer import AtmosphereState, beam_transmittance
from noonframe.sky.words import CloudPart
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.stack.curves import light_curves, locate
from noonframe.stack.effective import band_weights
from noonframe.stack.light import LightSeries, light_on
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import Sensitizer, find_sensitizer
from noonframe.sun.place import Place
from noonframe.sun.position import SunTrack, refraction_deg

pytestmark = pytest.mark.reference

AUTHORITIES = Path(__file__).parent / "authorities"
SEA_LEVEL = Place(0.0, 0.0)
FLAT = OpenSpot()

UVA_TOLERANCE = 0.03
"""Two discrete-ordinates codes with the same inputs differ by the extraterrestrial spectrum (1-1.5 % in a
band), the Rayleigh formula (0.7 %) and the layering (1 % at low sun)."""

BLUE_TOLERANCE = 0.04  # as above, with ozone's weak visible band left at room temperature
UV_INDEX_TOLERANCE = 0.05  # as above; ozone cross-sections differ by 1-2 %, which the steep short end doubles
FRACTION_TOLERANCE = 0.03


def rows(name: str) -> list[dict[str, str]]:
    lines = (AUTHORITIES / name).read_text().splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def sky(ozone=300.0, aerosol=0.0, albedo=0.05, pressure=1013.25, cloud=0.0) -> SkyState:
    return SkyState(ozone, aerosol, albedo, pressure, (CloudPart(1.0, cloud),))


def sun_at(zenith_deg: float, azimuth_deg: float = 180.0, pressure_hpa: float = 1013.25) -> SunTrack:
    """A sun at an apparent zenith, at 1 AU."""
    true_deg = 90.0 - zenith_deg
    for _ in range(30):
        true_deg = 90.0 - zenith_deg - float(refraction_deg(np.array([true_deg]), pressure_hpa)[0])
    true, azimuth = np.radians(true_deg), np.radians(azimuth_deg)
    east, north = np.cos(true) * np.sin(azimuth), np.cos(true) * np.cos(azimuth)
    return SunTrack(
        SEA_LEVEL, np.zeros(1), *(np.array([value]) for value in (east, north, np.sin(true), 1.0))
    )


def light(
    zenith_deg: float,
    state: SkyState,
    spot: OpenSpot = FLAT,
    *,
    coat: str | Sensitizer = "citrate-classic",
    near_albedo: float = 0.05,
    stack: str = "none",
) -> LightSeries:
    sensitizer = find_sensitizer(coat) if isinstance(coat, str) else coat
    curves = light_curves(state, parse_stack(stack), sensitizer)
    return light_on(curves, sun_at(zenith_deg, pressure_hpa=state.pressure_hpa), spot, near_albedo)


def band_coat(low_nm: float, high_nm: float) -> Sensitizer:
    """A coat that answers 1 in a band and 0 outside, so that "effective" is the band's irradiance."""
    action = np.minimum(
        band_weights(low_nm, high_nm) / np.minimum(band_weights(300.0, 480.0) + 1e-300, 5.0), 1.0
    )
    return Sensitizer(
        f"band-{low_nm:g}-{high_nm:g}",
        "band",
        action,
        np.zeros(WAVELENGTH_NM.size),
        1.0,
        0.0,
        "test",
        "own file",
    )


# ------------------------------------------------------------------------------------------ the ingredients


@pytest.mark.parametrize(
    "row", rows("astm_g173_bands.csv"), ids=lambda row: f"{row['low_nm']}-{row['high_nm']}"
)
def test_sunlight_above_the_air_is_that_of_the_standard(row):
    """1.5 W/m2 of 95: the standard is integrated over its own points, ours over 5 nm boxes cut at the band's
    ends."""
    total = extraterrestrial_irradiance() @ band_weights(float(row["low_nm"]), float(row["high_nm"]))
    assert total == pytest.approx(float(row["extraterrestrial"]), abs=1.5)


def test_rayleigh_optical_depth_at_350_nm():
    """Bodhaine et al. (1999): 0.630; published formulas differ by 1 %."""
    assert rayleigh_optical_depth_bodhaine_1999(350.0) == pytest.approx(0.630, abs=0.006)


def test_ozone_optical_depth_at_320_nm():
    """300 DU at 226 K with the cross-section of Daumont et al. (1992), 2.15e-20 cm2: 0.173."""
    assert ozone_optical_depth(320.0, 300.0) == pytest.approx(0.173, abs=0.005)


# ------------------------------------------------------------------------------------------ the reference run


@pytest.mark.parametrize(
    "row",
    rows("reference_run_clear.csv"),
    ids=lambda row: "-".join(
        row[k] for k in ("quantity", "zenith_deg", "aerosol_optical_depth", "ground_albedo")
    ),
)
def test_clear_light_matches_the_reference_run(row):
    state = sky(float(row["ozone_du"]), float(row["aerosol_optical_depth"]), float(row["ground_albedo"]))
    series = light(float(row["zenith_deg"]), state)
    ours, tolerance = {
        "uva": (series.uva_w_m2, UVA_TOLERANCE),
        "blue": (series.blue_w_m2, BLUE_TOLERANCE),
        "uva_diffuse_fraction": (series.uva_diffuse_fraction, None),
        "uv_index": (series.uv_index, UV_INDEX_TOLERANCE),
    }[row["quantity"]]
    expected = float(row["value"])
    if tolerance is None:
        assert ours[0] == pytest.approx(expected, abs=FRACTION_TOLERANCE)
    else:
        assert ours[0] == pytest.approx(expected, rel=tolerance)


def test_ozone_moves_the_uv_index_by_a_third_and_the_print_by_nothing():
    """Reference run, 250 to 350 DU at zenith 40: UV index -33 %, UVA -0.7 %."""
    thin, thick = light(40.0, sky(ozone=250.0)), light(40.0, sky(ozone=350.0))
    assert thick.uv_index[0] / thin.uv_index[0] - 1.0 == pytest.approx(-0.33, abs=0.03)
    assert thick.uva_w_m2[0] / thin.uva_w_m2[0] - 1.0 == pytest.approx(-0.007, abs=0.004)


@pytest.mark.parametrize(
    ("zenith_deg", "uva", "index"), [(20.0, -0.006, -0.33), (60.0, -0.009, -0.31), (75.0, -0.013, -0.27)]
)
def test_ozone_step_at_other_suns(zenith_deg, uva, index):
    """Reference run, AOD 0.10, 250 to 350 DU."""
    thin, thick = light(zenith_deg, sky(250.0, 0.1)), light(zenith_deg, sky(350.0, 0.1))
    assert thick.uva_w_m2[0] / thin.uva_w_m2[0] - 1.0 == pytest.approx(uva, abs=0.004)
    assert thick.uv_index[0] / thin.uv_index[0] - 1.0 == pytest.approx(index, abs=0.03)


def test_overcast_light_is_dim_and_casts_no_shadow():
    """Reference run, cloud optical depth 20, zenith 45: UVA factor 0.43, diffuse over 0.99."""
    clear, overcast = light(45.0, sky(aerosol=0.1)), light(45.0, sky(aerosol=0.1, cloud=20.0))
    assert overcast.uva_w_m2[0] / clear.uva_w_m2[0] == pytest.approx(0.43, abs=0.03)
    assert overcast.uva_diffuse_fraction[0] > 0.99


@pytest.mark.parametrize(
    "row", rows("reference_run_cloud.csv"), ids=lambda row: "-".join(list(row.values())[:2])
)
def test_cloud_factors_match_the_reference_run(row):
    """Absolute 0.01: the reference cloud lies a kilometre higher, has drops of one size, and is printed to
    0.001."""
    zenith, depth = float(row["zenith_deg"]), float(row["cloud_optical_depth"])
    clear, cloudy = light(zenith, sky(aerosol=0.1)), light(zenith, sky(aerosol=0.1, cloud=depth))
    assert cloudy.uva_w_m2[0] / clear.uva_w_m2[0] == pytest.approx(float(row["uva_factor"]), abs=0.01)
    assert cloudy.blue_w_m2[0] / clear.blue_w_m2[0] == pytest.approx(float(row["blue_factor"]), abs=0.01)


def test_snow_brightens_a_clear_sky_by_a_third():
    """Reference run, albedo 0.05 to 0.8 at zenith 40: UVA +32 %."""
    gain = light(40.0, sky(albedo=0.8)).uva_w_m2[0] / light(40.0, sky(albedo=0.05)).uva_w_m2[0] - 1.0
    assert gain == pytest.approx(0.32, abs=0.04)


@pytest.mark.parametrize(("albedo", "factor"), [(0.03, 0.59), (0.2, 0.65), (0.5, 0.82), (0.8, 1.09)])
def test_snow_under_cloud_multiplies(albedo, factor):
    """Reference run, zenith 45, cloud optical depth 10 over ground of `albedo`, against the clear sky over
    0.05."""
    ours = light(45.0, sky(aerosol=0.1, cloud=10.0, albedo=albedo)).uva_w_m2[0]
    assert ours / light(45.0, sky(aerosol=0.1)).uva_w_m2[0] == pytest.approx(factor, abs=0.02)


BANDS_NM = ((300, 340), (340, 380), (380, 400), (400, 440), (440, 480))


@pytest.mark.parametrize(
    "row", rows("reference_run_effective.csv"), ids=lambda row: f"{row['zenith_deg']}-{row['sensitizer']}"
)
def test_effective_light_and_its_shares_match_the_reference_run(row):
    """3 % as for the UVA; the shares are printed to 0.01 and their rounding adds half of that."""
    zenith, state = float(row["zenith_deg"]), sky(aerosol=0.1)
    total = light(zenith, state, coat=row["sensitizer"]).effective_w_m2[0]
    assert total == pytest.approx(float(row["effective_w_m2"]), rel=UVA_TOLERANCE)
    action = find_sensitizer(row["sensitizer"]).action
    for low, high in BANDS_NM:
        inside = band_weights(low, high) / np.minimum(band_weights(300.0, 480.0) + 1e-300, 5.0)
        part = np.minimum(inside, 1.0) * action
        peak = float(part.max())
        coat = Sensitizer("part", "part", part / peak, np.zeros(part.size), 1.0, 0.0, "test", "own file")
        share = peak * light(zenith, state, coat=coat).effective_w_m2[0] / total
        assert share == pytest.approx(float(row[f"share_{low}_{high}"]), abs=0.012)


@pytest.mark.parametrize("zenith_deg", [30.0, 60.0])
def test_height_brightens_as_the_thinner_air_alone_would(zenith_deg):
    """Reference run with nothing changed but the pressure, 0 to 1000 m.  Printed to 0.1; 0.3 points are
    allowed for the 5 nm boxes against single wavelengths and the layering."""
    low, high = (Place(0.0, 0.0, metres).pressure_hpa for metres in (0.0, 1000.0))
    for row in rows("reference_run_altitude.csv"):
        if float(row["zenith_deg"]) != zenith_deg:
            continue
        nm = float(row["wavelength_nm"])
        coat = band_coat(nm - 2.5, nm + 2.5)
        below, above = (light(zenith_deg, sky(pressure=p), coat=coat).effective_w_m2[0] for p in (low, high))
        assert 100.0 * (above / below - 1.0) == pytest.approx(float(row["gain_percent"]), abs=0.3)


def test_four_kilometres_of_height():
    """Reference run, pollution-free, zenith 40: UVA +11.6 %, UV index +22 %; a point and two of layering and
    ozone."""
    low, high = (Place(0.0, 0.0, metres).pressure_hpa for metres in (0.0, 4000.0))
    sea, peak = light(40.0, sky(pressure=low)), light(40.0, sky(pressure=high))
    assert peak.uva_w_m2[0] / sea.uva_w_m2[0] - 1.0 == pytest.approx(0.116, abs=0.01)
    assert peak.uv_index[0] / sea.uv_index[0] - 1.0 == pytest.approx(0.22, abs=0.02)


# ------------------------------------------------------------------------------------------ ASTM G173

G173_ZENITH_DEG = 48.19
G173_EXPONENT = 0.964

G173_AEROSOL = 0.084 * (500.0 / 350.0) ** (G173_EXPONENT - 1.3)
"""The standard's haze has another Angstrom exponent than the table's 1.3: matched at 350 nm,
mid-ultraviolet."""

G173_SAND = 0.10
"""Light sandy soil in the ultraviolet, assumed: Feister and Grewe (1995) measured 0.05 for soil and
0.14-0.24 for dry beach sand at 300-400 nm.  0.05 either way moves the tilted total by under 3 %."""

G173_TOLERANCE = 0.05
"""The standard was made by another model (SMARTS) with parameterised scattering: 2-3 %; albedo and haze
colour 2 %."""


G173_TILTED_TOLERANCE = 0.07
"""The same and half the gap between the standard's even sky and a radiance field (6-9 %)."""


def test_direct_normal_ultraviolet_of_g173_with_its_own_haze():
    state = AtmosphereState(343.8, 0.084)
    beam = extraterrestrial_irradiance() * beam_transmittance(state, G173_ZENITH_DEG, G173_EXPONENT)[0]
    assert beam @ band_weights(300.0, 400.0) == pytest.approx(30.5, abs=1.0)


@pytest.mark.parametrize(
    "row", rows("astm_g173_bands.csv"), ids=lambda row: f"{row['low_nm']}-{row['high_nm']}"
)
def test_beam_and_tilted_total_match_g173(row):
    """Beam, and the total on the plane tilted 37 degrees toward the sun.  The standard's own sky is nearly
    isotropic in the ultraviolet (what it prints on that plane less the beam is 0.87 of a level plane's
    diffuse light; an even sky gives 0.90), while a radiance field is brighter around the sun: our share lies
    between (tests/stack/test_light.py), so ours is a few per cent above the standard."""
    state = sky(343.8, G173_AEROSOL, G173_SAND)
    coat = band_coat(float(row["low_nm"]), float(row["high_nm"]))
    channel = light_curves(state, parse_stack("none"), coat).effective
    beam = float(locate(sun_at(G173_ZENITH_DEG).up).read(channel.beam_normal)[0])
    assert beam == pytest.approx(float(row["direct_normal"]), rel=G173_TOLERANCE)
    ours = light(
        G173_ZENITH_DEG, state, OpenSpot(Aim(37.0, 180.0)), coat=coat, near_albedo=G173_SAND
    ).effective_w_m2[0]
    assert ours == pytest.approx(float(row["global_tilted_37"]), rel=G173_TILTED_TOLERANCE)


def test_level_total_in_the_g173_air():
    """Reference run of the same air over albedo 0.05: 38.7 W/m2 on level ground, 300-400 nm, of which 18.2
    diffuse."""
    total = light(G173_ZENITH_DEG, sky(343.8, G173_AEROSOL), coat=band_coat(300.0, 400.0)).effective_w_m2[0]
    assert total == pytest.approx(38.7, rel=UVA_TOLERANCE)


# ------------------------------------------------------------------------------------------ other models


@pytest.mark.parametrize("ozone_du", [250.0, 300.0, 350.0])
@pytest.mark.parametrize(
    ("zenith_deg", "tolerance"), [(0.0, 0.10), (20.0, 0.10), (40.0, 0.10), (50.0, 0.10), (60.0, 0.12)]
)
def test_uv_index_follows_madronichs_formula_in_its_domain(zenith_deg, tolerance, ozone_du):
    """Madronich (2007), Photochem. Photobiol. 83, 1537: 12.5 cos^2.42 (ozone/300)^-1.23, unpolluted, low
    albedo.  The reference run is itself 1-8 % below the fit at 300 DU and, its ozone exponent being -1.10
    at zenith 60, 10 % below it there at 250 DU; at lower suns the fit fails."""
    formula = 12.5 * np.cos(np.radians(zenith_deg)) ** 2.42 * (ozone_du / 300.0) ** -1.23
    assert light(zenith_deg, sky(ozone=ozone_du)).uv_index[0] == pytest.approx(formula, rel=tolerance)


@pytest.mark.parametrize("zenith_deg", [10.0, 30.0, 50.0, 65.0])
def test_a_simple_spectral_model_is_below_ours_by_its_known_bias(zenith_deg):
    """Bird and Riordan (1986) through pvlib is 8-11 % low in the UVA against a 16-stream solution; its 10
    nm steps above 350 nm and the sun spectrum of 1984 blur that by a few per cent."""
    other = spectrl2(
        apparent_zenith=zenith_deg,
        aoi=zenith_deg,
        surface_tilt=0.0,
        ground_albedo=0.05,
        surface_pressure=101325.0,
        relative_airmass=get_relative_airmass(zenith_deg, model="kastenyoung1989"),
        precipitable_water=1.4,
        ozone=0.3,
        aerosol_turbidity_500nm=0.1,
        dayofyear=94,
        scattering_albedo_400nm=0.92,
        alpha=1.3,
        wavelength_variation_factor=0.0,
        aerosol_asymmetry_factor=0.70,
    )
    distance_factor = get_extra_radiation(94, solar_constant=1.0, method="spencer")
    wavelength, spectrum = other["wavelength"], other["poa_global"].ravel() / distance_factor
    fine = np.linspace(315.0, 400.0, 851)
    uva = np.trapezoid(np.interp(fine, wavelength, spectrum), fine)
    assert 0.85 <= uva / light(zenith_deg, sky(aerosol=0.1)).uva_w_m2[0] <= 0.97


# ------------------------------------------------------------------------------------------ common practice

GLASS_AND_FILM = "float-glass-4mm,polyester-film"


def minutes(zenith_deg: float, state: SkyState, stack: str) -> float:
    """Minutes for the classic coat's own target in a light that does not change."""
    coat = find_sensitizer("citrate-classic")
    return coat.target_j_m2 / light(zenith_deg, state, stack=stack).effective_w_m2[0] / 60.0


def test_minutes_are_those_of_the_trade():
    """Common practice, no source: a sheet that takes about 5 minutes laid flat in the open under a direct
    high sun takes 10-15 in ordinary conditions, and a whole practice spans about 5 minutes to an hour.

    High sun here: bare coat, zenith 20, little haze.  Ordinary: behind glass and film, with the haze of a
    town and a mid-morning sun.  An hour: the same behind glass and film on a winter noon, or under an
    overcast summer sky."""
    quick = minutes(20.0, sky(aerosol=0.05), "none")
    assert 4.0 < quick < 7.0
    for zenith, haze in ((35.0, 0.15), (40.0, 0.15), (30.0, 0.3)):
        assert 10.0 <= minutes(zenith, sky(aerosol=haze), GLASS_AND_FILM) <= 15.0
    assert 25.0 < minutes(64.6, sky(aerosol=0.1), GLASS_AND_FILM) < 65.0
    assert 20.0 < minutes(40.0, sky(aerosol=0.1, cloud=25.0), GLASS_AND_FILM) < 65.0


def test_spectra_are_finite_and_never_negative():
    for state in (sky(), sky(100.0, 2.0, 1.0, 500.0, 128.0), sky(600.0, 0.0, 0.0, 1075.0)):
        curves = spectral_curves(state)
        for spectrum in (
            curves.beam_normal,
            curves.diffuse,
            curves.circumsolar,
            curves.isotropic,
            curves.uv_index,
        ):
            assert np.isfinite(spectrum).all()
            assert (spectrum >= 0.0).all()
