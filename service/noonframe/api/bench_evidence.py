"""From what a printer tells of a strip, a wedge or a print to the bench's evidence."""

import datetime as dt
import math
from dataclasses import dataclass
from typing import Any

from noonframe.api.bench_bodies import EvidenceBody, Surroundings
from noonframe.api.bench_curve import fitted_curve
from noonframe.api.bench_names import named
from noonframe.api.bench_runs import RunLight
from noonframe.api.bench_wedge import wedge_of
from noonframe.api.inputs_bench import ReadingsBody
from noonframe.bench.evidence import Circumstances, Conditions, Evidence, EvidenceKind
from noonframe.bench.formulas import coating_book
from noonframe.bench.judgement import Judgement
from noonframe.bench.ladder import DoseLadder
from noonframe.bench.reading import NOT_READ, READING_SPREAD_STOPS, judged_print, read_doses, read_wedge
from noonframe.errors import OutOfDomain

GIVEN_DOSE_SPREAD_STOPS = 0.2
"""One standard deviation of a dose that was written down and not followed (common practice, no source)."""

LADDER_AGREES_STOPS = 0.2
"""A followed strip's last dose and what its run gathered may differ by this; more, and the covers' times are
needed (our own; no source)."""

FAST_CLOCK_S = 120.0
"""A teller's clock may be so much ahead."""

_ONLY = {
    "strip": ("ladder", "doses_j_m2", "covered_at", "first_full", "first_toned"),
    "wedge": ("wedge", "last_full", "last_toned", "densities"),
    "print": ("judgement", "judgement_stops"),
}


@dataclass(frozen=True)
class Reading:
    """Evidence, and what was told to make it."""

    evidence: Evidence
    told: dict[str, Any]


def conditions_of(body: Surroundings) -> Conditions:
    """The conditions a request writes down."""
    return Conditions(body.coat_age_h, body.relative_humidity_percent, body.air_temperature_c)


def read_evidence(body: EvidenceBody, sensitizer: str, run: RunLight | None) -> Reading:
    """The evidence a request tells, with the run's light where it names one."""
    _refuse_others(body)
    circumstances = _circumstances(body, run)
    told = body.model_dump(mode="json", exclude_unset=True, exclude={"kind", "run_id", "recipe_version"})
    if body.kind == "strip":
        evidence = _strip(body, sensitizer, circumstances, run)
        told["doses_j_m2"] = list(_strip_doses(body, run))
    elif body.kind == "wedge":
        told["dose_j_m2"] = dose = _dose(body, run)
        evidence = _wedge(body, sensitizer, circumstances, dose)
        if body.densities is not None:  # a curve that cannot be fitted is told now, not when it is wanted
            fitted_curve(ReadingsBody(densities=body.densities, wedge=body.wedge, dose_j_m2=dose))
    else:
        told["dose_j_m2"] = dose = _dose(body, run)
        with named():
            evidence = judged_print(dose, judgement_of(body.judgement, body.judgement_stops), circumstances)
    return Reading(evidence, told)


def check_past(made_at_s: float, now_s: float) -> None:
    """Refuse an exposure that is still to come."""
    if made_at_s > now_s + FAST_CLOCK_S:
        when = dt.datetime.fromtimestamp(made_at_s, dt.UTC).isoformat()
        raise OutOfDomain("made_at", when, "in the past")


def judgement_of(words: str | None, stops: float | None) -> Judgement | float:
    """A judgement in words or in stops; exactly one of them."""
    if words is not None and stops is not None:
        raise OutOfDomain("judgement_stops", stops, "left out when a judgement is given in words")
    if words is not None:
        return Judgement.from_text(words)
    if stops is None:
        raise OutOfDomain("judgement", None, "given, or else judgement_stops")
    return stops


def _refuse_others(body: EvidenceBody) -> None:
    for kind, names in _ONLY.items():
        for name in names:
            if kind != body.kind and getattr(body, name) is not None:
                raise OutOfDomain(name, None, f"left out for a {body.kind}")


def _circumstances(body: EvidenceBody, run: RunLight | None) -> Circumstances:
    conditions = conditions_of(body)
    if run is None:
        spread = body.dose_spread_stops
        return Circumstances(GIVEN_DOSE_SPREAD_STOPS if spread is None else spread, conditions)
    for name in ("dose_j_m2", "dose_spread_stops"):
        if getattr(body, name) is not None:
            raise OutOfDomain(name, getattr(body, name), "left out when run_id is given: the run knows it")
    return run.circumstances(conditions)


def _dose(body: EvidenceBody, run: RunLight | None) -> float:
    if run is not None:
        return run.dose_j_m2
    if body.dose_j_m2 is None:
        raise OutOfDomain("dose_j_m2", None, "given, or else run_id")
    return body.dose_j_m2


def _strip_doses(body: EvidenceBody, run: RunLight | None) -> tuple[float, ...]:
    forms = [name for name in ("ladder", "doses_j_m2", "covered_at") if getattr(body, name) is not None]
    if len(forms) != 1:
        limit = "given; or else doses_j_m2, or covered_at with a run; one of the three"
        raise OutOfDomain("ladder" if not forms else forms[1], None, limit)
    if body.dose_j_m2 is not None:
        raise OutOfDomain("dose_j_m2", body.dose_j_m2, "left out for a strip: it has several")
    if body.covered_at is not None:
        if run is None:
            raise OutOfDomain("covered_at", None, "left out without run_id: only a run knows its doses")
        return run.doses_j_m2
    if body.doses_j_m2 is not None:
        return tuple(body.doses_j_m2)
    assert body.ladder is not None
    with named(prefix="ladder."):
        ladder = DoseLadder(body.ladder.first_j_m2, body.ladder.step_stops, body.ladder.strip_count)
    last = ladder.totals_j_m2[-1]
    if run is not None and abs(math.log2(run.dose_j_m2 / last)) > LADDER_AGREES_STOPS:
        limit = (
            f"that of the run, which gathered {run.dose_j_m2:.0f} J/m2 and not the {last:.0f} of the last "
            "strip: give covered_at, when each strip was covered"
        )
        raise OutOfDomain("ladder", None, limit)
    return ladder.totals_j_m2


def _strip(
    body: EvidenceBody, sensitizer: str, circumstances: Circumstances, run: RunLight | None
) -> Evidence:
    doses = _strip_doses(body, run)
    names = {"doses_j_m2": "covered_at"} if body.covered_at is not None else {}
    with named(names):
        return read_doses(
            EvidenceKind.STRIP,
            doses,
            _step(body.first_full),
            circumstances,
            first_toned=_step(body.first_toned),
            tone_scale=coating_book().tone_scale(sensitizer),
            spreads_stops=(READING_SPREAD_STOPS,) * len(doses),
        )


def _wedge(body: EvidenceBody, sensitizer: str, circumstances: Circumstances, dose_j_m2: float) -> Evidence:
    wedge = wedge_of(body.wedge)
    with named():
        return read_wedge(
            wedge,
            dose_j_m2,
            _step(body.last_full),
            circumstances,
            last_toned=_step(body.last_toned),
            tone_scale=coating_book().tone_scale(sensitizer),
        )


def _step(told: "int | str | None") -> int | None:
    """A step as the bench has it: `none` of them, or not looked at where nothing is told."""
    if told is None:
        return NOT_READ
    return None if isinstance(told, str) else told
