"""Coating: volumes, weights, how far a bottle goes, and what the data file says."""

import json
import math

import pytest

from noonframe.bench.coating import Sheets, bottle_reach, mix_for, powders_for
from noonframe.bench.formulas import DEFAULT_FORMULA, coating_book
from noonframe.datafiles import data_folder
from noonframe.errors import OutOfDomain, UnknownName
from noonframe.stack.sensitizers import find_sensitizer

BOOK = coating_book()
CLASSIC = BOOK.formula(DEFAULT_FORMULA)
TEN_BY_EIGHT = Sheets(254.0, 203.2)  # 516 cm2


@pytest.mark.reference
def test_a_ten_by_eight_sheet_takes_a_millilitre_and_a_half_by_rod():  # from memory
    mix = mix_for([TEN_BY_EIGHT], CLASSIC, BOOK.coverage("rod").ml_per_m2, 0.0)
    assert mix.area_m2 == pytest.approx(0.0516, abs=5e-5)
    assert mix.total_ml == pytest.approx(1.5, abs=0.01)
    brush = BOOK.coverage("brush")
    rod = BOOK.coverage("rod").ml_per_m2
    assert 1.5 * rod <= brush.ml_per_m2 <= 2.0 * rod  # 1.5 to 2 times the rod's (from memory)


@pytest.mark.reference
@pytest.mark.parametrize(
    ("formula", "strengths"),
    [
        # workshop notes: 25 and 10 % w/v, 20 and 8.1 % w/v, equal volumes; 30, 10 and 0.1 g in 100 mL (1995)
        ("citrate-classic-25", [25.0, 10.0]),
        ("citrate-classic-20", [20.0, 8.1]),
        ("oxalate-variant", [30.0, 10.0, 0.1]),
    ],
)
def test_the_strengths_are_the_published_ones(formula, strengths):
    found = BOOK.formula(formula)
    assert [s.percent_w_v for stock in found.stocks for s in stock.solutes] == strengths
    assert len({stock.parts for stock in found.stocks}) == 1
    assert found.source
    assert find_sensitizer(found.sensitizer).id == found.sensitizer


@pytest.mark.reference
def test_the_classic_mix_is_about_as_strong_as_the_coat_model_takes_it():
    # the coat model's mix: 0.152 mol/L ferricyanide; potassium ferricyanide 329.25 g/mol (ICSC 1132)
    grams_per_l = CLASSIC.stocks[1].solutes[0].percent_w_v * 10.0 * CLASSIC.share(CLASSIC.stocks[1])
    assert grams_per_l / 329.25 == pytest.approx(0.152, abs=0.0005)


def test_a_list_of_sheets_adds_up_and_the_stocks_share_it():
    sheets = [Sheets(300.0, 400.0, 5), Sheets(100.0, 150.0, 12)]
    mix = mix_for(sheets, CLASSIC, 50.0, 0.2)
    assert mix.area_m2 == pytest.approx(0.6 + 0.18)
    assert mix.coat_ml == pytest.approx(39.0)
    assert mix.total_ml == pytest.approx(46.8)
    assert [amount.volume_ml for amount in mix.stocks] == pytest.approx([23.4, 23.4])
    assert [amount.stock.id for amount in mix.stocks] == ["iron", "ferricyanide"]


def test_weights_are_per_cent_of_the_volume():
    (powder,) = powders_for(CLASSIC.stocks[0], 250.0)
    assert powder.weight_g == pytest.approx(62.5)
    three = powders_for(BOOK.formula("oxalate-variant").stocks[0], 50.0)
    assert [powder.weight_g for powder in three] == pytest.approx([15.0, 5.0, 0.05])


def test_the_smaller_bottle_decides_how_many_sheets():
    reach = bottle_reach(CLASSIC, {"iron": 100.0, "ferricyanide": 60.0}, Sheets(200.0, 250.0), 40.0, 0.0)
    assert reach.sheets == 60  # 2 mL a sheet, 1 mL of each stock
    assert reach.runs_out_first.id == "ferricyanide"
    used = mix_for([Sheets(200.0, 250.0, reach.sheets)], CLASSIC, 40.0, 0.0)
    assert used.stocks[1].volume_ml == pytest.approx(60.0)
    assert bottle_reach(CLASSIC, {"iron": 0.0, "ferricyanide": 60.0}, TEN_BY_EIGHT, 40.0).sheets == 0


def test_the_count_of_the_sheet_asked_for_does_not_change_the_reach():
    bottles = {"iron": 100.0, "ferricyanide": 100.0}
    one, many = Sheets(200.0, 250.0), Sheets(200.0, 250.0, 7)
    assert bottle_reach(CLASSIC, bottles, one, 30.0) == bottle_reach(CLASSIC, bottles, many, 30.0)


def test_a_formula_with_dichromate_warns():
    assert "chromium" in BOOK.formula("oxalate-variant").caution
    assert CLASSIC.caution == ""


@pytest.mark.reference
def test_tone_scales_are_the_published_ranges():
    # exposure scale 1.0 to 1.4 and 1.8 to 2.4 in log10 of dose (from memory)
    for name, low, high in (("citrate-classic", 1.0, 1.4), ("oxalate-variant", 1.8, 2.4)):
        scale = BOOK.tone_scale(name)
        assert scale.stops * math.log10(2.0) == pytest.approx((low + high) / 2.0, abs=0.01)
        assert scale.spread_stops * math.log10(2.0) == pytest.approx((high - low) / 2.0, abs=0.01)
    assert BOOK.tone_scale("own-coat") is None


def test_every_number_in_the_file_names_its_source():
    record = json.loads((data_folder() / "coating_formulas.json").read_text(encoding="utf-8"))
    for part in ("formulas", "coverages", "tone_scales"):
        assert all(entry["source"] for entry in record[part].values())


def test_an_unknown_formula_is_refused_with_the_nearest():
    with pytest.raises(UnknownName, match="did you mean citrate-classic-25"):
        BOOK.formula("citrate-classic-2")
    with pytest.raises(UnknownName):
        BOOK.coverage("spray")


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Sheets(5.0, 200.0), "sheets.width_mm"),
        (lambda: Sheets(200.0, math.nan), "sheets.height_mm"),
        (lambda: Sheets(200.0, 200.0, 0), "sheets.count"),
        (lambda: mix_for([], CLASSIC, 30.0), "sheets"),
        (lambda: mix_for([TEN_BY_EIGHT], CLASSIC, 0.0), "coverage_ml_m2"),
        (lambda: mix_for([TEN_BY_EIGHT], CLASSIC, 30.0, -0.1), "margin_share"),
        (lambda: powders_for(CLASSIC.stocks[0], math.inf), "volume_ml"),
        (lambda: bottle_reach(CLASSIC, {"iron": 10.0}, TEN_BY_EIGHT, 30.0), "bottle_ml.ferricyanide"),
    ],
)
def test_a_mix_that_cannot_be_is_refused_by_field(make, field):
    with pytest.raises(OutOfDomain) as caught:
        make()
    assert caught.value.field == field
