"""The light of a followed exposure that has ended: what evidence and prints are made of."""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from uuid import UUID

from noonframe.api.lamp_outputs import LampBasis
from noonframe.api.outputs import Basis
from noonframe.api.outputs_runs import RunAnswer
from noonframe.api.runs import RunDesk
from noonframe.api.runs_told import ENDED
from noonframe.bench.evidence import Circumstances, Conditions
from noonframe.dose.lamp_scene import LampScene
from noonframe.dose.live_run import common_spread_stops
from noonframe.dose.scene import Scene
from noonframe.errors import OutOfDomain, UnknownName
from noonframe.sky.assume import AEROSOL_SPREAD_STOPS

if TYPE_CHECKING:
    from noonframe.store.exposures import Exposure

LAMP_OWN_SPREAD_STOPS = 0.05
"""What mains voltage and the lamp's temperature change from one exposure to the next: common practice,
no source."""

_NO_LIGHT = "an exposure that gathered light"


@dataclass(frozen=True)
class RunLight:
    """What a run gathered.

    `light_spread_stops` is the part of the dose's spread that another exposure does not share;
    `shared_spread_stops` what all exposures of one `occasion` (a day, at a place) have in common: the haze of
    the day, unless it was given.  What every exposure shares (model, glass) is in neither: it goes into the
    target, and comes out again when the next exposure is asked for.
    """

    run_id: UUID
    name: str
    start_s: float
    stopped_s: float
    dose_j_m2: float
    dose_spread_stops: float
    light_spread_stops: float
    shared_spread_stops: float
    occasion: str
    doses_j_m2: tuple[float, ...]
    recipe: str | None
    recipe_version: int | None
    spot: dict[str, Any]
    record: dict[str, Any]

    def circumstances(self, conditions: Conditions) -> Circumstances:
        """What surrounded it."""
        return Circumstances(self.light_spread_stops, conditions, self.occasion, self.shared_spread_stops)


def run_light(desk: RunDesk, run_id: UUID, now_s: float, moments_s: Sequence[float] = ()) -> RunLight:
    """The light of an ended run, and the dose it had at each of some moments within it.

    Raises `UnknownName` or `OutOfDomain` on `run_id` for a run that there is not, has not ended, or had no
    light, and `OutOfDomain` on `covered_at.<n>` for a moment outside it.
    """
    from noonframe.store import exposures, light_records

    with desk.records.open().read() as db:
        try:
            row = exposures.get(db, run_id)
        except UnknownName as problem:
            raise _unknown(problem) from None
        course = light_records.get(db, run_id)
    run, scene, zone = desk.with_scene(run_id, now_s)
    if run.status not in ENDED:
        limit = f"a run that has ended; this one is {run.status}: tell it `finished` first"
        raise OutOfDomain("run_id", str(run_id), limit)
    if run.start is None or run.stopped is None or not run.dose_j_m2 > 0.0:
        raise OutOfDomain("run_id", str(run_id), _NO_LIGHT)
    start_s, stopped_s = (dt.datetime.fromisoformat(text).timestamp() for text in (run.start, run.stopped))
    for number, moment_s in enumerate(moments_s):
        if not start_s < moment_s <= stopped_s + 0.001:
            limit = f"within the run, from {run.start} to {run.stopped}"
            raise OutOfDomain(f"covered_at.{number}", moment_s, limit)
    doses = desk.doses_at(run_id, [min(at_s, stopped_s) for at_s in moments_s]) if moments_s else ()
    shares = _shares(run, scene, dt.datetime.fromtimestamp(start_s, zone).date())
    return RunLight(
        run_id=run_id,
        name=run.name,
        start_s=start_s,
        stopped_s=stopped_s,
        dose_j_m2=run.dose_j_m2,
        dose_spread_stops=run.dose_spread_stops,
        light_spread_stops=round(shares.own_stops, 4),
        shared_spread_stops=round(shares.shared_stops, 4),
        occasion=shares.occasion,
        doses_j_m2=doses,
        recipe=row.scene.get("recipe"),
        recipe_version=row.scene.get("recipe_version"),
        spot=_spot(row, run),
        record=_record(run, course),
    )


@dataclass(frozen=True)
class _Shares:
    """How a run's spread divides: its own, and what it shares with the runs of one occasion."""

    own_stops: float
    shared_stops: float
    occasion: str


def _shares(run: RunAnswer, scene: Scene | LampScene, day: dt.date) -> _Shares:
    basis = run.basis
    if isinstance(scene, LampScene) or isinstance(basis, LampBasis):
        # whatever is wrong with the lamp is wrong in all prints under it, but not in those in the sun
        return _Shares(LAMP_OWN_SPREAD_STOPS, run.dose_spread_stops, f"lamp {basis_lamp(basis)}")
    common = common_spread_stops(scene)
    own = math.sqrt(max(run.dose_spread_stops**2 - common**2, 0.0))
    if dict(scene.sky.sources).get("aerosol_optical_depth") == "given":
        return _Shares(own, 0.0, "")
    where = f"{basis.latitude_deg:.1f},{basis.longitude_deg:.1f} {day.isoformat()}"
    return _Shares(own, AEROSOL_SPREAD_STOPS, where)


def basis_lamp(basis: Basis | LampBasis) -> str:
    """The lamp that a basis tells of."""
    return basis.lamp if isinstance(basis, LampBasis) else ""


def _spot(row: "Exposure", run: RunAnswer) -> dict[str, Any]:
    basis = run.basis
    if isinstance(basis, LampBasis):
        return {"says": f"under a lamp, {basis.lamp}", "saved_spot": None, "spot": None, "place": None}
    return {
        "says": basis.spot,
        "saved_spot": row.scene.get("saved_spot"),
        "spot": row.scene.get("spot"),
        "place": basis.place,
        "latitude_deg": basis.latitude_deg,
        "longitude_deg": basis.longitude_deg,
        "elevation_m": basis.elevation_m,
        "time_zone": basis.time_zone,
    }


def _record(run: RunAnswer, course: Any) -> dict[str, Any]:
    return {
        "start": run.start,
        "stopped": run.stopped,
        "dose_low_j_m2": run.dose_low_j_m2,
        "dose_high_j_m2": run.dose_high_j_m2,
        "told": run.last_sequence,
        "basis": run.basis.model_dump(mode="json"),
        "course": None if course is None else dict(course),
    }


def followed(desk: RunDesk, run_id: UUID, now_s: float) -> tuple[RunAnswer, Scene | LampScene, dt.tzinfo]:
    """A run now, the scene where its frame lies or its lamp, and the zone of its times."""
    try:
        return desk.with_scene(run_id, now_s)
    except UnknownName as problem:
        raise _unknown(problem) from None


def _unknown(problem: UnknownName) -> UnknownName:
    """No such run, for a request that names it in its body and not in its address."""
    if problem.field != "exposure_id":
        return problem
    return UnknownName("run_id", problem.value, "the id of a run")
