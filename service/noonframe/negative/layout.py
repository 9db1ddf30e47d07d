"""Several negatives on one page: shelves from the top, so that film can be cut straight across.

Rectangles are laid out by first fit on shelves, tallest first, and turned where that saves film.  A packing
library would waste a little less; its cuts would not go through from edge to edge.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from noonframe.errors import OutOfDomain
from noonframe.negative.pages import Page

_HAIR_MM = 1e-6


@dataclass(frozen=True)
class Margins:
    """What stays free: at the page's edges, and between negatives."""

    margin_mm: float = 8.0
    gap_mm: float = 6.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.margin_mm) and 0.0 <= self.margin_mm <= 100.0):
            raise OutOfDomain("margin_mm", self.margin_mm, "between 0 and 100 mm")
        if not (math.isfinite(self.gap_mm) and 0.0 <= self.gap_mm <= 100.0):
            raise OutOfDomain("gap_mm", self.gap_mm, "between 0 and 100 mm")

    def room_mm(self, page: Page) -> tuple[float, float]:
        """Width and height inside the margins."""
        width, height = page.width_mm - 2.0 * self.margin_mm, page.height_mm - 2.0 * self.margin_mm
        if width < 1.0 or height < 1.0:
            raise OutOfDomain("margin_mm", self.margin_mm, "small enough to leave room on the page")
        return width, height


@dataclass(frozen=True)
class Piece:
    """Something to lay out; `at_mm` is its upper left corner from the page's, None for wherever it fits."""

    width_mm: float
    height_mm: float
    called: str
    at_mm: tuple[float, float] | None = None
    may_turn: bool = True


@dataclass(frozen=True)
class Spot:
    """Where a piece lies; `turned` by a quarter."""

    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float
    turned: bool

    def overlaps(self, other: "Spot", gap_mm: float = 0.0) -> bool:
        """Whether two lie closer together than `gap_mm`."""
        return (
            self.left_mm < other.left_mm + other.width_mm + gap_mm - _HAIR_MM
            and other.left_mm < self.left_mm + self.width_mm + gap_mm - _HAIR_MM
            and self.top_mm < other.top_mm + other.height_mm + gap_mm - _HAIR_MM
            and other.top_mm < self.top_mm + self.height_mm + gap_mm - _HAIR_MM
        )


@dataclass
class _Shelf:
    top_mm: float
    height_mm: float
    used_mm: float


def lay_out(pieces: Sequence[Piece], page: Page, margins: Margins) -> tuple[Spot, ...]:
    """A spot for each piece, in their order.

    Either every piece has a position of its own, which is checked, or none has and all are laid on shelves.
    Raises `OutOfDomain` naming the piece that finds no room.
    """
    placed = [piece for piece in pieces if piece.at_mm is not None]
    if placed and len(placed) != len(pieces):
        called = next(piece.called for piece in pieces if piece.at_mm is None)
        raise OutOfDomain(f"{called}.at", None, "given for every negative or for none")
    spots = [_given(piece, page) for piece in placed] if placed else _shelved(pieces, page, margins)
    for index, spot in enumerate(spots):
        for other in range(index):
            if spot.overlaps(spots[other]):
                raise OutOfDomain(f"{pieces[index].called}.at", None, f"clear of {pieces[other].called}")
    return tuple(spots)


def cell_mm(
    proportions: Sequence[float], room_mm: tuple[float, float], gap_mm: float, *, may_turn: bool
) -> tuple[float, float]:
    """The cell of an even grid in which pictures without a size of their own become largest.

    `proportions` are width over height of each; the grid is that whose smallest picture is largest.
    """
    count = len(proportions)
    best: tuple[float, tuple[float, float]] | None = None
    for across in range(1, count + 1):
        down = math.ceil(count / across)
        width = (room_mm[0] - gap_mm * (across - 1)) / across
        height = (room_mm[1] - gap_mm * (down - 1)) / down
        if min(width, height) < 1.0:
            continue
        cells = [(width, height), (height, width)] if may_turn else [(width, height)]
        smallest = min(max(min(w, h * p) * min(w / p, h) for w, h in cells) for p in proportions)
        if best is None or smallest > best[0] * (1.0 + _HAIR_MM):
            best = (smallest, (width, height))
    if best is None:
        raise OutOfDomain("negatives", count, "few enough to find room on the page at a size one can see")
    return best[1]


def _given(piece: Piece, page: Page) -> Spot:
    assert piece.at_mm is not None
    left, top = piece.at_mm
    spot = Spot(left, top, piece.width_mm, piece.height_mm, turned=False)
    inside = (
        left >= 0.0
        and top >= 0.0
        and left + piece.width_mm <= page.width_mm + _HAIR_MM
        and top + piece.height_mm <= page.height_mm + _HAIR_MM
    )
    if not inside:
        size = f"{piece.width_mm:.1f} x {piece.height_mm:.1f} mm"
        limit = f"on the page of {page.width_mm:g} x {page.height_mm:g} mm with all its {size}"
        raise OutOfDomain(f"{piece.called}.at", f"{left:g}, {top:g} mm", limit)
    return spot


def _shelved(pieces: Sequence[Piece], page: Page, margins: Margins) -> list[Spot]:
    """The best of three ways to stand the pieces up: as they are, all as low, or all as tall as they can."""
    room = margins.room_mm(page)
    found: list[tuple[tuple[float, int], list[Spot]]] = []
    fewest_left: tuple[int, Piece] | None = None
    for stand in (_as_is, _low, _tall):
        spots, left_over = _fill([stand(piece) for piece in pieces], room, margins)
        if left_over is None:
            depth = max(spot.top_mm + spot.height_mm for spot in spots)
            found.append(((round(depth, 3), sum(spot.turned for spot in spots)), spots))
        elif fewest_left is None or len(spots) > fewest_left[0]:
            fewest_left = (len(spots), pieces[left_over])
    if found:
        return min(found, key=lambda one: one[0])[1]
    assert fewest_left is not None
    placed, piece = fewest_left
    size = f"{piece.width_mm:.1f} x {piece.height_mm:.1f} mm"
    limit = (
        f"small enough for what is left of the page: {placed} of {len(pieces)} found room inside"
        f" {room[0]:g} x {room[1]:g} mm, with {margins.gap_mm:g} mm between"
    )
    raise OutOfDomain(piece.called, size, limit)


@dataclass(frozen=True)
class _Stood:
    """A piece as it stands: its sides on the page, and whether it had to be turned for that."""

    width_mm: float
    height_mm: float
    turned: bool


def _as_is(piece: Piece) -> _Stood:
    return _Stood(piece.width_mm, piece.height_mm, turned=False)


def _low(piece: Piece) -> _Stood:
    turned = piece.may_turn and piece.height_mm > piece.width_mm
    return _Stood(piece.height_mm, piece.width_mm, turned) if turned else _as_is(piece)


def _tall(piece: Piece) -> _Stood:
    turned = piece.may_turn and piece.height_mm < piece.width_mm
    return _Stood(piece.height_mm, piece.width_mm, turned) if turned else _as_is(piece)


def _fill(
    stood: Sequence[_Stood], room: tuple[float, float], margins: Margins
) -> tuple[list[Spot], int | None]:
    """Spots by first fit on shelves, in the order of the pieces, and the first piece that found none."""
    shelves: list[_Shelf] = []
    spots: dict[int, Spot] = {}
    edge, gap = margins.margin_mm, margins.gap_mm
    for index in sorted(range(len(stood)), key=lambda i: -stood[i].height_mm):
        one = stood[index]
        for shelf in shelves:
            fits_beside = shelf.used_mm + gap + one.width_mm <= room[0] + _HAIR_MM
            if fits_beside and one.height_mm <= shelf.height_mm + _HAIR_MM:
                left, top = shelf.used_mm + gap, shelf.top_mm
                shelf.used_mm = left + one.width_mm
                break
        else:
            left, top = 0.0, shelves[-1].top_mm + shelves[-1].height_mm + gap if shelves else 0.0
            if one.width_mm > room[0] + _HAIR_MM or top + one.height_mm > room[1] + _HAIR_MM:
                return list(spots.values()), index
            shelves.append(_Shelf(top, one.height_mm, one.width_mm))
        spots[index] = Spot(left + edge, top + edge, one.width_mm, one.height_mm, one.turned)
    return [spots[index] for index in range(len(stood))], None
