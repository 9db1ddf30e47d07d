"""The catalogue of sheets and stacks of them."""

import numpy as np
import pytest

from noonframe.datafiles import data_folder, read_columns
from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.stack.materials import Material, Stack, find_material, material_catalogue, parse_stack
from noonframe.stack.optics import internal_absorbance, lossless_transmittance

ALL_IDS = tuple(identity for identity, each in material_catalogue().items() if each.kind != "object")

# Common names of a sheet that a user would look for.
EXPECTED_IDS = {
    *(f"float-glass-{thickness}mm" for thickness in (2, 3, 4, 5, 6, 8)),
    *("low-iron-glass-4mm", "low-iron-glass-12mm", "double-clear-glass-4-4", "low-e-glass-4mm"),
    *("low-e-double-glass-4-4", "solar-control-glass", "laminated-glass-6mm", "borosilicate-glass-3mm"),
    *("acrylic-uv-transmitting-3mm", "acrylic-cast-3mm", "acrylic-extruded-3mm", "acrylic-uv-absorbing-3mm"),
    *("polycarbonate-3mm", "petg-3mm", "polystyrene-3mm", "polyester-film", "inkjet-film"),
    "cellulose-acetate-film",
}

# Predicted transmittance of clear float: the median absorption coefficient through a two-surface sheet,
# n = 1.526 (Duffie & Beckman 2013, chapter 5), from the samples in CIE file 206.xls, to three decimals.
# nm: 2, 3, 4, 6 mm, double clear 4+4, low-e 4 and clear 4
FLOAT_TABLE = {
    320: (0.051, 0.012, 0.003, 0.000, 0.000, 0.000),
    330: (0.262, 0.140, 0.075, 0.021, 0.006, 0.000),
    340: (0.544, 0.419, 0.323, 0.192, 0.105, 0.002),
    350: (0.727, 0.647, 0.576, 0.456, 0.334, 0.009),
    365: (0.843, 0.808, 0.775, 0.712, 0.604, 0.049),
    380: (0.857, 0.829, 0.801, 0.749, 0.647, 0.153),
    400: (0.891, 0.878, 0.865, 0.840, 0.753, 0.450),
    420: (0.886, 0.871, 0.856, 0.827, 0.737, 0.644),
    460: (0.892, 0.880, 0.869, 0.845, 0.759, 0.740),
    480: (0.896, 0.886, 0.876, 0.856, 0.772, 0.750),
}
FLOAT_IDS = (
    *("float-glass-2mm", "float-glass-3mm", "float-glass-4mm", "float-glass-6mm"),
    *("double-clear-glass-4-4", "low-e-double-glass-4-4"),
)


COMPOSITE_NM = (340, 350, 365, 380, 400, 420, 460)


def at(wavelength_nm: float) -> int:
    return int(np.flatnonzero(wavelength_nm == WAVELENGTH_NM)[0])


def test_the_catalogue_holds_the_usual_sheets():
    assert set(ALL_IDS) == EXPECTED_IDS


@pytest.mark.parametrize("identity", ALL_IDS)
def test_every_sheet_is_complete_and_within_its_limits(identity):
    material = find_material(identity)
    assert material.id == identity
    assert material.label
    assert material.provenance
    assert material.kind in ("pane", "frame-cover", "film")
    assert material.how_known in ("measured sample", "fitted", "from memory")
    assert material.transmittance.shape == (41,)
    assert 0.3 < material.transmittance.max() < 0.93  # no bare sheet here beats two surfaces of index 1.46
    assert np.all(material.transmittance_low <= material.transmittance)
    assert np.all(material.transmittance_high >= material.transmittance)
    assert material.sigma.max() > 0.0
    assert not material.transmittance.flags.writeable


@pytest.mark.reference
@pytest.mark.parametrize("wavelength_nm", FLOAT_TABLE)
def test_float_glass_matches_the_predictions_by_thickness(wavelength_nm):
    found = [find_material(identity).transmittance[at(wavelength_nm)] for identity in FLOAT_IDS]
    expected = FLOAT_TABLE[wavelength_nm]
    assert found[:-1] == pytest.approx(expected[:-1], abs=0.0016)  # the coefficients have four decimals
    # How much the coated pane reflects back into the gap is not measured: 0.04 more or less than bare glass,
    # times the 0.08 of the clear pane, is 0.003.
    assert found[-1] == pytest.approx(expected[-1], abs=0.003)


@pytest.mark.reference
@pytest.mark.parametrize(
    ("column", "thickness_mm"),
    [("clear_a_2.50mm", 2.5), ("clear_b_3.85mm", 3.85), ("clear_d_5.78mm", 5.78), ("clear_b_7.85mm", 7.85)],
)
def test_measured_float_samples_lie_inside_the_range_of_absorption(column, thickness_mm):
    samples = read_columns(data_folder() / "window_glass_samples.csv")
    fitted = read_columns(data_folder() / "float_glass_absorption.csv")
    # Below 0.05 three decimals do not fix the absorption; above the limit of the index there is none.
    clear = (samples[column] > 0.05) & (samples[column] < lossless_transmittance(1.526))
    per_mm = internal_absorbance(samples[column][clear], 1.526) / thickness_mm
    slack = 0.0007 / samples[column][clear] / thickness_mm  # half a last printed digit of the sample
    assert np.all(per_mm >= fitted["lowest_per_mm"][clear] - slack - 5e-5)
    assert np.all(per_mm <= fitted["highest_per_mm"][clear] + slack + 5e-5)


# Composite values: CIE file 206.xls samples and the photobiologyFilters package for the measured sheets, two
# decimals; from memory for laminated glass and borosilicate.  Those of float are one 3.85 mm sample, while
# the catalogue has the median of seven: half the range between the samples, 0.06, is allowed there.
COMPOSITES = [
    ("none", (1, 1, 1, 1, 1, 1, 1), 0.0),
    ("polyester-film", (0.78, 0.83, 0.87, 0.90, 0.91, 0.92, 0.93), 0.0055),
    ("float-glass-4mm", (0.31, 0.58, 0.78, 0.76, 0.85, 0.85, 0.86), 0.06),
    ("float-glass-4mm,polyester-film", (0.24, 0.48, 0.68, 0.68, 0.78, 0.78, 0.80), 0.06),
    (
        "float-glass-4mm,float-glass-4mm,polyester-film",
        (0.08, 0.27, 0.53, 0.52, 0.66, 0.66, 0.69),
        0.06,
    ),
    ("double-clear-glass-4-4", (0.11, 0.33, 0.60, 0.65, 0.75, 0.74, 0.76), 0.0065),
    ("low-e-glass-4mm", (0.01, 0.02, 0.06, 0.19, 0.52, 0.75, 0.85), 0.0055),
    ("acrylic-uv-transmitting-3mm", (0.90, 0.90, 0.90, 0.90, 0.90, 0.90, 0.91), 0.0055),
    ("acrylic-extruded-3mm", (0.00, 0.00, 0.05, 0.52, 0.91, 0.92, 0.93), 0.0055),
    ("acrylic-uv-absorbing-3mm", (0, 0, 0, 0.07, 0.86, 0.92, 0.92), 0.0055),
    ("polycarbonate-3mm", (0, 0, 0, 0, 0.52, 0.85, 0.87), 0.0055),
    ("laminated-glass-6mm", (0, 0, 0, 0.01, 0.55, 0.80, 0.83), 0.0055),
    ("borosilicate-glass-3mm", (0.90, 0.91, 0.92, 0.92, 0.92, 0.92, 0.92), 0.0055),
]


@pytest.mark.reference
@pytest.mark.parametrize(("text", "expected", "tolerance"), COMPOSITES)
def test_composites_match_their_sources(text, expected, tolerance):
    found = parse_stack(text).normal_transmittance[[at(nm) for nm in COMPOSITE_NM]]
    assert found == pytest.approx(expected, abs=tolerance)


def test_every_shipped_beam_falls_from_60_to_90_degrees():
    # The angles of the sheet model carry over to every sheet, double panes included.
    for identity in ALL_IDS:
        beam = parse_stack(identity).beam_transmittance(np.arange(60.0, 91.0))
        lit = beam[0] > 1e-6
        assert np.all(np.diff(beam[:, lit], axis=0) < 0.0), identity


def test_beam_at_normal_incidence_gives_the_measured_spectrum_back():
    for identity in ALL_IDS:
        stack = parse_stack(identity)
        measured = stack.normal_transmittance
        assert stack.beam_transmittance(np.array([0.0]))[0] == pytest.approx(measured, abs=1e-9), identity


def test_a_bare_coat_gets_everything_from_the_front_and_nothing_from_behind():
    bare = parse_stack("none")
    assert bare == Stack()
    assert bare.ids == ()
    assert np.all(bare.normal_transmittance == 1.0)
    assert bare.diffuse_transmittance == pytest.approx(np.ones(41), abs=1e-13)
    assert bare.beam_transmittance(np.array([0.0, 89.0, 90.0, 135.0]))[:, 0].tolist() == [1.0, 1.0, 0.0, 0.0]


def test_sheets_multiply_and_their_order_does_not_matter():
    pair = parse_stack(" float-glass-4mm , polyester-film ")
    glass, film = (parse_stack(identity) for identity in ("float-glass-4mm", "polyester-film"))
    angles = np.array([0.0, 50.0, 80.0])
    product = glass.beam_transmittance(angles) * film.beam_transmittance(angles)
    assert pair.beam_transmittance(angles) == pytest.approx(product, rel=1e-12)
    assert pair.ids == ("float-glass-4mm", "polyester-film")
    turned = parse_stack("polyester-film,float-glass-4mm")
    assert turned.diffuse_transmittance == pytest.approx(pair.diffuse_transmittance, rel=1e-12)


def test_diffuse_light_takes_the_mean_of_the_product_not_the_product_of_the_means():
    # The second sheet sees light that the first has already narrowed: so more than the product passes.
    pair = parse_stack("float-glass-4mm,float-glass-4mm").diffuse_transmittance
    single = parse_stack("float-glass-4mm").diffuse_transmittance
    assert np.all(pair[WAVELENGTH_NM >= 340.0] > 1.005 * single[WAVELENGTH_NM >= 340.0] ** 2)
    fine = np.degrees(np.arccos((np.arange(4000) + 0.5) / 4000))
    weight = np.cos(np.radians(fine))
    brute = (
        2.0
        * (weight[:, np.newaxis] * parse_stack("float-glass-4mm").beam_transmittance(fine) ** 2).sum(axis=0)
        / 4000
    )
    assert pair == pytest.approx(brute, abs=1e-5)


def test_diffuse_light_passes_less_than_the_beam_at_the_normal():
    for identity in ALL_IDS:
        stack = parse_stack(identity)
        clear = stack.normal_transmittance > 0.05
        ratio = stack.diffuse_transmittance[clear] / stack.normal_transmittance[clear]
        assert np.all((ratio > 0.5) & (ratio < 0.95)), identity


def test_equal_stacks_share_one_spectrum():
    first, second = parse_stack("float-glass-3mm,inkjet-film"), parse_stack("float-glass-3mm,inkjet-film")
    assert first == second
    assert hash(first) == hash(second)
    assert first.diffuse_transmittance is second.diffuse_transmittance
    assert first != parse_stack("float-glass-4mm,inkjet-film")


def test_a_material_changed_in_one_value_is_another_material():
    glass = find_material("float-glass-4mm")
    fields = {name: getattr(glass, name) for name in glass.__dataclass_fields__}
    assert Material(**fields) == glass
    fields["transmittance"] = glass.transmittance * 0.999
    fields["transmittance_low"] = glass.transmittance_low * 0.99
    assert Material(**fields) != glass


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("transmittance", np.full(41, np.nan)),
        ("transmittance", np.full(40, 0.5)),
        ("transmittance", np.full(41, 0.95)),
        ("transmittance_low", np.full(41, 0.93)),
        ("transmittance_high", np.zeros(41)),
        ("refractive_index", 0.5),
        ("range_sigmas", 0.0),
        ("thickness_mm", -1.0),
    ],
)
def test_an_impossible_material_is_refused(field, value):
    glass = find_material("float-glass-4mm")
    fields = {name: getattr(glass, name) for name in glass.__dataclass_fields__}
    with pytest.raises(OutOfDomain, match=field if field != "transmittance" else "transmittance"):
        Material(**{**fields, field: value})


def test_an_unknown_sheet_is_refused_with_its_neighbours():
    with pytest.raises(UnknownName) as caught:
        parse_stack("float-glas-4mm")
    assert caught.value.field == "stack"
    assert "float-glass-4mm" in caught.value.near


@pytest.mark.parametrize("text", ["", " ", "float-glass-4mm,", ",", "none,polyester-film", "x" * 2000])
def test_a_stack_that_cannot_be_read_is_refused(text):
    with pytest.raises(Malformed) as caught:
        parse_stack(text)
    assert caught.value.field == "stack"


def test_no_more_than_eight_sheets():
    assert len(parse_stack(",".join(["polyester-film"] * 8)).materials) == 8
    with pytest.raises(OutOfDomain, match="stack"):
        parse_stack(",".join(["polyester-film"] * 9))
    with pytest.raises(OutOfDomain, match="stack"):
        Stack((find_material("polyester-film"),) * 9)


def test_beam_angle_that_is_not_a_number_is_refused():
    for stack in (parse_stack("none"), parse_stack("float-glass-4mm")):
        with pytest.raises(OutOfDomain, match="incidence_deg"):
            stack.beam_transmittance(np.array([np.nan]))


def test_spread_of_one_sheet_is_the_scatter_of_what_passes():
    weight = np.where(WAVELENGTH_NM == 350.0, 2.0, 0.0)
    glass = find_material("float-glass-4mm")
    here = at(350.0)
    # Range of seven samples over 2.704, the constant d2 of ISO 7870-2.
    expected = (glass.transmittance_high - glass.transmittance_low)[here] / 2.704 / glass.transmittance[here]
    stack = parse_stack("float-glass-4mm")
    assert stack.relative_spread(weight) == pytest.approx(expected, rel=1e-12)
    assert stack.spread_stops(weight) == pytest.approx(np.log2(1.0 + expected), rel=1e-12)


def test_spreads_of_separate_sheets_add_in_quadrature():
    weight = np.where(WAVELENGTH_NM == 365.0, 1.0, 0.0)
    single = [parse_stack(identity).relative_spread(weight) for identity in ("petg-3mm", "polyester-film")]
    both = parse_stack("petg-3mm,polyester-film").relative_spread(weight)
    assert both == pytest.approx(np.hypot(*single), rel=1e-12)
    assert parse_stack("none").spread_stops(weight) == 0.0


def test_covers_with_an_edge_in_the_band_are_the_least_certain():
    weight = np.ones(41)
    plain = parse_stack("acrylic-uv-transmitting-3mm").spread_stops(weight)
    assert plain < parse_stack("acrylic-cast-3mm").spread_stops(weight)
    assert plain < parse_stack("low-e-glass-4mm").spread_stops(weight)


def test_spread_of_nothing_is_refused():
    with pytest.raises(OutOfDomain, match="weight"):
        parse_stack("polycarbonate-3mm").spread_stops(np.where(WAVELENGTH_NM == 320.0, 1.0, 0.0))
    with pytest.raises(OutOfDomain, match="weight"):
        parse_stack("none").spread_stops(np.full(41, np.nan))
