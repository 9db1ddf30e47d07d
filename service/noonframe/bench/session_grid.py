"""A session on a grid of minutes: every way to place a sheet, as sets of minutes of each resource.

What a sheet takes is rounded outward to whole minutes, its times are not: two sheets that share no minute
share no second.  A set of minutes is an integer with a bit for each minute of each resource, so that asking
whether a place is free costs one operation.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from noonframe.bench.session import Session, Sheet
from noonframe.types import FloatArray, IntArray

SLICE_S = 60.0
COST_UNIT_S = 0.6
"""Costs are whole hundredths of a minute."""

HANDS, TRAY = "hands", "tray"


@dataclass(frozen=True)
class Resource:
    """Something of which `capacity` can be had at once; its minutes begin at bit `offset`."""

    name: str
    capacity: int
    offset: int


@dataclass(frozen=True)
class Option:
    """One way to place a sheet of a batch: which chance, which start, which kind of frame, and its cost."""

    batch: int
    chance: int
    index: int
    kind: int
    cost: int
    mask: int


@dataclass(frozen=True, eq=False)
class Grid:
    """All options of a session, by batch and in order of cost; `fixed` lists what is taken already."""

    session: Session
    slices: int
    resources: tuple[Resource, ...]
    batches: tuple[tuple[Sheet, ...], ...]
    options: tuple[Option, ...]
    by_batch: tuple[tuple[int, ...], ...]
    fixed: tuple[int, ...]

    @property
    def priorities(self) -> IntArray:
        """Priority (n_batch,) of a sheet of each batch."""
        return np.array([batch[0].priority for batch in self.batches], dtype=np.int64)

    def free(self) -> "Taken":
        """What is taken before any sheet is placed."""
        taken = Taken.empty(self)
        for mask in self.fixed:
            taken = taken.plus(mask)
        return taken

    def usage(self, mask: int) -> IntArray:
        """The rows (n_taken,) of a mask: one for each minute of each resource."""
        count = self.slices * len(self.resources)
        packed = np.frombuffer(mask.to_bytes((count + 7) // 8, "little"), dtype=np.uint8)
        return np.flatnonzero(np.unpackbits(packed, bitorder="little", count=count))


class Taken(NamedTuple):
    """Minutes taken: in `levels[k]` those of which at least k + 1 are, in `full` those with none left."""

    levels: tuple[int, ...]
    full: int
    limits: tuple[int, ...]

    @classmethod
    def empty(cls, grid: Grid) -> "Taken":
        """Nothing taken; `limits[k]` are the minutes of the resources that k + 1 uses exhaust."""
        highest = max(resource.capacity for resource in grid.resources)
        limits = [0] * highest
        whole = (1 << grid.slices) - 1
        for resource in grid.resources:
            limits[resource.capacity - 1] |= whole << resource.offset
        return cls((0,) * highest, 0, tuple(limits))

    def plus(self, mask: int) -> "Taken":
        """With one more use of the minutes of `mask`."""
        levels, full, limits = list(self.levels), self.full, self.limits
        for number, level in enumerate(self.levels):
            now = level | mask
            levels[number] = now
            full |= now & limits[number]
            mask &= level  # what was taken at this level goes on to the next
            if not mask:
                break
        return Taken(tuple(levels), full, limits)


def grid_of(session: Session) -> Grid:
    """The options of a session; those that what is fixed rules out are left out."""
    slices = max(math.ceil((session.until_s - session.from_s) / SLICE_S), 1)
    spots = sorted(session.room)
    capacities = [(HANDS, 1), (TRAY, session.work.tray_holds)]
    capacities += [(f"frame:{kind.name}", kind.count) for kind in session.frames]
    capacities += [(f"spot:{spot}", session.room[spot]) for spot in spots]
    resources = tuple(
        Resource(name, capacity, number * slices) for number, (name, capacity) in enumerate(capacities)
    )
    writer = _Writer(session, slices, {resource.name: resource for resource in resources})
    batches = _batches(session.sheets)
    fixed = tuple(writer.fixed())
    bare = Grid(session, slices, resources, batches, (), (), fixed)
    full = bare.free().full
    options: list[Option] = []
    by_batch: list[tuple[int, ...]] = []
    for number, batch in enumerate(batches):
        found = [option for option in writer.options(number, batch[0]) if not option.mask & full]
        found.sort(key=lambda option: (option.cost, option.chance, option.kind, option.index))
        by_batch.append(tuple(range(len(options), len(options) + len(found))))
        options += found
    return Grid(session, slices, resources, batches, tuple(options), tuple(by_batch), fixed)


def _batches(sheets: Sequence[Sheet]) -> tuple[tuple[Sheet, ...], ...]:
    found: dict[str, list[Sheet]] = {}
    for sheet in sheets:
        found.setdefault(sheet.batch, []).append(sheet)
    return tuple(tuple(batch) for batch in found.values())


class _Writer:
    """Turns spans of time into sets of minutes."""

    def __init__(self, session: Session, slices: int, resources: dict[str, Resource]) -> None:
        self.session = session
        self.slices = slices
        self.resources = resources

    def span(self, name: str, begins_s: float, ends_s: float) -> int:
        """The minutes of a resource that a span touches, cut to the session."""
        resource = self.resources.get(name)
        if resource is None or ends_s <= begins_s:
            return 0
        from_s = self.session.from_s
        first = max(math.floor((begins_s - from_s) / SLICE_S), 0)
        last = min(math.ceil((ends_s - from_s) / SLICE_S), self.slices)
        if last <= first:
            return 0
        return ((1 << (last - first)) - 1) << (resource.offset + first)

    def after(self, kind: str, end_s: float) -> int:
        """What an exposure takes from its end on."""
        work = self.session.work
        return (
            self.span(HANDS, end_s, end_s + work.after_s)
            | self.span(f"frame:{kind}", end_s, end_s + work.unloaded_s)
            | self.span(TRAY, end_s + work.unloaded_s, end_s + work.done_s)
        )

    def moves(self, moves_s: Iterable[float]) -> int:
        """The hands that moves take."""
        mask = 0
        for move_s in moves_s:
            mask |= self.span(HANDS, move_s, move_s + self.session.work.move_s)
        return mask

    def fixed(self) -> Iterable[int]:
        """What breaks and sheets under way take."""
        session = self.session
        for begins, ends in session.breaks:
            yield self.span(HANDS, begins, ends)
        for sheet in session.running:
            kind = self._kind_of(sheet.frame)
            until_now = self.span(f"frame:{kind}", session.from_s, sheet.end_s)
            until_now |= self.span(f"spot:{sheet.spot}", session.from_s, sheet.end_s)
            # One set: the minute in which it ends counts once.
            yield until_now | self.after(kind, sheet.end_s) | self.moves(sheet.moves_s)
        for wet in session.washing:
            yield self.after(self._kind_of(wet.frame), wet.end_s)

    def _kind_of(self, frame: str) -> str:
        named = [
            kind.name
            for kind in self.session.frames
            if frame in (kind.name, *frame_names(kind.name, kind.count))
        ]
        return named[0] if named else frame

    def options(self, batch: int, sheet: Sheet) -> Iterable[Option]:
        """Every way to place a sheet that its own times and the session's allow."""
        session, work = self.session, self.session.work
        earliest_s = max(session.from_s, sheet.earliest_s if sheet.earliest_s is not None else -math.inf)
        latest_s = min(session.until_s, sheet.done_by_s if sheet.done_by_s is not None else math.inf)
        for number, chances in enumerate(sheet.chances):
            fits = (chances.start_s - work.before_s >= earliest_s) & (chances.end_s + work.done_s <= latest_s)
            for index in np.flatnonzero(fits).tolist():
                start_s, end_s = float(chances.start_s[index]), float(chances.end_s[index])
                mask = self.span(HANDS, start_s - work.before_s, start_s)
                mask |= self.moves(chances.moves_s.get(index, ())) | self.span(
                    f"spot:{chances.spot}", start_s, end_s
                )
                late_s = end_s + work.done_s - session.from_s + float(chances.cost_s[index])
                cost = sheet.priority * round(late_s / COST_UNIT_S)
                after = {
                    kind.name: self.after(kind.name, end_s)
                    for kind in session.frames
                    if kind.fits(chances.spot)
                }
                for place, kind in enumerate(session.frames):
                    if kind.name in after:
                        taken = self.span(f"frame:{kind.name}", start_s - work.before_s, end_s)
                        whole = mask | after[kind.name] | taken
                        yield Option(batch, number, index, place, cost, whole)


def frame_names(kind: str, count: int) -> tuple[str, ...]:
    """The names of frames of a kind."""
    return (kind,) if count == 1 else tuple(f"{kind} {number}" for number in range(1, count + 1))


def costs_of(grid: Grid) -> FloatArray:
    """Cost (n_option,) of each option."""
    return np.array([option.cost for option in grid.options], dtype=np.float64)
