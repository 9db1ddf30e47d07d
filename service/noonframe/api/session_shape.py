"""A planned session as an answer: the steps, what becomes of every sheet, how good the plan is."""

import math
from dataclasses import dataclass

import numpy as np

from noonframe.api.ask_spot import describe_spot
from noonframe.api.outputs import Basis, Evenness, Move
from noonframe.api.routes.exposure import basis_under, cautions_for
from noonframe.api.routes.moves import position_of
from noonframe.api.session_answers import SessionPlanAnswer, SessionSheet, SessionStep, SpotLightItem
from noonframe.api.session_ask import Wanted
from noonframe.api.session_make import Made
from noonframe.api.session_under_way import UnderWay
from noonframe.api.session_words import (
    Speaker,
    advice_for,
    head,
    say_bound,
    say_planned,
    say_summary,
    say_why,
)
from noonframe.api.times import format_time
from noonframe.api.wording import say_length
from noonframe.bench.session import Placed
from noonframe.bench.session_light import SpotLight
from noonframe.bench.session_moves import steadiness_along
from noonframe.bench.session_replan import SheetState, State
from noonframe.dose.course import Exposure
from noonframe.spot.indoors import WindowSpot

_MOST_LIGHT = 145
_KINDS = ("load", "expose", "move", "unload", "wash", "soak", "break")


@dataclass(frozen=True)
class _Times:
    """The times of a sheet on its way; unix seconds."""

    load_s: float
    start_s: float
    end_s: float
    unloaded_s: float
    washed_s: float
    done_s: float


class Shaper:
    """Puts one plan into an answer."""

    def __init__(self, made: Made, under_way: UnderWay, now_s: float) -> None:
        self._made, self._under_way, self._now_s = made, under_way, now_s
        self._understood = made.understood
        self._zone = made.understood.where.zone
        self._speak = Speaker(self._zone, made.understood.start_s)
        self._placed = {each.sheet_id: each for each in made.plan.placed}
        self._running = {each.sheet_id: each for each in made.session.running}
        self._chances: dict[str, tuple[float, float]] = {}

    def answer(self) -> SessionPlanAnswer:
        """All that the answer says."""
        made, understood = self._made, self._understood
        sheets = [self._sheet(sheet) for sheet in understood.sheets]
        names = {sheet.sheet_id: sheet.name for sheet in understood.sheets}
        steps = self._steps(sheets)
        left = [names[sheet_id] for sheet_id in made.plan.left_out]
        quality = made.plan.quality
        planned = [step for step in steps if step.state == "planned" and step.kind != "break"]
        return SessionPlanAnswer(
            start=self._time(understood.start_s),
            end=self._time(understood.end_s),
            planned_at=self._time(self._now_s),
            steps=steps,
            sheets=sheets,
            advice=[*advice_for(made, names, self._chances, self._speak), *self._under_way.notes],
            light=self._light(),
            next=planned[0].id if planned else None,
            sheets_planned=len(made.plan.placed),
            sheets_left_out=len(left),
            method="solver" if quality.method == "solver" else "search",
            proven=quality.proven,
            within_share=None if quality.within_share is None else round(quality.within_share, 4),
            most_proven=quality.most_proven,
            more_might_fit=quality.left_weight - min(quality.left_bound, quality.left_weight),
            starts_every_s=made.step_s,
            bound_says=say_bound(quality, len(made.session.sheets)),
            cautions=self._cautions(),
            basis=self._basis(),
            summary=say_summary(made, left, len(made.plan.placed), len(self._running), self._speak),
        )

    def _time(self, unix_s: float) -> str:
        return format_time(unix_s, self._zone)

    def _sheet(self, sheet: Wanted) -> SessionSheet:
        state = self._made.states.get(sheet.sheet_id, SheetState())
        if sheet.sheet_id in self._placed:
            return self._told_planned(sheet, self._placed[sheet.sheet_id])
        if state.state in (State.RUNNING, State.DONE):
            return self._told_under_way(sheet, state)
        if state.state is State.DROPPED:
            return self._bare(sheet, "dropped", None, f"{head(sheet.name)} was dropped.")
        why = self._made.why[sheet.sheet_id]
        says = say_why(sheet.name, sheet, why, self._made, self._speak)
        return self._bare(sheet, "not-fitting", why.reason.value, says)

    def _bare(self, sheet: Wanted, state: str, reason: str | None, says: str) -> SessionSheet:
        asked, target = sheet.asked, sheet.target
        return SessionSheet.model_validate(
            {
                **dict.fromkeys(SessionSheet.model_fields),
                "sheet_id": sheet.sheet_id,
                "sheet": sheet.name,
                "state": state,
                "priority": asked.priority,
                "target_j_m2": target.target_j_m2,
                "target_spread_stops": target.spread_stops,
                "target_source": target.source,
                "done_by": None if asked.done_by is None else self._time(asked.done_by.timestamp()),
                "moves": [],
                "reason": reason,
                "says": says,
            }
        )

    def _limit_s(self, sheet: Wanted, light: SpotLight, start_s: float) -> float:
        asked = sheet.asked.done_by
        latest_s = (
            self._made.session.until_s
            if asked is None
            else min(asked.timestamp(), self._made.session.until_s)
        )
        return min(latest_s - self._made.session.work.done_s, light.light_until_s(start_s))

    def _told_planned(self, sheet: Wanted, placed: Placed) -> SessionSheet:
        way = self._made.way_of(placed)
        light, target = way.light, sheet.target
        moved = None if way.moved is None else way.moved[placed.index]
        limit_s = self._limit_s(sheet, light, placed.start_s)
        if moved is None:
            by_end, by_limit = (
                light.chance(placed.start_s, by_s, target) for by_s in (placed.end_s, limit_s)
            )
            low, high = light.range_s(placed.start_s, target)
            steadiness = light.steadiness(placed.start_s, placed.end_s)
            evenness = self._evenness(light, placed.start_s, placed.end_s)
        else:
            by_end, by_limit = (moved.chance(by_s, target) for by_s in (placed.end_s, limit_s))
            exposure = moved.course.expose(placed.start_s, target.target_j_m2, moved.spread_stops)
            low, high = exposure.low_s, exposure.high_s
            steadiness = steadiness_along(moved)
            evenness = None
            if isinstance(light.scene.spot, WindowSpot):
                evenness = _evenness(moved.plan.low_stops, moved.plan.high_stops)
        self._chances[sheet.sheet_id] = (by_end, by_limit)
        told = self._bare(sheet, "planned", None, say_planned(sheet.name, placed, self._speak))
        moves = []
        if moved is not None:
            moves = [
                Move(
                    time=self._time(placed.start_s + move.time_s),
                    after_s=round(move.time_s, 3),
                    says=moved.choices[move.to_index].says,
                    to=position_of(moved.choices[move.to_index].spot),
                    saves_s=None if move.saves_s is None else round(move.saves_s, 3),
                )
                for move in moved.plan.moves
            ]
        begin = None if moved is None else moved.choices[moved.plan.start_index]
        return told.model_copy(
            update={
                "frame": placed.frame,
                "spot": placed.spot,
                "load_start": self._time(placed.load_s),
                "start": self._time(placed.start_s),
                "end": self._time(placed.end_s),
                "done": self._time(placed.done_s),
                "length_s": round(placed.end_s - placed.start_s, 3),
                "length_low_s": _round(low),
                "length_high_s": _round(high),
                "limit": self._time(limit_s),
                "chance_by_end": round(by_end, 3),
                "chance_by_limit": round(max(by_limit, by_end), 3),
                "steadiness": round(steadiness, 4),
                "evenness": evenness,
                "begin": None if begin is None else position_of(begin.spot),
                "begin_says": None if begin is None else begin.says,
                "moves": moves,
            }
        )

    def _evenness(self, light: SpotLight, start_s: float, end_s: float) -> Evenness | None:
        if not isinstance(light.scene.spot, WindowSpot):
            return None
        return _evenness(*light.evenness_stops(start_s, end_s))

    def _told_under_way(self, sheet: Wanted, state: SheetState) -> SessionSheet:
        start_s, end_s = state.start_s or 0.0, state.end_s
        is_running = state.state is State.RUNNING
        if is_running:
            end_s = self._running[sheet.sheet_id].end_s
        assert end_s is not None
        assert state.spot is not None
        light, times = sheet.lights[state.spot], self._times(start_s, end_s)
        chance = light.chance(start_s, end_s, sheet.target) if is_running else None
        low, high = light.range_s(start_s, sheet.target) if is_running else (None, None)
        limit_s = self._limit_s(sheet, light, start_s)
        if is_running:
            until = self._speak.clock(end_s)
            says = f"{head(sheet.name)} is in the light ({state.spot}, {state.frame}) until {until}."
        else:
            length = say_length(end_s - start_s)
            says = f"{head(sheet.name)} was in the light {length}, until {self._speak.clock(end_s)}."
        told = self._bare(sheet, state.state.value, None, says)
        saved = self._under_way.before.get(sheet.sheet_id)
        return told.model_copy(
            update={
                "frame": state.frame,
                "spot": state.spot,
                "load_start": self._time(times.load_s),
                "start": self._time(start_s),
                "end": self._time(end_s),
                "done": self._time(times.done_s),
                "length_s": round(end_s - start_s, 3),
                "length_low_s": _round(low),
                "length_high_s": _round(high),
                "limit": self._time(limit_s) if is_running else None,
                "chance_by_end": None if chance is None else round(chance, 3),
                "chance_by_limit": None
                if chance is None
                else round(max(light.chance(start_s, limit_s, sheet.target), chance), 3),
                "steadiness": round(light.steadiness(start_s, end_s), 4),
                "begin": None if saved is None else saved.begin,
                "begin_says": None if saved is None else saved.begin_says,
                "moves": [] if saved is None else saved.moves,
            }
        )

    def _times(self, start_s: float, end_s: float) -> _Times:
        work = self._made.session.work
        return _Times(
            start_s - work.before_s,
            start_s,
            end_s,
            end_s + work.unloaded_s,
            end_s + work.after_s,
            end_s + work.done_s,
        )

    def _steps(self, sheets: list[SessionSheet]) -> list[SessionStep]:
        found: list[tuple[float, float, SessionStep]] = []
        for sheet in sheets:
            state = self._made.states.get(sheet.sheet_id, SheetState())
            if sheet.sheet_id in self._placed:
                placed = self._placed[sheet.sheet_id]
                times, moves_s = self._times(placed.start_s, placed.end_s), placed.moves_s
            elif sheet.state in ("running", "done") and state.start_s is not None:
                end_s = (
                    self._running[sheet.sheet_id].end_s if sheet.state == "running" else state.end_s or 0.0
                )
                times, moves_s = self._times(state.start_s, end_s), ()
                if sheet.state == "running":
                    moves_s = self._running[sheet.sheet_id].moves_s
            else:
                continue
            found += self._steps_of(sheet, times, moves_s)
        for number, (begins_s, ends_s, name) in enumerate(
            self._under_way.breaks or self._understood.breaks, start=1
        ):
            found.append(
                self._step(
                    f"break:{number}",
                    "break",
                    None,
                    (begins_s, ends_s),
                    f"{name[:1].upper()}{name[1:]}",
                    hands=False,
                )
            )
        found.sort(key=lambda item: (item[0], item[1], _KINDS.index(item[2].kind)))
        return [step for _, _, step in found]

    def _steps_of(
        self, sheet: SessionSheet, times: _Times, moves_s: tuple[float, ...]
    ) -> list[tuple[float, float, SessionStep]]:
        name = sheet.sheet
        begin = f", {sheet.begin_says}" if sheet.begin_says else ""
        where = f"{sheet.spot}{begin}"
        length = say_length(times.end_s - times.start_s)
        spans = (
            (
                "load",
                (times.load_s, times.start_s),
                True,
                f"Load {name} into {sheet.frame} and lay it out ({where})",
            ),
            (
                "expose",
                (times.start_s, times.end_s),
                False,
                f"{head(name)} in the light ({where}) for {length}",
            ),
            ("unload", (times.end_s, times.unloaded_s), True, f"Take {name} in and unload {sheet.frame}"),
            ("wash", (times.unloaded_s, times.washed_s), True, f"Wash {name}"),
            ("soak", (times.washed_s, times.done_s), False, f"{head(name)} soaks in the tray"),
        )
        found = [
            self._step(f"{sheet.sheet_id}:{kind}", kind, sheet, span, says, hands=hands)
            for kind, span, hands, says in spans
            if span[1] > span[0]
        ]
        work = self._made.session.work
        total = len(sheet.moves)
        for number, move_s in enumerate(moves_s, start=total - len(moves_s) + 1):
            says = f"Move {name}" + (f": {sheet.moves[number - 1].says}" if 0 < number <= total else "")
            span = (move_s, move_s + work.move_s)
            found.append(self._step(f"{sheet.sheet_id}:move:{number}", "move", sheet, span, says, hands=True))
        return found

    def _step(
        self,
        step_id: str,
        kind: str,
        sheet: SessionSheet | None,
        span: tuple[float, float],
        says: str,
        *,
        hands: bool,
    ) -> tuple[float, float, SessionStep]:
        state = "planned"
        has_begun = bool(self._made.states)  # a whole session is planned as if none of it were over
        if has_begun and (sheet is None or sheet.state != "planned"):
            state = "done" if span[1] <= self._now_s else "running" if span[0] <= self._now_s else "planned"
        at_frame = kind in ("load", "expose", "move", "unload")
        return (
            *span,
            SessionStep.model_validate(
                {
                    "id": step_id,
                    "kind": kind,
                    "sheet_id": None if sheet is None else sheet.sheet_id,
                    "sheet": None if sheet is None else sheet.sheet,
                    "frame": sheet.frame if sheet is not None and at_frame else None,
                    "spot": sheet.spot if sheet is not None and at_frame else None,
                    "start": self._time(span[0]),
                    "end": self._time(span[1]),
                    "hands": hands,
                    "state": state,
                    "chance": sheet.chance_by_end if sheet is not None and kind == "expose" else None,
                    "says": says,
                }
            ),
        )

    def _light(self) -> list[SpotLightItem]:
        """The light of the first sheet's kind at every spot, over the session."""
        understood, found = self._understood, []
        span_s = understood.end_s - understood.start_s
        step_s = max(300.0, 60.0 * math.ceil(span_s / _MOST_LIGHT / 60.0))
        time_s = np.arange(understood.start_s, understood.end_s + 1.0, step_s)
        for choice in understood.spots:
            light = next(
                (each.lights[choice.name] for each in understood.sheets if choice.name in each.lights), None
            )
            if light is None:
                continue
            rates = np.interp(time_s, light.time_s, light.expected.rate_w_m2)
            found.append(
                SpotLightItem(
                    spot=choice.name,
                    time=[self._time(each) for each in time_s.tolist()],
                    effective_w_m2=[round(value, 3) for value in rates.tolist()],
                )
            )
        return found

    def _cautions(self) -> list[str]:
        spans: dict[int, tuple[SpotLight, float, float]] = {}
        for sheet in self._understood.sheets:
            placed = self._placed.get(sheet.sheet_id)
            if placed is not None:
                light = self._made.way_of(placed).light
                start_s, end_s = placed.load_s, placed.unloaded_s
            elif sheet.sheet_id in self._running:
                light = sheet.lights[self._running[sheet.sheet_id].spot]
                start_s, end_s = self._now_s, self._running[sheet.sheet_id].end_s
            else:
                continue
            _, from_s, to_s = spans.get(id(light), (light, math.inf, -math.inf))
            spans[id(light)] = (light, min(from_s, start_s), max(to_s, end_s))
        found: list[str] = []
        for light, from_s, to_s in spans.values():
            exposure = Exposure(from_s, max(to_s - from_s, 1.0), None, None, 1.0, to_s, dark_then=False)
            found += [each for each in cautions_for(light.scene, exposure) if each not in found]
        return found

    def _basis(self) -> Basis:
        understood = self._understood
        sheet = understood.sheets[0]
        ask = next(iter(sheet.asks.values()))
        basis = basis_under(ask, understood.ahead, understood.start_s, understood.notes)
        described: dict[str, str] = {}
        for each in understood.sheets:
            for spot, asked in each.asks.items():
                described.setdefault(spot, describe_spot(asked.scene.spot))
        says = "; ".join(f"{spot}: {words}" for spot, words in described.items())
        return basis.model_copy(
            update={"spot": says if len(described) > 1 else next(iter(described.values()))}
        )


def _evenness(low_stops: float, high_stops: float) -> Evenness:
    return Evenness(
        lowest_stops=round(low_stops, 3) if math.isfinite(low_stops) else None,
        highest_stops=round(high_stops, 3) if math.isfinite(high_stops) else None,
    )


def _round(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 3)
