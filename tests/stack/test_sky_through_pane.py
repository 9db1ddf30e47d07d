"""The sky through a window's pane: the quick ways against the plain ones."""

from dataclasses import replace

import numpy as np
import pytest

from noonframe.spot.indoors import WindowSpot, sheet_view, sheets_view
from noonframe.spot.sheet import Frame
from noonframe.spot.sky_view import sky_nodes
from noonframe.spot.skyline import Skyline
from noonframe.spot.window import Window
from noonframe.stack.indoors import sky_through_pane

LEVEL = np.array([0.0, 0.0, 1.0])
WINDOW = Window(135.0, 1.2, 0.1, 1.5, 0.2, 0.1, "float-glass-4mm")
SPOT = WindowSpot(WINDOW, Frame(0.6, 0.1, 0.3, 0.4))


def fades(cosine):
    """A pane that fades as steeply toward grazing as any glass does."""
    return 1.0 - (1.0 - cosine) ** 5


def test_the_ratio_is_read_linearly_between_its_steps():
    view = sheet_view(SPOT)
    steps = np.linspace(0.0, 1.0, 7)
    row = np.random.default_rng(1).uniform(0.2, 1.0, 7)
    plain = np.sum(view.node_weight * np.interp(view.pane_cosine, steps, row), axis=1)
    assert sky_through_pane(view, row.tobytes()) == pytest.approx(plain, rel=1e-12)
    assert sky_through_pane(view, np.ones(7).tobytes()) == pytest.approx(
        view.node_weight.sum(axis=1), rel=1e-12
    )


@pytest.mark.parametrize("distance_m", [0.0, 0.02, 0.3, 1.0, 3.0])
def test_a_level_sheet_has_the_same_sky_by_few_columns_as_by_many_chosen_ones(distance_m):
    """A skyline below the horizontal hides nothing, and sends the work the other way."""
    points = np.column_stack([np.linspace(-1.0, 1.0, 9), np.full(9, distance_m), np.zeros(9)])
    few = sky_nodes(points, LEVEL, WINDOW)
    beneath = replace(WINDOW, skyline=Skyline((0.0,), (-5.0,)))
    many = sky_nodes(points, LEVEL, beneath, columns=60, rows=8)
    seen = [(nodes.weight * fades(nodes.pane_cosine)).sum(axis=1) for nodes in (few, many)]
    # Within 2e-3, as `sky_nodes` says.
    assert seen[0] == pytest.approx(seen[1], abs=2e-3)
    assert few.weight.sum(axis=1) == pytest.approx(many.weight.sum(axis=1), abs=1e-3)


def test_several_places_at_once_see_what_each_sees():
    places = tuple(
        WindowSpot(WINDOW, Frame(distance, offset, 0.3, 0.4))
        for distance in (0.2, 0.7, 1.1)
        for offset in (-0.6, 0.0, 0.4)
    )
    together = sheets_view(places)
    apart = [sheet_view(place) for place in places]
    for name in ("points", "weights", "sky", "ground", "node_weight", "pane_cosine"):
        expected = np.concatenate([getattr(view, name) for view in apart])
        assert getattr(together, name) == pytest.approx(expected, abs=1e-12)
