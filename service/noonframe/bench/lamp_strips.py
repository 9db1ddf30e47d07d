"""A test strip under a lamp: its covers in closed form, warm-up included."""

from noonframe.bench.ladder import DoseLadder
from noonframe.bench.strips import Cover, StripPlan, StripProgress
from noonframe.dose.course import LONGEST_S, quantile_factor
from noonframe.dose.lamp_scene import LampScene
from noonframe.errors import OutOfDomain


def plan_lamp_strip(scene: LampScene, start_s: float, ladder: DoseLadder) -> StripPlan:
    """Clock times at which to cover each strip of a ladder begun at `start_s`, as `plan_strip` gives them."""
    return StripPlan(ladder, start_s, _covers(scene, start_s, ladder, 0.0, 0))


def follow_lamp_strip(
    scene: LampScene, now_s: float, ladder: DoseLadder, dose_j_m2: float, *, covered: int = 0
) -> StripProgress:
    """What is left of a strip at `now_s`; the scene's coldness is that of the lamp by now."""
    if not 0 <= covered <= ladder.count:
        raise OutOfDomain("covered", covered, f"between 0 and {ladder.count}, the number of strips")
    totals = list(enumerate(ladder.totals_j_m2, start=1))[covered:]
    overdue = tuple(number for number, total in totals if total <= dose_j_m2)
    first = covered + len(overdue)
    return StripProgress(now_s, dose_j_m2, overdue, _covers(scene, now_s, ladder, dose_j_m2, first))


def _covers(
    scene: LampScene, start_s: float, ladder: DoseLadder, dose_j_m2: float, first: int
) -> tuple[Cover, ...]:
    factor = quantile_factor(scene.light_spread_stops)
    covers = []
    last_s: float | None = start_s
    strips = list(zip(ladder.totals_j_m2, ladder.additions_j_m2, strict=True))
    for number, (total, added) in list(enumerate(strips, start=1))[first:]:
        missing = total - dose_j_m2
        at_s, early_s, late_s = (
            _when(scene, start_s, dose) for dose in (missing, missing / factor, missing * factor)
        )
        gap_s = None if at_s is None or last_s is None else at_s - last_s
        covers.append(Cover(number, total, added, at_s, early_s, late_s, gap_s))
        last_s = at_s
    return tuple(covers)


def _when(scene: LampScene, start_s: float, dose_j_m2: float) -> float | None:
    length_s = scene.time_s(dose_j_m2, scene.coldness)
    return None if length_s > LONGEST_S else start_s + length_s
