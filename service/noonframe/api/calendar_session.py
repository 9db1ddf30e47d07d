"""A session's plan as calendar entries: a step keeps its identity when the day is planned anew."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from noonframe.api.calendar_entries import Alarm, Entry, Status
from noonframe.errors import Malformed

SHOWN = ("expose", "move", "wash", "break")
"""Kinds of steps that become entries; loading and taking in are told by the alarms of the exposure."""

_CATEGORIES = {"expose": "exposure", "move": "move", "wash": "washing", "break": "break"}


class _Loose(BaseModel):
    model_config = ConfigDict(extra="ignore", frozen=True)


class PlanStep(_Loose):
    """What a calendar takes of a plan's step."""

    id: str
    kind: str
    sheet_id: str | None = None
    sheet: str | None = None
    frame: str | None = None
    spot: str | None = None
    start: dt.datetime
    end: dt.datetime
    hands: bool = False
    state: Literal["done", "running", "planned"] = "planned"
    chance: float | None = None
    says: str


class _PlanPlace(_Loose):
    place: str
    latitude_deg: float
    longitude_deg: float
    time_zone: str


class SessionPlan(_Loose):
    """What a calendar takes of a plan."""

    steps: tuple[PlanStep, ...]
    cautions: tuple[str, ...] = ()
    summary: str = ""
    basis: _PlanPlace | None = None


def read_plan(plan: Mapping[str, Any]) -> SessionPlan:
    """A saved plan; raises `Malformed` for one that came from elsewhere and is none."""
    try:
        found = SessionPlan.model_validate(dict(plan))
    except ValidationError as problem:
        fault = problem.errors(include_url=False)[0]
        where = ".".join(str(part) for part in fault["loc"])
        raise Malformed("session", where, f"a session whose plan can be read ({fault['msg']})") from None
    for step in found.steps:
        if step.start.tzinfo is None or step.end.tzinfo is None or step.end < step.start:
            raise Malformed(
                "session", step.id, "a session whose steps end after they begin, in times with an offset"
            )
    return found


def session_entries(
    session: str,
    plan: SessionPlan,
    *,
    revised_s: float,
    before: Sequence[SessionPlan] = (),
    called_off: bool = False,
) -> tuple[Entry, ...]:
    """The steps of a plan as entries, and as cancelled ones those of earlier plans that it has no more.

    `session` identifies the session; `before` holds earlier plans of it, newest first; a session that was
    `called_off` has every step cancelled.  Exposures and breaks leave the hands free; moves and washing take
    them.
    """
    shown = [step for step in plan.steps if step.kind in SHOWN]
    entries = [
        _entry(session, plan, step, revised_s, cancelled=called_off and step.state != "done")
        for step in shown
    ]
    known = {step.id for step in shown}
    for older in before:
        for step in older.steps:
            if step.kind in SHOWN and step.id not in known:
                known.add(step.id)
                entries.append(_entry(session, older, step, revised_s, cancelled=True))
    return tuple(entries)


def _entry(session: str, plan: SessionPlan, step: PlanStep, revised_s: float, *, cancelled: bool) -> Entry:
    start_s, end_s = step.start.timestamp(), step.end.timestamp()
    firm = step.state in ("done", "running")
    status = Status.CANCELLED if cancelled else Status.CONFIRMED if firm else Status.TENTATIVE
    place = plan.basis
    where = ", ".join(part for part in (step.spot, None if place is None else place.place) if part)
    return Entry(
        identity=f"session|{session}|{step.id}",
        start_s=start_s,
        end_s=end_s,
        title=_title(step),
        text="\n".join(_lines(plan, step, cancelled=cancelled)),
        status=status,
        revised_s=revised_s,
        busy=step.hands and not cancelled,
        where=where or None,
        position=None if place is None else (place.latitude_deg, place.longitude_deg),
        alarms=() if cancelled or step.state == "done" else _alarms(plan, step),
        categories=("sun print", _CATEGORIES[step.kind]),
    )


def _title(step: PlanStep) -> str:
    what = step.sheet or "session"
    match step.kind:
        case "expose":
            return f"{what}: in the light" + (f", {step.frame}" if step.frame else "")
        case "move":
            return f"{what}: move" + (f" {step.frame}" if step.frame else "")
        case "wash":
            return f"{what}: wash"
        case _:
            return "Break"


def _alarms(plan: SessionPlan, step: PlanStep) -> tuple[Alarm, ...]:
    """At the loading before an exposure and at its end; at a move and a wash; a break wants none."""
    if step.kind == "expose":
        take_in = Alarm(
            0.0, f"Take in {step.sheet}" + (f", {step.frame}." if step.frame else "."), from_end=True
        )
        load = next((one for one in plan.steps if one.kind == "load" and one.sheet_id == step.sheet_id), None)
        if step.state == "running" or load is None:
            return (take_in,)
        return (Alarm((load.start - step.start).total_seconds(), load.says), take_in)
    return () if step.kind == "break" else (Alarm(0.0, step.says),)


def _lines(plan: SessionPlan, step: PlanStep, *, cancelled: bool) -> list[str]:
    lines = ["No longer planned.", step.says] if cancelled else [step.says]
    if step.chance is not None and not cancelled and step.state != "done":
        lines.append(f"In {100.0 * step.chance:.0f} of 100 skies the dose is there by then.")
    if step.kind in ("expose", "move") and not cancelled:
        lines += [f"Caution: {caution}" for caution in plan.cautions]
    return lines
