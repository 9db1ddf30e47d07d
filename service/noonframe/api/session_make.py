"""A session understood, made into the engine's problem and planned; with what is needed to tell of it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from noonframe.api.session_ask import Understood, Wanted, aims_of, room_of
from noonframe.bench.session import Chances, Placed, Running, Session, Sheet, Washing
from noonframe.bench.session_check import faults_of
from noonframe.bench.session_light import SpotLight, starts_for, staying, step_for
from noonframe.bench.session_moves import (
    MOST_PLANS,
    PLAN_EVERY_S,
    MoveAsk,
    MovedExposure,
    MovedLight,
    moving,
)
from noonframe.bench.session_plan import SessionPlan, plan_session
from noonframe.bench.session_reasons import WhyNot, why_left_out
from noonframe.bench.session_replan import SheetState, State, in_turn
from noonframe.dose.plan import choices_for
from noonframe.dose.scene import Target
from noonframe.errors import OutOfDomain
from noonframe.spot.indoors import WindowSpot

_MOST_PLACES = 20


@dataclass(frozen=True, eq=False)
class Way:
    """One way to expose a sheet: at a spot, staying or moved."""

    light: SpotLight
    moved: Mapping[int, MovedExposure] | None


@dataclass(frozen=True, eq=False)
class Made:
    """A plan with all that it was made from; `ways` are those of each sheet, as its chances are."""

    understood: Understood
    session: Session
    plan: SessionPlan
    why: Mapping[str, WhyNot]
    ways: Mapping[str, tuple[Way, ...]]
    step_s: float
    states: Mapping[str, SheetState] = field(default_factory=dict)

    def way_of(self, placed: Placed) -> Way:
        """How a placed sheet is exposed."""
        return self.ways[placed.sheet_id][placed.chance]


def make(
    understood: Understood,
    from_s: float,
    states: Mapping[str, SheetState],
    *,
    running: tuple[Running, ...] = (),
    washing: tuple[Washing, ...] = (),
    breaks: tuple[tuple[float, float], ...] = (),
) -> Made:
    """Plan what is left of a session from `from_s` on; every plan is checked before anybody sees it."""
    builder = _Builder(understood, from_s, states)
    session = Session(
        from_s=from_s,
        until_s=max(understood.end_s, from_s),
        sheets=tuple(builder.sheets()),
        frames=understood.frames,
        work=understood.work,
        breaks=breaks,
        room=room_of(understood),
        running=in_turn(running, washing, understood.work, from_s),
        washing=washing,
    )
    plan = plan_session(session)
    faults = faults_of(session, plan)
    if faults:
        raise AssertionError(f"a session plan that cannot be done: {'; '.join(faults)}")
    why = {each.sheet_id: each for each in why_left_out(session, plan, frozenset(builder.uneven))}
    return Made(understood, session, plan, why, builder.ways, builder.step_s, states)


class _Builder:
    """Makes the engine's sheets; what like sheets share is worked out once."""

    def __init__(self, understood: Understood, from_s: float, states: Mapping[str, SheetState]) -> None:
        self._understood = understood
        self._from_s = from_s
        waiting = (None, State.WAITING)
        self._waiting = [
            sheet
            for sheet in understood.sheets
            if (states[sheet.sheet_id].state if sheet.sheet_id in states else None) in waiting
        ]
        kinds = {self._batch(sheet) for sheet in self._waiting}
        ways = sum(
            1 for sheet in {self._batch(each): each for each in self._waiting}.values() for _ in sheet.lights
        )
        span_s = max(understood.end_s - from_s, 1.0)
        self.step_s = step_for(max(ways, 1) * len(understood.frames), span_s)
        first_s = from_s + understood.work.before_s
        self._starts = starts_for(first_s, understood.end_s, self.step_s)
        every_s = max(PLAN_EVERY_S, 60.0 * math.ceil(span_s * max(len(kinds), 1) / MOST_PLANS / 60.0))
        self._few_starts = starts_for(first_s, understood.end_s, every_s)
        self._staying: dict[tuple[int, Target, float | None], tuple[Chances, int]] = {}
        self._moving: dict[tuple[int, Target], tuple[Chances, Mapping[int, MovedExposure]]] = {}
        self._moved_lights: dict[int, MovedLight] = {}
        self.ways: dict[str, tuple[Way, ...]] = {}
        self.uneven: set[str] = set()

    def _batch(self, sheet: Wanted) -> str:
        asked = sheet.asked
        lights = sorted(f"{spot}:{id(light)}" for spot, light in sheet.lights.items())
        return repr((lights, sheet.target, asked.priority, asked.earliest, asked.done_by))

    def sheets(self) -> list[Sheet]:
        """Every sheet that waits, with its chances."""
        return [self._sheet(sheet) for sheet in self._waiting]

    def _sheet(self, sheet: Wanted) -> Sheet:
        batch = self._batch(sheet)
        chances: list[Chances] = []
        ways: list[Way] = []
        for choice in self._understood.spots:
            light = sheet.lights.get(choice.name)
            if light is None:
                continue
            inside = isinstance(light.scene.spot, WindowSpot)
            evenness = choice.asked.evenness_stops if inside else None
            key = (id(light), sheet.target, evenness)
            if key not in self._staying:
                self._staying[key] = staying(
                    light,
                    sheet.target,
                    self._starts,
                    sureness=self._understood.body.sureness,
                    evenness_stops=evenness,
                )
            stay, ruled_out = self._staying[key]
            if ruled_out:
                self.uneven.add(batch)
            chances.append(stay)
            ways.append(Way(light, None))
            aims = aims_of(choice.asked, light.scene.spot)
            if aims is None:
                continue
            moved = self._moving.get((id(light), sheet.target))
            if moved is None:
                ask = MoveAsk(self._understood.work.move_s, choice.asked.max_moves, evenness)
                moved_light = self._moved_lights.get(id(light))
                if moved_light is None:
                    places = choices_for(light.scene, aims=aims, most_places=_MOST_PLACES)
                    moved_light = self._moved_lights[id(light)] = MovedLight(light, places, ask)
                moved = moving(moved_light, choice.name, sheet.target, self._few_starts)
                self._moving[(id(light), sheet.target)] = moved
            chances.append(moved[0])
            ways.append(Way(light, moved[1]))
        self.ways[sheet.sheet_id] = tuple(ways)
        asked = sheet.asked
        return Sheet(
            id=sheet.sheet_id,
            batch=batch,
            chances=tuple(chances),
            priority=asked.priority,
            earliest_s=None if asked.earliest is None else asked.earliest.timestamp(),
            done_by_s=None if asked.done_by is None else asked.done_by.timestamp(),
        )


def last_start_s(made: Made, sheet_id: str) -> float | None:
    """The last start from which a sheet could still be done by its limit, as far as the light goes."""
    sheet = next(each for each in made.session.sheets if each.id == sheet_id)
    work = made.session.work
    latest_s = min(made.session.until_s, math.inf if sheet.done_by_s is None else sheet.done_by_s)
    found = [
        float(chances.start_s[fits].max())
        for chances in sheet.chances
        if (fits := np.isfinite(chances.end_s) & (chances.end_s + work.done_s <= latest_s)).any()
    ]
    return max(found, default=None)


def check_frames(understood: Understood) -> None:
    """Refuse frames that are named alike."""
    names = list(understood.frame_kinds)
    for number, name in enumerate(names):
        if names.count(name) > 1:
            raise OutOfDomain(f"frames.{number}.name", name, "named once")
