"""Scenes and events that the tests of running exposures share; holds no test itself."""

import datetime as dt
import uuid
from dataclasses import dataclass
from functools import cache
from itertools import count
from types import SimpleNamespace

import numpy as np

from noonframe.dose.live_events import (
    Covered,
    Discarded,
    Finished,
    MeterRead,
    Moved,
    SkySeen,
    Started,
    TargetChanged,
    Uncovered,
)
from noonframe.dose.scene import Scene, Target
from noonframe.sky.assume import assume_sky
from noonframe.spot.plane import OpenSpot
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import DEFAULT_SENSITIZER, find_sensitizer
from noonframe.sun.place import Place

PORTO = Place(41.15, -8.61, 80.0)
DAY = dt.date(2026, 6, 21)
NOON_S = dt.datetime(2026, 6, 21, 12, tzinfo=dt.UTC).timestamp()
SUN_W_M2 = 40.0
HALVING_DEPTH = 10.0
"""Of the even scene; also one of the depths between which light under a forecast is interpolated."""

_CLASSES = {
    "started": Started,
    "covered": Covered,
    "uncovered": Uncovered,
    "sky": SkySeen,
    "moved": Moved,
    "meter": MeterRead,
    "target": TargetChanged,
    "finished": Finished,
    "discarded": Discarded,
}
_numbers = count(1)


@dataclass(frozen=True)
class EvenScene(Scene):
    """A sun that neither moves nor sets: 40 W/m2, and 1/(1 + depth/10) of that under cloud."""

    def rate(self, unix_s):
        share = sum(
            part.probability / (1.0 + part.optical_depth / HALVING_DEPTH) for part in self.sky.state.cloud
        )
        return np.full(unix_s.size, SUN_W_M2 * share)

    def light(self, unix_s):
        return SimpleNamespace(uva_w_m2=self.rate(unix_s), blue_w_m2=self.rate(unix_s))


@cache
def scene(*, even=False, spot=None, sky=None, stack="none", depth=None):
    kind = EvenScene if even else Scene
    coat = find_sensitizer(DEFAULT_SENSITIZER)
    assumed = assume_sky(PORTO, DAY, sky=sky, cloud_optical_depth=depth)
    return kind(PORTO, assumed, spot or OpenSpot(), parse_stack(stack), coat, 0.04)


def target(target_j_m2=24_000.0, spread_stops=0.0):
    return Target(target_j_m2, spread_stops, "given")


def event(kind, after_s, **values):
    """An event so long after noon, told after all those made before it."""
    number = next(_numbers)
    return _CLASSES[kind](event_id=uuid.UUID(int=number), sequence=number, at_s=NOON_S + after_s, **values)


def reading(after_s, ratio, reference_s, relative_uncertainty=0.05, quantity="uv"):
    return event(
        "meter",
        after_s,
        quantity=quantity,
        ratio=ratio,
        reference_s=NOON_S + reference_s,
        relative_uncertainty=relative_uncertainty,
    )
