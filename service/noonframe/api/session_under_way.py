"""A session that has begun, read from what was planned and what was told since."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import NormalDist
from typing import Any

import numpy as np
from pydantic import TypeAdapter, ValidationError

from noonframe.api.session_answers import SessionPlanAnswer, SessionSheet
from noonframe.api.session_ask import Understood, Wanted
from noonframe.api.session_bodies import (
    AddedEvent,
    BreakEvent,
    CloudEvent,
    DoseEvent,
    DroppedEvent,
    EndedEvent,
    SessionEvent,
    SessionSheetBody,
    StartedEvent,
)
from noonframe.bench.session import Running, Washing
from noonframe.bench.session_grid import frame_names
from noonframe.bench.session_light import ToldSky
from noonframe.bench.session_moves import Spot, course_along
from noonframe.bench.session_replan import Event, SheetState, State, end_of_running, follow
from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.sky.words import CloudPart, find_sky_word
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import Aim

_EVENTS: TypeAdapter[list[SessionEvent]] = TypeAdapter(list[SessionEvent])
_SHEET_EVENTS = (StartedEvent, EndedEvent, DoseEvent, DroppedEvent)
_USUAL_CLOUD = "overcast"


@dataclass(frozen=True, eq=False)
class UnderWay:
    """What is under way in a session, by sheet id what was planned for it before, and what to say of it."""

    running: tuple[Running, ...] = ()
    washing: tuple[Washing, ...] = ()
    states: Mapping[str, SheetState] = field(default_factory=dict)
    breaks: tuple[tuple[float, float, str], ...] = ()
    before: Mapping[str, SessionSheet] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def read_events(saved: Sequence[Mapping[str, Any]]) -> list[SessionEvent]:
    """Events as they were kept."""
    import json

    try:
        return _EVENTS.validate_json(json.dumps([dict(each) for each in saved]))
    except ValidationError as problem:
        fault = problem.errors(include_url=False)[0]
        raise Malformed("events", None, f"events that can be read ({fault['msg']})") from None


def event_text(event: SessionEvent) -> dict[str, Any]:
    """An event as it is kept."""
    return event.model_dump(mode="json", exclude_none=True)


def added_sheets(events: Sequence[SessionEvent]) -> list[SessionSheetBody]:
    """Sheets that came later."""
    return [sheet for event in events if isinstance(event, AddedEvent) for sheet in event.sheets]


def told_skies(events: Sequence[SessionEvent]) -> tuple[ToldSky, ...]:
    """What was told of the sky, in the order of telling."""
    found = []
    for number, event in enumerate(events):
        if not isinstance(event, CloudEvent):
            continue
        until_s = math.inf if event.until is None else event.until.timestamp()
        if until_s <= event.at.timestamp():
            raise OutOfDomain(f"events.{number}.until", event.until and event.until.isoformat(), "after at")
        if event.cloud_optical_depth is not None:
            if event.sky is not None:
                raise OutOfDomain(
                    f"events.{number}.sky", event.sky, "left out when cloud_optical_depth is given"
                )
            cloud: tuple[CloudPart, ...] = (CloudPart(1.0, event.cloud_optical_depth),)
        else:
            cloud = find_sky_word(event.sky or _USUAL_CLOUD).parts
        found.append(ToldSky(event.at.timestamp(), until_s, cloud))
    return tuple(found)


def as_followed(
    plan: SessionPlanAnswer, events: Sequence[SessionEvent], now_s: float, seconds: Callable[[str], float]
) -> list[SessionEvent]:
    """What has happened by now if the plan was kept to wherever nothing else was told."""
    told = {event.sheet_id for event in events if isinstance(event, StartedEvent | DroppedEvent)}
    ended = {event.sheet_id for event in events if isinstance(event, EndedEvent | DroppedEvent)}
    found: list[dict[str, Any]] = []
    for sheet in plan.sheets:
        if sheet.start is None or sheet.end is None or sheet.state not in ("planned", "running"):
            continue
        if seconds(sheet.start) > now_s:
            continue
        begun = sheet.state == "running" or sheet.sheet_id in told
        if not begun:
            what = {"kind": "started", "at": sheet.start, "frame": sheet.frame, "spot": sheet.spot}
            found.append({**what, "sheet_id": sheet.sheet_id})
        as_planned = sheet.state == "running" or sheet.sheet_id not in told
        if as_planned and sheet.sheet_id not in ended and seconds(sheet.end) <= now_s:
            found.append({"kind": "ended", "at": sheet.end, "sheet_id": sheet.sheet_id})
    return sorted(read_events(found), key=lambda event: event.at)


def under_way(
    understood: Understood,
    events: Sequence[SessionEvent],
    plan: SessionPlanAnswer,
    now_s: float,
    told_from: int,
) -> UnderWay:
    """Where every sheet is; `told_from` is the number of events that were kept before this request's own."""
    before = {sheet.sheet_id: sheet for sheet in plan.sheets}
    usual = {
        sheet_id: (sheet.frame, sheet.spot)
        for sheet_id, sheet in before.items()
        if sheet.frame is not None and sheet.spot is not None
    }
    named = [name for kind in understood.frames for name in frame_names(kind.name, kind.count)]
    happened = [
        Event(
            kind=event.kind,
            at_s=event.at.timestamp(),
            sheet_id=event.sheet_id,
            where=f"events.{max(number - told_from, 0)}",
            frame=event.frame if isinstance(event, StartedEvent) else None,
            spot=event.spot if isinstance(event, StartedEvent) else None,
            dose_j_m2=event.dose_j_m2 if isinstance(event, DoseEvent) else None,
        )
        for number, event in enumerate(events)
        if isinstance(event, _SHEET_EVENTS)
    ]
    states = follow([sheet.sheet_id for sheet in understood.sheets], happened, now_s, usual, named)
    reader = _Reader(understood, before, now_s)
    sheets = {sheet.sheet_id: sheet for sheet in understood.sheets}
    states = {sheet_id: reader.settled(sheets[sheet_id], state) for sheet_id, state in states.items()}
    running = tuple(
        reader.running(sheets[sheet_id], state)
        for sheet_id, state in states.items()
        if state.state is State.RUNNING
    )
    washing = tuple(
        Washing(sheet_id, state.frame or "", state.end_s)
        for sheet_id, state in states.items()
        if state.end_s is not None and reader.needs_washing(state)
    )
    breaks = [
        (event.at.timestamp(), event.until.timestamp(), event.name)
        for event in events
        if isinstance(event, BreakEvent)
    ]
    for begins_s, ends_s, _ in breaks:
        if ends_s <= begins_s:
            raise OutOfDomain("events.until", None, "after at")
    return UnderWay(running, washing, states, (*understood.breaks, *breaks), before, tuple(reader.notes))


class _Reader:
    def __init__(self, understood: Understood, before: Mapping[str, SessionSheet], now_s: float) -> None:
        self._understood, self._before, self._now_s = understood, before, now_s
        self.notes: list[str] = []

    def settled(self, sheet: Wanted, state: SheetState) -> SheetState:
        """A state with a spot that the sheet can lie at."""
        if state.start_s is None:
            return state
        spot = state.spot or next(iter(sheet.lights))
        if spot not in sheet.lights:
            raise UnknownName("events.spot", spot, f"one of {', '.join(sheet.lights)} for {sheet.name}")
        return replace(state, spot=spot)

    def needs_washing(self, state: SheetState) -> bool:
        """Whether a sheet out of the light still takes hands, a frame or a place in the tray."""
        work = self._understood.work
        until_s = (state.end_s or 0.0) + (work.done_s if state.state is State.DONE else work.unloaded_s)
        return until_s > self._now_s

    def running(self, sheet: Wanted, state: SheetState) -> Running:
        """A sheet in the light, with the end that its light gives it as the sky is known now."""
        assert state.start_s is not None
        assert state.spot is not None
        light, start_s, target = sheet.lights[state.spot], state.start_s, sheet.target
        planned = self._before.get(sheet.sheet_id)
        stages = self._stages(planned, sheet, state)
        sureness = self._understood.body.sureness
        if len(stages) == 1 and state.dose is None and stages[0][1] == light.scene.spot:
            end = float(light.ends(np.array([start_s]), target, sureness)[0])
            end_s = None if math.isnan(end) else end
        else:
            course = course_along(light, stages, self._understood.work.move_s)
            wanted = target.target_j_m2 * 2.0 ** (NormalDist().inv_cdf(sureness) * light.spread_stops(target))
            end_s = end_of_running(course, start_s, wanted, state.dose)
        if end_s is None:
            end_s = max(light.light_until_s(start_s), self._now_s)
            share = light.dose(start_s, end_s) / target.target_j_m2
            self.notes.append(
                f"{sheet.name} will not have its dose: about {100.0 * share:.0f} % when the light goes. "
                "Take it in then."
            )
        elif end_s < self._now_s:
            self.notes.append(f"{sheet.name} has had its dose: take it in now.")
        moves_s = tuple(from_s for from_s, _ in stages[1:] if self._now_s <= from_s < end_s)
        return Running(sheet.sheet_id, state.frame or "", state.spot, end_s, moves_s)

    def _stages(
        self, planned: SessionSheet | None, sheet: Wanted, state: SheetState
    ) -> list[tuple[float, Spot]]:
        """Where the frame lies, and from when: as planned with its moves, shifted to the actual start."""
        assert state.start_s is not None
        assert state.spot is not None
        spot = sheet.lights[state.spot].scene.spot
        if planned is None or planned.spot != state.spot or planned.begin is None:
            return [(state.start_s, spot)]
        stages = [(state.start_s, _at(spot, planned.begin))]
        stages += [(state.start_s + move.after_s, _at(spot, move.to)) for move in planned.moves]
        return stages


def _at(spot: Spot, position: Any) -> Spot:
    """A spot with its frame at a position that was told."""
    if isinstance(spot, WindowSpot):
        frame = replace(
            spot.frame,
            distance_m=position.distance_m,
            offset_m=position.offset_m,
            tilt_deg=position.tilt_deg,
            aim_azimuth_deg=position.aim_azimuth_deg,
        )
        return replace(spot, frame=frame)
    return replace(spot, aim=Aim(position.tilt_deg, position.aim_azimuth_deg))
