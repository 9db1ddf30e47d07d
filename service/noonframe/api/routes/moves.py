"""/v1/moves: when and where to move the frame, in words, numbers and a picture."""

import datetime as dt
import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter, Depends, Request, Response
from starlette.concurrency import run_in_threadpool

from noonframe.api.ask import Ask, find_target, understand
from noonframe.api.ask_objects import refuse_objects
from noonframe.api.bench_fill import filled
from noonframe.api.examples import MOVES, WINDOW_SPOT
from noonframe.api.inputs import MovesBody, MovesQuery, PatchQuery
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.outputs import Edge, Evenness, Move, MovesAnswer, Position
from noonframe.api.pictures.aim_plan import AimStage, draw_aim_plan
from noonframe.api.pictures.window_plan import Stage, draw_window_plan
from noonframe.api.reading import body_of, json_body, query_parameters, read_query
from noonframe.api.routes.common import now_of, settings_of
from noonframe.api.routes.exposure import cautions_for
from noonframe.api.times import format_time
from noonframe.api.wording import say_clock, say_length
from noonframe.dose.course import Exposure
from noonframe.dose.plan import Aims, ScenePlan, choices_for, plan_for
from noonframe.dose.plan_course import edge_along, expose_along
from noonframe.dose.scene import Scene, Target
from noonframe.errors import OutOfDomain
from noonframe.settings import Settings
from noonframe.sky.words import COVERING_CLOUD_OPTICAL_DEPTH
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.patch import patch_polygon
from noonframe.spot.plane import OpenSpot
from noonframe.spot.table import Table, default_table

router = APIRouter(tags=["moves"])
SVG = "image/svg+xml"
_SHORTEST_S = 1.0
_PICTURE: dict[int | str, dict[str, Any]] = {
    200: {"content": {SVG: {"schema": {"type": "string"}}}, "description": "A drawing of the plan"}
}


@router.get("/v1/moves", operation_id="moves", openapi_extra=query_parameters(MovesQuery, MOVES))
async def get_moves(request: Request) -> MovesAnswer:
    """The plan of moves that is done soonest, for a frame inside a window or in the open."""
    query = read_query(MovesQuery, request)
    return await run_in_threadpool(lambda: _planned(request, query, None).answer())


@router.post(
    "/v1/moves",
    operation_id="moves_at_spot",
    openapi_extra=json_body(MovesBody, {**MOVES, "spot": WINDOW_SPOT}),
)
def post_moves(request: Request, body: Annotated[MovesBody, Depends(body_of(MovesBody))]) -> MovesAnswer:
    """The same, with a spot."""
    return _planned(request, body, body.spot).answer()


@router.get(
    "/v1/moves/picture",
    operation_id="moves_picture",
    response_class=Response,
    responses=_PICTURE,
    openapi_extra=query_parameters(MovesQuery, MOVES),
)
async def get_picture(request: Request) -> Response:
    """The plan as a drawing: table, patch and frame at each stage, or the aims round the compass."""
    query = read_query(MovesQuery, request)
    drawing = await run_in_threadpool(lambda: _planned(request, query, None).picture())
    return Response(drawing, media_type=SVG)


@router.post(
    "/v1/moves/picture",
    operation_id="moves_picture_at_spot",
    response_class=Response,
    responses=_PICTURE,
    openapi_extra=json_body(MovesBody, {**MOVES, "spot": WINDOW_SPOT}),
)
def post_picture(request: Request, body: Annotated[MovesBody, Depends(body_of(MovesBody))]) -> Response:
    """The same, with a spot."""
    return Response(_planned(request, body, body.spot).picture(), media_type=SVG)


def _planned(request: Request, query: MovesQuery, spot: SpotBody | None) -> "Planned":
    query, spot = filled(request, query, spot)
    return planned(query, settings_of(request), now_of(request), spot)


def table_of(query: MovesQuery | PatchQuery, spot: WindowSpot) -> Table:
    """The table a request describes, with the usual reach where it is silent."""
    usual = default_table(spot)
    names = ("nearest_m", "farthest_m", "leftmost_m", "rightmost_m")
    given = [getattr(query, f"table_{name}") for name in names]
    values = [
        getattr(usual, name) if value is None else value for name, value in zip(names, given, strict=True)
    ]
    with flat_table():
        return Table(*values)


@contextmanager
def flat_table() -> Iterator[None]:
    """Errors of the table under the names of the request."""
    try:
        yield
    except OutOfDomain as problem:
        field = problem.field.replace("table.", "table_", 1)
        raise OutOfDomain(field, problem.value, problem.limit) from None


def _table_for(query: MovesQuery, scene: Scene) -> Table | None:
    if isinstance(scene.spot, WindowSpot):
        return table_of(query, scene.spot)
    for name in ("table_nearest_m", "table_farthest_m", "table_leftmost_m", "table_rightmost_m"):
        if getattr(query, name) is not None:
            raise OutOfDomain(name, getattr(query, name), "left out in the open: it is for inside a window")
    return None


def planned(query: MovesQuery, settings: Settings, now_s: float, spot: SpotBody | None) -> "Planned":
    """Understand a request and find its plan."""
    start_s = now_s if query.start is None else query.start.timestamp()
    refuse_objects(query)
    ask = understand(query, dt.datetime.fromtimestamp(start_s, dt.UTC), settings, spot)
    target = find_target(query, ask.scene.sensitizer)
    return Planned(query, ask, target, now_s, start_s, _plan(ask.scene, query, start_s, target.target_j_m2))


def _plan(scene: Scene, query: MovesQuery, start_s: float, target_j_m2: float) -> ScenePlan:
    table = _table_for(query, scene)
    with flat_table():
        choices = choices_for(scene, aims=Aims(query.aims), table=table, most_places=query.most_places)
    return plan_for(
        scene,
        choices,
        start_s,
        target_j_m2,
        move_cost_s=query.move_cost_s,
        max_moves=query.max_moves,
        tolerance_stops=query.evenness_stops,
        start_anywhere=not query.start_fixed,
    )


def position_of(spot: OpenSpot | WindowSpot) -> Position:
    """Where a frame lies, in numbers."""
    if isinstance(spot, WindowSpot):
        frame = spot.frame
        return Position(
            distance_m=frame.distance_m,
            offset_m=frame.offset_m,
            tilt_deg=frame.tilt_deg,
            aim_azimuth_deg=frame.aim_azimuth_deg,
        )
    aim = spot.aim
    return Position(
        distance_m=None, offset_m=None, tilt_deg=aim.tilt_deg, aim_azimuth_deg=aim.aim_azimuth_deg
    )


@dataclass(frozen=True)
class Planned:
    """A plan found for a request, before it is put into words."""

    query: MovesQuery
    ask: Ask
    target: Target
    now_s: float
    start_s: float
    found: ScenePlan

    def exposure(self) -> Exposure:
        """The exposure along the plan."""
        spread = math.hypot(self.target.spread_stops, self.ask.scene.light_spread_stops)
        cost = self.query.move_cost_s
        return expose_along(self.ask.scene, self.found, cost, self.target.target_j_m2, spread)

    def answer(self) -> MovesAnswer:
        """All that the answer says."""
        plan, choices, zone = self.found.plan, self.found.choices, self.ask.where.zone
        exposure = self.exposure()
        reached = plan.outcome != "out_of_light"
        length = exposure.length_s if reached else None
        begin = choices[plan.start_index]
        covered_says, covered_s = self._if_covered()
        return MovesAnswer(
            start=format_time(self.start_s, zone),
            end=None if length is None else format_time(self.start_s + length, zone),
            length_s=_round(length),
            length_low_s=_round(exposure.low_s) if reached else None,
            length_high_s=_round(exposure.high_s) if reached else None,
            reached=reached,
            outcome="out-of-light" if plan.outcome == "out_of_light" else plan.outcome,
            begin=position_of(begin.spot),
            begin_says=begin.says,
            moves=[
                Move(
                    time=format_time(self.start_s + move.time_s, zone),
                    after_s=round(move.time_s, 3),
                    says=choices[move.to_index].says,
                    to=position_of(choices[move.to_index].spot),
                    saves_s=_round(move.saves_s),
                )
                for move in plan.moves
            ],
            stay_length_s=_round(plan.stay_finish_s),
            best_length_s=_round(plan.best_finish_s),
            proven=plan.proven,
            within_share=self._gap(),
            evenness=Evenness(lowest_stops=_finite(plan.low_stops), highest_stops=_finite(plan.high_stops)),
            dose_map_stops=self._dose_map() if self.query.dose_map else None,
            edge=self._edge(exposure),
            places_tried=len(choices),
            if_cloud_covers=covered_says,
            if_cloud_covers_s=_round(covered_s),
            target_j_m2=self.target.target_j_m2,
            target_spread_stops=self.target.spread_stops,
            target_source=self.target.source,
            cautions=cautions_for(self.ask.scene, exposure),
            basis=self.ask.basis,
            summary=self.summary(length),
        )

    def summary(self, length_s: float | None) -> str:
        """The plan in one sentence."""
        plan, zone = self.found.plan, self.ask.where.zone
        begin = self.found.choices[plan.start_index].says
        onto = " to " if isinstance(self.ask.scene.spot, WindowSpot) else ", "
        steps = ", then ".join(
            f"at {say_clock(self.start_s + move.time_s, zone, self.start_s)}{onto}"
            f"{self.found.choices[move.to_index].says}"
            for move in plan.moves
        )
        if length_s is None:
            share = f"{100 * plan.share:.0f} per cent"
            furthest = f"{begin}, then move {steps}" if plan.moves else begin
            return f"The light does not give the dose within eight hours: {share} at best, {furthest}."
        end = say_clock(self.start_s + length_s, zone, self.now_s)
        opening = f"Begin {begin}; done in {say_length(length_s)}, at {end}"
        told = f"{opening}; move {steps}" if plan.moves else f"{opening}, without a move"
        if plan.outcome == "uneven":
            return f"{told}. {self._uneven()}"
        return f"{told}."

    def _uneven(self) -> str:
        low, high = self.found.plan.low_stops, self.found.plan.high_stops
        lowest = f"{low:+.1f}" if math.isfinite(low) else "no light"
        return (
            f"No plan found keeps the sheet within {self.query.evenness_stops:g} stops: "
            f"it gets {lowest} to {high:+.1f}."
        )

    def _gap(self) -> float | None:
        plan = self.found.plan
        if plan.proven or plan.bound_s is None or plan.best_finish_s is None or plan.bound_s <= 0.0:
            return 0.0 if plan.proven else None
        return round(max(plan.best_finish_s / plan.bound_s - 1.0, 0.0), 4)

    def _dose_map(self) -> list[list[float | None]]:
        target = self.target.target_j_m2
        stops = [
            _finite(math.log2(dose / target)) if dose > 0.0 else None for dose in self.found.plan.dose_j_m2
        ]
        spot = self.found.choices[0].spot
        columns = spot.grid[0] if isinstance(spot, WindowSpot) else 1
        return [stops[k : k + columns] for k in range(0, len(stops), columns)]

    def _edge(self, exposure: Exposure) -> Edge | None:
        height = self.query.object_height_mm
        if height is None:
            return None
        blur = edge_along(self.ask.scene, self.found, self.query.move_cost_s, exposure.end_s, height)
        if blur is None:
            return None
        return Edge(
            object_height_mm=height,
            edge_blur_mm=round(blur.edge_blur_mm, 3),
            wander_mm=round(blur.wander_mm, 3),
            disc_mm=round(blur.disc_mm, 3),
            diffuse_share=round(blur.diffuse_share, 4),
        )

    def _if_covered(self) -> tuple[str, float | None]:
        """The plan under an ordinary cloud, in words, with its length."""
        scene = self.ask.scene.covered
        thinnest = min(part.optical_depth for part in self.ask.scene.sky.state.cloud if part.probability)
        if thinnest >= COVERING_CLOUD_OPTICAL_DEPTH:
            return "the plan is already made for cloud", self.found.plan.length_s
        other = _plan(scene, self.query, self.start_s, self.target.target_j_m2)
        where = other.choices[other.plan.start_index].says
        if other.plan.length_s is None:
            return f"the dose is not reached within eight hours of such light; {where} gets furthest", None
        count = len(other.plan.moves)
        moves = "stay there" if count == 0 else "make one move" if count == 1 else f"make {count} moves"
        return f"begin {where}, {moves}, {say_length(other.plan.length_s)}", other.plan.length_s

    def picture(self) -> str:
        """The plan as SVG."""
        plan, zone, scene = self.found.plan, self.ask.where.zone, self.ask.scene
        end_s = self.start_s + (plan.length_s if plan.length_s is not None else 0.0)
        if plan.length_s is None:
            end_s = self.found.looked_until_s
        edges = [self.start_s, *(self.start_s + move.time_s for move in plan.moves), end_s]
        places = [plan.start_index, *(move.to_index for move in plan.moves)]
        day = dt.datetime.fromtimestamp(self.start_s, zone)
        title = f"{self.ask.where.label}, {day.day} {day:%B %Y}"
        footer = [self.summary(plan.length_s), f"Sky: {scene.sky.says}. Times are those of {zone.key}."]
        # A frame carried off at once has no stage of its own where it lay; the last stage always has one.
        every = list(zip(edges[:-1], edges[1:], places, strict=True))
        spans = [span for span in every[:-1] if span[1] - span[0] >= _SHORTEST_S] + every[-1:]
        if isinstance(scene.spot, WindowSpot):
            window = scene.spot.window
            stages = []
            for begins, ends, place in spans:
                sun = scene.track(np.array([(begins + ends) / 2.0])).apparent_vector[0]
                patch = [(float(u), float(v)) for u, v in patch_polygon(sun, window)] if sun[2] > 0.0 else []
                spot = self.found.choices[place].spot
                assert isinstance(spot, WindowSpot)
                stages.append(Stage(spot, self.found.choices[place].says, self._span(begins, ends), patch))
            return draw_window_plan(title, table_of(self.query, scene.spot), stages, footer)
        aims = []
        for begins, ends, place in spans:
            spot = self.found.choices[place].spot
            assert isinstance(spot, OpenSpot)
            aims.append(AimStage(spot.aim, self.found.choices[place].says, self._span(begins, ends)))
        path_s = np.linspace(self.start_s, end_s, 25)
        track = scene.track(path_s)
        sun_path = list(zip(track.azimuth_deg.tolist(), (90.0 - track.zenith_deg).tolist(), strict=True))
        return draw_aim_plan(title, aims, sun_path, footer, scene.spot.skyline)

    def _span(self, begins_s: float, ends_s: float) -> str:
        zone = self.ask.where.zone
        first, last = (dt.datetime.fromtimestamp(round(s / 60.0) * 60, zone) for s in (begins_s, ends_s))
        return f"{first:%H:%M}-{last:%H:%M}"


def _round(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 3)


def _finite(value: float) -> float | None:
    return round(value, 4) + 0.0 if math.isfinite(value) else None  # no minus zero
