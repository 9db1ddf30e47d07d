"""From a request for a session to the engine's objects: sheets and targets, spots and their light."""

import datetime as dt
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from noonframe.api.ask import Ask, Where, find_target, find_where, understand
from noonframe.api.inputs import PlaceFields, SceneFields, TargetFields
from noonframe.api.inputs_spot import OpenSpotBody, SpotBody, SpotFields
from noonframe.api.routes.exposure import look_ahead
from noonframe.api.session_bodies import MOST_DIFFERENT_SHEETS, SessionBody, SessionSheetBody, SessionSpotBody
from noonframe.api.weather import SkyAhead, WeatherDesk
from noonframe.bench.session import LONGEST_SPAN_S, MOST_SHEETS, FrameKind, Work
from noonframe.bench.session_light import STEP_S, SpotLight, ToldSky
from noonframe.dose.plan import Aims
from noonframe.dose.scene import Target
from noonframe.errors import NoonframeError, OutOfDomain, UnknownName
from noonframe.settings import Settings
from noonframe.spot.indoors import WindowSpot
from noonframe.sun.events import civil_day, day_events

Fill = Callable[[TargetFields, SpotBody | None], tuple[TargetFields, SpotBody | None]]
"""Fills in what is saved under the names that a request gives."""

DEFAULT_SPOT = "the spot"
BEYOND_S = 3 * 3600.0
"""Light after the session's end is looked at as well, to say how long a sheet would have needed."""
_RECIPE = ("recipe", "recipe_version")
_COAT = ("sensitizer", "stack")
_TARGET = ("target_j_m2", "target_spread_stops", "target_source")
_PLACE = tuple(PlaceFields.model_fields)


def as_asked(fields: TargetFields, spot: SpotBody | None) -> tuple[TargetFields, SpotBody | None]:
    """The `Fill` of a request that names nothing that is saved."""
    return fields, spot


@dataclass(frozen=True)
class Desk:
    """What plans are made with: settings, unix seconds now, what fills in saved names, and the weather."""

    settings: Settings
    now_s: float
    fill: Fill = as_asked
    weather: WeatherDesk | None = None


@dataclass(frozen=True)
class SpotChoice:
    """A spot of the session by its name."""

    name: str
    body: SpotBody | None
    asked: SessionSpotBody


@dataclass(frozen=True, eq=False)
class Wanted:
    """A sheet asked for: its target, and its light at each spot that it may lie at."""

    sheet_id: str
    name: str
    asked: SessionSheetBody
    target: Target
    asks: Mapping[str, Ask]
    lights: Mapping[str, SpotLight]

    @property
    def any_light(self) -> SpotLight:
        """The light of its first spot."""
        return next(iter(self.lights.values()))


@dataclass(frozen=True, eq=False)
class Understood:
    """A request understood: where and when, the sheets, the spots and the forecast."""

    body: SessionBody
    where: Where
    start_s: float
    end_s: float
    spots: tuple[SpotChoice, ...]
    sheets: tuple[Wanted, ...]
    ahead: SkyAhead | None
    notes: tuple[str, ...]
    work: Work
    frames: tuple[FrameKind, ...]
    breaks: tuple[tuple[float, float, str], ...] = field(default=())

    @property
    def frame_kinds(self) -> tuple[str, ...]:
        """Names of the kinds of frames."""
        return tuple(kind.name for kind in self.frames)


def understand_session(
    body: SessionBody,
    desk: Desk,
    *,
    added: Sequence[SessionSheetBody] = (),
    told: tuple[ToldSky, ...] = (),
    light_from_s: float | None = None,
) -> Understood:
    """Read a request; `added` are sheets that came later, `told` what was told of the sky."""
    common = {
        name: getattr(body, name) for name in body.model_fields_set if name in TargetFields.model_fields
    }
    if common.get("lamp") is not None:
        raise OutOfDomain("lamp", None, "left out: a session is planned for the sun")
    choices, found_place = _spots(body, common, desk.fill)
    common.update(found_place)
    where = _where(common, choices, desk.fill)
    start_s, end_s = span_of(body, where, desk.now_s)
    named = _named([*body.sheets, *added])
    told = tuple(ToldSky(each.from_s, min(each.until_s, end_s + BEYOND_S), each.cloud) for each in told)
    reader = _Reader(common, desk, told, (start_s, end_s, light_from_s))
    sheets = [reader.sheet(sheet_id, name, asked, choices, where) for sheet_id, name, asked in named]
    return Understood(
        body=body,
        where=where,
        start_s=start_s,
        end_s=end_s,
        spots=choices,
        sheets=tuple(sheets),
        ahead=reader.ahead,
        notes=reader.notes,
        work=Work(**body.work.model_dump()),
        frames=_frames(body, choices),
        breaks=tuple((each.start.timestamp(), each.end.timestamp(), each.name) for each in body.breaks),
    )


def _spots(
    body: SessionBody, common: dict[str, Any], fill: Fill
) -> tuple[tuple[SpotChoice, ...], dict[str, Any]]:
    """The session's spots, and the place of the first saved one where the request names none."""
    if body.spots is None:
        return (SpotChoice(DEFAULT_SPOT, None, SessionSpotBody(name=DEFAULT_SPOT)),), {}
    for name in (*SpotFields.model_fields, "saved_spot"):
        if name in common:
            raise OutOfDomain(name, common[name], "left out when spots are given (they have their own)")
    names = [each.name for each in body.spots]
    found: list[SpotChoice] = []
    place: dict[str, Any] = {}
    has_place = any(common.get(name) is not None for name in _PLACE)
    for number, asked in enumerate(body.spots):
        if names.count(asked.name) > 1:
            raise OutOfDomain(f"spots.{number}.name", asked.name, "named once")
        spot: SpotBody | None = asked.spot
        if asked.saved_spot is not None:
            if spot is not None:
                raise OutOfDomain(f"spots.{number}.spot", "an object", "left out when saved_spot is given")
            filled, spot = fill(TargetFields(saved_spot=asked.saved_spot), None)
            if not has_place and not place:
                given = {name: getattr(filled, name) for name in _PLACE if name != "saved_place"}
                place = {name: value for name, value in given.items() if value is not None}
        found.append(SpotChoice(asked.name, spot or OpenSpotBody(kind="open"), asked))
    return tuple(found), place


def _where(common: Mapping[str, Any], choices: Sequence[SpotChoice], fill: Fill) -> Where:
    if choices[0].body is None:
        filled, _ = fill(_fields({name: common[name] for name in common if name not in _RECIPE}), None)
    else:
        filled, _ = fill(_fields({name: common[name] for name in common if name in _PLACE}), None)
    return find_where(filled)


def _fields(values: Mapping[str, Any]) -> TargetFields:
    return TargetFields.model_construct(_fields_set=set(values), **{**_DEFAULTS, **values})


_DEFAULTS = {name: each.get_default() for name, each in TargetFields.model_fields.items()}


def span_of(body: SessionBody, where: Where, now_s: float) -> tuple[float, float]:
    """Start and end of the session: as asked, else the daylight of a civil day and the wash after it."""
    work = Work(**body.work.model_dump())
    if body.start is not None and body.end is not None:
        if body.date is not None:
            raise OutOfDomain("date", body.date.isoformat(), "left out when start and end are given")
        start_s, end_s = body.start.timestamp(), body.end.timestamp()
    else:
        told = body.start or body.end
        day = body.date or (told or dt.datetime.fromtimestamp(now_s, dt.UTC)).astimezone(where.zone).date()
        start_s, end_s = _daylight(where, day, work)
        if body.date is None and told is None and now_s > end_s - 2.0 * work.done_s:
            start_s, end_s = _daylight(where, day + dt.timedelta(days=1), work)
        if body.start is not None:
            start_s = body.start.timestamp()
        elif body.end is None:
            start_s = min(max(start_s, now_s), end_s) if start_s <= now_s <= end_s else start_s
        if body.end is not None:
            end_s = body.end.timestamp()
    if not 0.0 < end_s - start_s <= LONGEST_SPAN_S:
        field_name = "end" if body.end is not None else "start"
        value = body.end if body.end is not None else body.start
        limit = f"the end after the start and at most {LONGEST_SPAN_S / 3600.0:g} hours after it"
        raise OutOfDomain(field_name, None if value is None else value.isoformat(), limit)
    return start_s, end_s


def _daylight(where: Where, day: dt.date, work: Work) -> tuple[float, float]:
    events = day_events(where.place, day, where.zone)
    from_s, to_s = civil_day(day, where.zone)
    rise_s = from_s if events.rise is None else events.rise.timestamp()
    set_s = to_s - work.done_s if events.set is None else events.set.timestamp()
    if set_s <= rise_s:  # high summer far north: it sets before it rises
        rise_s, set_s = from_s, to_s - work.done_s
    return STEP_S * math.floor(rise_s / STEP_S), STEP_S * math.ceil(
        min(set_s + work.done_s, rise_s + LONGEST_SPAN_S - STEP_S) / STEP_S
    )


def _named(sheets: Sequence[SessionSheetBody]) -> list[tuple[str, str, SessionSheetBody]]:
    """An id and a name for every single sheet."""
    if sum(sheet.count for sheet in sheets) > MOST_SHEETS:
        raise OutOfDomain("sheets", sum(sheet.count for sheet in sheets), f"at most {MOST_SHEETS} in all")
    if len(sheets) > MOST_DIFFERENT_SHEETS:
        raise OutOfDomain("sheets", len(sheets), f"at most {MOST_DIFFERENT_SHEETS} different ones")
    numbers: dict[str, int] = {}
    totals: dict[str, int] = {}
    for sheet in sheets:
        key = sheet.name.casefold()
        totals[key] = totals.get(key, 0) + sheet.count
    found: list[tuple[str, str, SessionSheetBody]] = []
    taken: set[str] = set()
    for sheet in sheets:
        key = sheet.name.casefold()
        for _ in range(sheet.count):
            numbers[key] = numbers.get(key, 0) + 1
            slug = re.sub(r"[^a-z0-9]+", "-", key).strip("-") or "sheet"
            sheet_id = f"{slug}-{numbers[key]}"
            while sheet_id in taken:
                sheet_id += "x"
            taken.add(sheet_id)
            name = sheet.name if totals[key] == 1 else f"{sheet.name} {numbers[key]}"
            found.append((sheet_id, name, sheet))
    return found


def _frames(body: SessionBody, choices: Sequence[SpotChoice]) -> tuple[FrameKind, ...]:
    names = [choice.name for choice in choices]
    found = []
    for number, kind in enumerate(body.frames):
        for spot in kind.spots or ():
            if spot not in names:
                raise UnknownName(f"frames.{number}.spots", spot, f"one of {', '.join(names)}")
        found.append(FrameKind(kind.name, kind.count, None if kind.spots is None else frozenset(kind.spots)))
    return tuple(found)


class _Reader:
    """Reads sheets; like light is looked up once."""

    def __init__(
        self,
        common: Mapping[str, Any],
        desk: Desk,
        told: tuple[ToldSky, ...],
        span: tuple[float, float, float | None],
    ) -> None:
        self._common, self._desk, self._told = common, desk, told
        self._start_s, self._end_s, light_from_s = span
        from_s = self._start_s if light_from_s is None else min(self._start_s, light_from_s)
        self._light_from_s = STEP_S * math.floor(from_s / STEP_S)
        self._lights: dict[tuple[str, Any], SpotLight] = {}
        self.ahead: SkyAhead | None = None
        self.notes: tuple[str, ...] = ()

    def sheet(
        self, sheet_id: str, name: str, asked: SessionSheetBody, choices: Sequence[SpotChoice], where: Where
    ) -> Wanted:
        """A sheet with its target and its light at each of its spots."""
        known = [choice.name for choice in choices]
        for spot in asked.spots or ():
            if spot not in known:
                raise UnknownName("sheets.spots", spot, f"one of {', '.join(known)}")
        asks: dict[str, Ask] = {}
        lights: dict[str, SpotLight] = {}
        target: Target | None = None
        for choice in choices:
            if asked.spots is not None and choice.name not in asked.spots:
                continue
            try:
                ask, target = self._ask(asked, choice, where)
            except NoonframeError as problem:
                if (
                    problem.field in SessionSheetBody.model_fields
                    and getattr(asked, problem.field, None) is not None
                ):
                    problem.field = f"sheets ({asked.name}): {problem.field}"
                raise
            asks[choice.name] = ask
            lights[choice.name] = self._light(choice, ask)
        assert target is not None
        return Wanted(sheet_id, name, asked, target, asks, lights)

    def _ask(self, asked: SessionSheetBody, choice: SpotChoice, where: Where) -> tuple[Ask, Target]:
        values = dict(self._common)
        own = {
            name: getattr(asked, name)
            for name in (*_RECIPE, *_COAT, *_TARGET, "reciprocity_exponent")
            if getattr(asked, name) is not None
        }
        if "recipe" in own or any(name in own for name in _COAT):
            for name in (*_RECIPE, *_TARGET):
                values.pop(name, None)
            if "recipe" in own:
                for name in _COAT:
                    values.pop(name, None)
        if "target_j_m2" in own:
            for name in _TARGET:
                values.pop(name, None)
        values.update(own)
        if choice.body is not None:
            for name in _PLACE:  # read already, once for all
                values.pop(name, None)
            values.update(_coordinates(where))
        fields, spot = self._desk.fill(_fields(values), choice.body)
        if choice.body is None:
            values = {name: getattr(fields, name) for name in fields.model_fields_set if name not in _PLACE}
            fields = _fields({**values, **_coordinates(where)})
        ask = understand(fields, dt.datetime.fromtimestamp(self._start_s, dt.UTC), self._desk.settings, spot)
        ask = Ask(where, ask.scene)
        self._look_ahead(fields, ask)
        return ask, find_target(fields, ask.scene.sensitizer)

    def _look_ahead(self, fields: SceneFields, ask: Ask) -> None:
        if self.ahead is None and not self.notes:
            self.ahead, self.notes = look_ahead(
                fields,
                ask,
                self._desk.weather,
                self._desk.now_s,
                from_s=self._light_from_s,
                to_s=self._end_s + BEYOND_S,
            )

    def _light(self, choice: SpotChoice, ask: Ask) -> SpotLight:
        key = (choice.name, ask.scene)
        light = self._lights.get(key)
        if light is None:
            light = self._lights[key] = SpotLight(
                spot=choice.name,
                scene=ask.scene,
                from_s=self._light_from_s,
                until_s=self._end_s + BEYOND_S,
                course=None if self.ahead is None else self.ahead.course,
                told=self._told,
            )
        return light


def _coordinates(where: Where) -> dict[str, Any]:
    place = where.place
    return {
        "latitude_deg": place.latitude_deg,
        "longitude_deg": place.longitude_deg,
        "elevation_m": place.elevation_m,
        "time_zone": where.zone.key,
    }


def room_of(understood: Understood) -> dict[str, int]:
    """How many frames each spot takes, where that is limited."""
    found = {}
    for choice in understood.spots:
        holds = choice.asked.holds
        indoors = any(
            isinstance(sheet.asks[choice.name].scene.spot, WindowSpot)
            for sheet in understood.sheets
            if choice.name in sheet.asks
        )
        if holds is None and indoors:
            holds = 1
        if holds is not None:
            found[choice.name] = holds
    return found


def aims_of(asked: SessionSpotBody, spot: object) -> Aims | None:
    """How frames may be moved at a spot; None for not at all.  Raises where the words do not fit the spot."""
    if asked.moves == "none":
        return None
    inside = isinstance(spot, WindowSpot)
    if inside != (asked.moves == "table"):
        limit = "none or table inside a window" if inside else "none, propped or free in the open"
        raise OutOfDomain("spots.moves", asked.moves, limit)
    return Aims.FLAT if inside else Aims(asked.moves)
