"""Strips, wedges and finished prints as people read them, turned into evidence.

A strip or wedge pins the target between two neighbouring steps; a judgement is a dose error seen by eye.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

from noonframe.bench.evidence import Circumstances, Evidence, EvidenceKind, Reading, ToneScale
from noonframe.bench.judgement import Judgement, judgement_band_stops
from noonframe.bench.ladder import LEAST_DOSE_J_M2, MOST_DOSE_J_M2, DoseLadder
from noonframe.bench.wedges import StepWedge
from noonframe.errors import OutOfDomain

READING_SPREAD_STOPS = 0.1
"""How finely the eye places the first step of full density (common practice, no source)."""

JUDGEMENT_SPREAD_STOPS = 0.25
"""How finely a printer judges the dose error of a finished print (common practice, no source)."""

NUMBER_SPREAD_STOPS = 0.3
"""The same where the printer gives a number of stops (common practice, no source)."""

CAREFUL_BLUNDER_SHARE = 0.02
PRINT_BLUNDER_SHARE = 0.05
"""Share of strips and wedges, and of finished prints, that tell nothing true: another negative, a cloud not
written down, a wash cut short (common practice, no source)."""

NOT_READ = 0
"""In place of a step: nobody looked."""


def read_strip(
    ladder: DoseLadder,
    first_full: int | None,
    circumstances: Circumstances,
    *,
    first_toned: int | None = NOT_READ,
    tone_scale: ToneScale | None = None,
    reading_spread_stops: float = READING_SPREAD_STOPS,
) -> Evidence:
    """A test strip: `first_full` is the least exposed strip of full density, None when none is.

    `first_toned` is the least exposed strip with any tone, None when all are blank.  Either may be
    `NOT_READ`.  Tone is used only with a `tone_scale`, which says how far below full density it begins.
    """
    return read_doses(
        EvidenceKind.STRIP,
        ladder.totals_j_m2,
        first_full,
        circumstances,
        first_toned=first_toned,
        tone_scale=tone_scale,
        spreads_stops=(reading_spread_stops,) * ladder.count,
    )


def read_wedge(
    wedge: StepWedge,
    dose_j_m2: float,
    last_full: int | None,
    circumstances: Circumstances,
    *,
    last_toned: int | None = NOT_READ,
    tone_scale: ToneScale | None = None,
    reading_spread_stops: float = READING_SPREAD_STOPS,
) -> Evidence:
    """A step wedge exposed once to `dose_j_m2` (on the wedge, not under it).

    Steps count from 1, the clearest: `last_full` is the densest step under which the print has full density,
    `last_toned` the densest with any tone; None when no step has.  The wedge's tolerance widens the reading.
    """
    wedge_step = {step: wedge.count + 1 - step for step in range(1, wedge.count + 1)}
    for name, step in (("last_full", last_full), ("last_toned", last_toned)):
        if step is not None and step != NOT_READ and step not in wedge_step:
            raise OutOfDomain(name, step, f"between 1 and {wedge.count}, counted from the clear end")
    spreads = [math.hypot(reading_spread_stops, wedge.tolerance_stops(step)) for step in wedge_step]
    return read_doses(
        EvidenceKind.WEDGE,
        wedge.doses_j_m2(dose_j_m2)[::-1],
        wedge_step.get(last_full, last_full) if last_full is not None else None,
        circumstances,
        first_toned=wedge_step.get(last_toned, last_toned) if last_toned is not None else None,
        tone_scale=tone_scale,
        spreads_stops=spreads[::-1],
        names=("last_full", "last_toned"),
    )


def read_doses(
    kind: EvidenceKind,
    doses_j_m2: Sequence[float],
    first_full: int | None,
    circumstances: Circumstances,
    *,
    first_toned: int | None = NOT_READ,
    tone_scale: ToneScale | None = None,
    spreads_stops: Sequence[float],
    names: tuple[str, str] = ("first_full", "first_toned"),
) -> Evidence:
    """Any set of rising doses, read like a test strip; `doses_j_m2` may be those that really fell.

    `spreads_stops` is the spread of a reading at each dose.
    """
    for name, step in zip(names, (first_full, first_toned), strict=True):
        if step is not None and step != NOT_READ and not 1 <= step <= len(doses_j_m2):
            raise OutOfDomain(name, step, f"between 1 and {len(doses_j_m2)}")
    if any(b <= a for a, b in pairwise(doses_j_m2)):
        raise OutOfDomain("doses_j_m2", list(doses_j_m2), "rising from strip to strip")
    beyond = len(doses_j_m2) + 1
    full_at = beyond if first_full is None else first_full
    toned_at = beyond if first_toned is None else first_toned
    if NOT_READ not in (first_full, first_toned) and toned_at > full_at:
        raise OutOfDomain(names[1], first_toned, "a step of no more dose than the one of full density")
    readings = []
    if first_full != NOT_READ:
        low, high = _between(doses_j_m2, full_at)
        readings.append(Reading(low, high, _spread_at(spreads_stops, full_at)))
    if first_toned != NOT_READ and tone_scale is not None:
        factor = 2.0**tone_scale.stops
        low, high = (None if dose is None else dose * factor for dose in _between(doses_j_m2, toned_at))
        spread_stops = math.hypot(_spread_at(spreads_stops, toned_at), tone_scale.spread_stops)
        readings.append(Reading(low, high, spread_stops))
    if not readings:
        raise OutOfDomain(names[0], first_full, "read, or tone read with a tone scale")
    return circumstances.evidence(kind, tuple(readings), CAREFUL_BLUNDER_SHARE)


def _between(doses_j_m2: Sequence[float], first: int) -> tuple[float | None, float | None]:
    low = None if first == 1 else doses_j_m2[first - 2]
    high = None if first > len(doses_j_m2) else doses_j_m2[first - 1]
    return low, high


def _spread_at(spreads_stops: Sequence[float], first: int) -> float:
    return spreads_stops[min(first, len(spreads_stops)) - 1]


def judged_print(
    dose_j_m2: float,
    judgement: Judgement | float,
    circumstances: Circumstances,
    *,
    judgement_spread_stops: float | None = None,
) -> Evidence:
    """A finished print that had `dose_j_m2`, in words or in stops (above 0: too dark, by that much dose).

    One print that came out right is a calibration: the target is its dose, give or take a third of a stop
    and the light.
    """
    if not (math.isfinite(dose_j_m2) and LEAST_DOSE_J_M2 <= dose_j_m2 <= MOST_DOSE_J_M2):
        limit = f"between {LEAST_DOSE_J_M2} and {MOST_DOSE_J_M2:.0f} J/m2"
        raise OutOfDomain("dose_j_m2", dose_j_m2, limit)
    if isinstance(judgement, Judgement):
        lightest, darkest = judgement_band_stops(judgement)
        default = JUDGEMENT_SPREAD_STOPS
    elif not -6.0 <= judgement <= 6.0:
        raise OutOfDomain("judgement_stops", judgement, "between -6 and 6 stops")
    else:
        lightest = darkest = float(judgement)
        default = NUMBER_SPREAD_STOPS
    # the darker a print came out, the lower the target lies below its dose
    low = None if darkest == math.inf else dose_j_m2 / 2.0**darkest
    high = None if lightest == -math.inf else dose_j_m2 / 2.0**lightest
    spread = default if judgement_spread_stops is None else judgement_spread_stops
    return circumstances.evidence(EvidenceKind.PRINT, (Reading(low, high, spread),), PRINT_BLUNDER_SHARE)
