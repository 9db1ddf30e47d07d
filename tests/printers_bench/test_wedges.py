"""Step wedges: the dose under each step."""

import math

import pytest

from noonframe.bench.wedges import StepWedge, even_wedge, wedge_21, wedge_31
from noonframe.errors import OutOfDomain


@pytest.mark.reference
def test_a_step_of_the_21_step_table_is_half_a_stop():
    # 0.15 in density against log10(sqrt 2) = 0.1505: 10**0.15 = 1.4125, sqrt 2 = 1.4142 (arithmetic)
    doses = wedge_21(base_counted=True).doses_j_m2(1000.0)
    assert len(doses) == 21
    assert doses[0] == pytest.approx(1000.0)
    assert doses[0] / doses[1] == pytest.approx(1.4125, abs=0.00005)
    assert doses[0] / doses[1] == pytest.approx(math.sqrt(2.0), rel=0.003)
    assert doses[20] == pytest.approx(1000.0 / 10.0**3.0)  # nominally 0.05 to 3.05 (from memory)


@pytest.mark.reference
def test_a_step_of_the_31_step_table_is_a_third_of_a_stop():
    doses = wedge_31(base_counted=True).doses_j_m2(1000.0)
    assert len(doses) == 31
    assert doses[0] / doses[1] == pytest.approx(2.0 ** (1 / 3), rel=0.004)
    assert doses[30] == pytest.approx(1.0)


def test_the_base_dims_every_step_alike():
    # a maker of step tables gives 0.10 for the polyester base in the near ultraviolet
    bare, counted = wedge_21(), wedge_21(base_counted=True)
    ratios = [a / b for a, b in zip(bare.doses_j_m2(1e4), counted.doses_j_m2(1e4), strict=True)]
    assert ratios == pytest.approx([10.0**-0.10] * 21)


@pytest.mark.reference
@pytest.mark.parametrize(
    ("steps", "factor"),
    [(1, 1.41), (2, 2.00), (3, 2.82), (4, 4.00), (6, 8.00), (-1, 0.71), (-2, 0.50), (-6, 0.125)],
)
def test_moving_a_tone_by_steps_takes_the_handbook_factor(steps, factor):
    # table of 2**(steps/2) as step table handbooks give it; steps of 0.15 are 0.3 % short of half a stop each
    assert wedge_21().factor(10, 10 + steps) == pytest.approx(factor, rel=0.02)


def test_the_dose_for_a_step_passes_it():
    wedge = wedge_31()
    assert wedge.doses_j_m2(wedge.dose_for(7, 2500.0))[6] == pytest.approx(2500.0)


def test_the_tolerance_grows_from_clear_to_dense():
    # a maker of step tables: below 0.03 at the clear end, about 0.1 (a third of a stop) at the dense end
    wedge = wedge_21()
    assert wedge.tolerance_stops(1) == pytest.approx(0.03 / math.log10(2.0))
    assert wedge.tolerance_stops(21) == pytest.approx(1 / 3, abs=0.01)


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: StepWedge("own", (0.0, 0.2)), "step_density"),
        (lambda: StepWedge("own", (0.0, 0.2, 0.2)), "step_density[2]"),
        (lambda: StepWedge("own", (0.0, math.nan, 0.2)), "step_density[1]"),
        (lambda: StepWedge("own", (-0.1, 0.1, 0.2)), "step_density[0]"),
        (lambda: StepWedge("own", (0.0, 0.1, 0.2), base_density=math.nan), "base_density"),
        (lambda: even_wedge(2, 0.1, "own"), "step_count"),
        (lambda: even_wedge(10, 0.0, "own"), "increment"),
        (lambda: wedge_21().doses_j_m2(0.0), "dose_j_m2"),
        (lambda: wedge_21().dose_for(0, 100.0), "step"),
        (lambda: wedge_21().factor(1, 22), "step"),
    ],
)
def test_a_wedge_that_cannot_be_is_refused_by_field(make, field):
    with pytest.raises(OutOfDomain) as caught:
        make()
    assert caught.value.field == field
