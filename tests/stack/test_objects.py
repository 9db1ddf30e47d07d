"""What lies on the sheet, and the clearest part of a negative."""

import numpy as np
import pytest

from noonframe.datafiles import data_folder
from noonframe.errors import OutOfDomain
from noonframe.stack.materials import find_material, parse_stack
from noonframe.stack.objects import negative_layer, object_shadow, shipped_objects
from noonframe.stack.sheets import Stack

OBJECTS = tuple(shipped_objects(data_folder()))
EVEN = np.ones(41)


@pytest.mark.parametrize("identity", OBJECTS)
def test_an_object_scatters_and_says_how_little_is_known_of_it(identity):
    material = find_material(identity)
    assert material.kind == "object"
    assert material.provenance == "common practice, no source"
    stack = parse_stack(identity)
    beam = stack.beam_transmittance(np.array([0.0, 60.0, 89.0]))
    assert np.all(beam == material.transmittance)
    assert stack.diffuse_transmittance == pytest.approx(material.transmittance)
    assert stack.spread_stops(EVEN) > 0.3


def test_a_leaf_prints_three_to_five_stops_less():
    shadow = object_shadow(find_material("leaf"), EVEN)  # common practice, no source
    assert shadow.low_stops == pytest.approx(3.06, abs=0.01)
    assert shadow.stops == pytest.approx(4.06, abs=0.01)
    assert shadow.high_stops == pytest.approx(5.06, abs=0.01)
    assert shadow.says == "prints pale"


def test_a_density_is_a_factor_of_ten_to_its_power_at_every_angle():
    frame = parse_stack("float-glass-4mm,polyester-film")
    layered = Stack((*frame.materials, negative_layer(0.15, 0.03, False)))
    assert layered.normal_transmittance == pytest.approx(frame.normal_transmittance * 10**-0.15)
    assert layered.diffuse_transmittance == pytest.approx(frame.diffuse_transmittance * 10**-0.15)


def test_the_spread_of_a_density_reaches_the_stack():
    layer = Stack((negative_layer(0.3, 0.1, False),))
    assert layer.spread_stops(EVEN) == pytest.approx(0.1 * np.log2(10.0), rel=0.15)
    assert Stack((negative_layer(0.3, 0.0, False),)).spread_stops(EVEN) == 0.0


@pytest.mark.parametrize(("density", "spread"), [(-0.1, 0.0), (4.1, 0.0), (float("nan"), 0.0), (0.1, 1.5)])
def test_bad_densities_are_refused(density, spread):
    with pytest.raises(OutOfDomain, match="negative_density"):
        negative_layer(density, spread, False)
