"""Steps after the light, the peroxide rinse, and the cautions that go with each substance."""

import math
from itertools import pairwise

import pytest

from noonframe.bench.chemicals import cautions_for, peroxide_caution, substance_caution
from noonframe.bench.formulas import coating_book
from noonframe.bench.wording import dose_words, joined, spread_words
from noonframe.bench.workflow import COATING_CHECKS, COATING_STEPS, WASHING_STEPS, rinse_peroxide_ml, timed
from noonframe.errors import OutOfDomain, UnknownName


def test_washing_runs_from_wash_to_full_colour_without_gaps():
    steps = timed(WASHING_STEPS, 1000.0)
    assert [each.step.id for each in steps] == ["wash", "rewash", "dry-print", "full-colour"]
    assert steps[0].earliest_start_s == steps[0].latest_start_s == 1000.0
    for before, after in pairwise(steps):
        assert after.earliest_start_s == before.earliest_end_s
        assert after.latest_start_s == before.latest_end_s
    assert all(each.earliest_end_s <= each.latest_end_s for each in steps)


def test_optional_steps_take_their_place_when_named():
    steps = timed(WASHING_STEPS, 0.0, with_optional=("oxidising-rinse", "acid-bath"))
    assert [each.step.id for each in steps] == [step.id for step in WASHING_STEPS]
    with pytest.raises(OutOfDomain, match="with_optional"):
        timed(WASHING_STEPS, 0.0, with_optional=("bleach",))


def test_coating_many_sheets_takes_longer_but_mixing_does_not():
    one, ten = timed(COATING_STEPS, 0.0), timed(COATING_STEPS, 0.0, repeats=10)
    assert ten[0].latest_end_s == one[0].latest_end_s
    assert ten[1].latest_end_s - ten[1].latest_start_s == pytest.approx(
        10.0 * (one[1].latest_end_s - one[1].latest_start_s)
    )


def test_every_step_and_check_names_its_source_and_its_sign_of_being_done():
    assert all(step.source and step.done_when for step in (*COATING_STEPS, *WASHING_STEPS))
    assert all(check.source for check in COATING_CHECKS)
    assert all(0.0 <= step.least_min <= step.most_min for step in (*COATING_STEPS, *WASHING_STEPS))


@pytest.mark.reference
def test_the_rinse_takes_a_few_millilitres_of_three_per_cent_to_the_litre():  # from memory
    assert rinse_peroxide_ml(1.0) == pytest.approx(5.0)
    assert rinse_peroxide_ml(4.0, 6.0) == pytest.approx(10.0)


@pytest.mark.parametrize("strength", [8.0, 12.0, 35.0, 0.0, math.nan])
def test_peroxide_that_damages_eyes_is_refused_for_the_rinse(strength):
    with pytest.raises(OutOfDomain, match="peroxide_strength_percent"):
        rinse_peroxide_ml(1.0, strength)


@pytest.mark.reference
@pytest.mark.parametrize(
    ("strength", "words"),
    [
        # Regulation (EC) No 1272/2008, Annex VI, concentration limits of hydrogen peroxide: eye irritation
        # from 5, eye damage from 8 (both from memory), skin irritation from 35, burns from 50 %
        (3.0, "household strength"),
        (4.99, "household strength"),
        (5.0, "irritates eyes seriously"),
        (8.0, "serious damage to eyes and is an oxidiser"),
        (34.9, "serious damage to eyes and is an oxidiser"),
        (35.0, "irritates skin"),
        (50.0, "burns skin and eyes"),
        (100.0, "burns skin and eyes"),
    ],
)
def test_peroxide_is_cautioned_by_strength(strength, words):
    assert words in peroxide_caution(strength).text


@pytest.mark.parametrize("strength", [0.0, -3.0, 101.0, math.nan])
def test_a_strength_that_cannot_be_is_refused(strength):
    with pytest.raises(OutOfDomain, match="peroxide_strength_percent"):
        peroxide_caution(strength)


def test_ferricyanide_is_kept_from_heat_acid_bleach_and_ammonia():
    text = substance_caution("potassium-ferricyanide").text.lower()
    for word in ("heat", "acid", "bleach", "ammonia", "cyanide"):
        assert word in text


def test_every_substance_of_every_formula_has_a_caution():
    for formula in coating_book().formulas.values():
        cautions = cautions_for(formula.substances)
        assert all(caution.text and caution.source for caution in cautions)
        subjects = [caution.about for caution in cautions]
        for subject in ("hands and eyes", "children and animals", "kitchen things", "disposal"):
            assert subject in subjects


def test_the_gravest_caution_comes_first_whatever_the_order():
    forward = cautions_for(["ammonium-iron-oxalate", "potassium-ferricyanide", "ammonium-dichromate"], 3.0)
    assert forward[0].about == "ammonium dichromate"
    assert forward == cautions_for(
        ["ammonium-dichromate", "potassium-ferricyanide", "ammonium-iron-oxalate"], 3
    )
    assert "hydrogen peroxide" in [caution.about for caution in forward]


def test_disposal_defers_to_local_rules():
    disposal = next(c for c in cautions_for([]) if c.about == "disposal")
    assert "local household hazardous-waste service" in disposal.text


def test_an_unknown_substance_is_refused():
    with pytest.raises(UnknownName, match="substance"):
        cautions_for(["gold-chloride"])


@pytest.mark.parametrize(
    ("dose", "words"),
    [
        (21_400.0, "21 kJ/m²"),
        (2_140.0, "2.1 kJ/m²"),
        (999.0, "1.0 kJ/m²"),
        (214.0, "210 J/m²"),
        (9.96, "10 J/m²"),
        (1.23, "1.2 J/m²"),
        (0.123, "0.12 J/m²"),
        (123_000.0, "120 kJ/m²"),
        (1_230_000.0, "1.2 MJ/m²"),
    ],
)
def test_doses_are_said_to_two_figures(dose, words):
    assert dose_words(dose) == words


@pytest.mark.parametrize(
    ("spread", "words"),
    [(0.26, "¼ stop"), (0.31, "⅓ stop"), (1.03, "1 stop"), (9.0, "4 stops"), (0.12, "⅛ stop")],
)
def test_spreads_are_said_in_the_fractions_that_printers_use(spread, words):
    assert spread_words(spread) == words


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_a_number_that_has_no_words_is_refused(value):
    with pytest.raises(OutOfDomain):
        dose_words(value)
    with pytest.raises(OutOfDomain):
        spread_words(value)


def test_lists_are_joined_as_in_a_sentence():
    assert joined([]) == ""
    assert joined(["a"]) == "a"
    assert joined(["a", "b"]) == "a and b"
    assert joined(["a", "b", "c"]) == "a, b and c"
