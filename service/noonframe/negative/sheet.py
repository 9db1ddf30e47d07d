"""The film page: negatives in their spots, cutting marks, a step wedge and a label in the margin.

The page is put together the right way round, and mirrored whole at the end: film is laid with its inked side
on the coat, so that no light creeps under the edges through the thickness of the base, and is then seen
from behind.  Text reads the right way round in the print.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.negative.code import LARGEST, CodeArray
from noonframe.negative.layout import Margins, Spot
from noonframe.negative.lettering import check_text, lettered
from noonframe.negative.pages import MM_PER_INCH, Page
from noonframe.negative.wedge import check_steps, put, wedge_strip

MIRROR_REASON = (
    "The page is mirrored so that the inked side of the film lies on the coat: light cannot creep under the"
    " tones through the thickness of the film, and the print comes out the right way round."
)
NOT_MIRRORED = (
    "The page is not mirrored: with its inked side on the coat the print comes out reversed, and with the"
    " inked side up light creeps under the tones and softens them."
)

WEDGE_HEIGHT_MM = 11.0
LABEL_TYPE_MM = 3.0
LABEL_HEIGHT_MM = 4.5
STRIP_GAP_MM = 3.0
_MARK_LENGTH_MM, _MARK_AWAY_MM, _MARK_LINE_MM = 2.5, 0.8, 0.15


@dataclass(frozen=True)
class Extras:
    """What a page has besides negatives: cutting marks, a wedge of `wedge_steps`, a line of text."""

    cutting_marks: bool = True
    wedge_steps: int | None = None
    label: str | None = None

    def __post_init__(self) -> None:
        if self.wedge_steps is not None:
            check_steps(self.wedge_steps, "wedge_steps")
        if self.label is not None:
            check_text(self.label, "label")

    @property
    def strip_mm(self) -> float:
        """Height at the foot of the page, above its margin, that wedge and label take."""
        heights = [WEDGE_HEIGHT_MM] * (self.wedge_steps is not None) + [LABEL_HEIGHT_MM] * (
            self.label is not None
        )
        return sum(heights) + STRIP_GAP_MM * len(heights)


@dataclass(frozen=True)
class PageSettings:
    """The page and everything on it besides the negatives."""

    page: Page
    dpi: float
    margins: Margins = field(default_factory=Margins)
    extras: Extras = field(default_factory=Extras)
    mirror: bool = True


def room_above(page: Page, extras: Extras) -> Page:
    """The page without the foot that wedge and label take, for laying out negatives."""
    left = page.height_mm - extras.strip_mm
    if left < 20.0:
        raise OutOfDomain("page.height_mm", page.height_mm, "taller, or without wedge and label")
    return Page(page.width_mm, left, page.name)


class Sheet:
    """A page being put together, bare film at first; one 16-bit value for each dot."""

    def __init__(self, page: Page, dpi: float) -> None:
        columns, rows = page.pixels(dpi)
        self.page = page
        self.dpi = dpi
        self._film: CodeArray = np.full((rows, columns), LARGEST, dtype=np.uint16)

    def place(self, film: CodeArray, spot: Spot) -> None:
        """Lay a negative, already in film code at this page's dots, into its spot."""
        if spot.turned:
            film = np.rot90(film, -1)
        top, left = self._dots(spot.top_mm), self._dots(spot.left_mm)
        # rounding the corner and the size apart may leave the last dot outside
        part = self._film[top : top + film.shape[0], left : left + film.shape[1]]
        part[...] = film[: part.shape[0], : part.shape[1]]

    def mark(self, spots: Sequence[Spot]) -> None:
        """Cutting marks outside each corner, never on a negative."""
        away, length = self._dots(_MARK_AWAY_MM), self._dots(_MARK_LENGTH_MM)
        line = max(self._dots(_MARK_LINE_MM), 1)
        taken = [self._rectangle(spot) for spot in spots]
        for left, top, right, bottom in taken:
            for column, side in ((left, -1), (right, 1)):
                for row, rise in ((top, -1), (bottom, 1)):
                    across = sorted((column + side * away, column + side * (away + length)))
                    down = sorted((row + rise * away, row + rise * (away + length)))
                    self._line(across[0], row - line // 2, across[1], row - line // 2 + line, taken)
                    self._line(column - line // 2, down[0], column - line // 2 + line, down[1], taken)

    def foot(self, extras: Extras, margins: Margins) -> None:
        """Wedge and label, from the left margin, at the foot of the page."""
        left, width = margins.margin_mm, self.page.width_mm - 2.0 * margins.margin_mm
        bottom_mm = self.page.height_mm - margins.margin_mm
        if extras.label is not None:
            bottom_mm -= LABEL_HEIGHT_MM
            text = lettered(extras.label, LABEL_TYPE_MM, self.dpi, self._dots(width))
            put(self._film, text, self._dots(left), self._dots(bottom_mm))
            bottom_mm -= STRIP_GAP_MM
        if extras.wedge_steps is not None:
            across = min(width, 8.0 * extras.wedge_steps)
            strip = wedge_strip(extras.wedge_steps, across, WEDGE_HEIGHT_MM, self.dpi)
            put(self._film, strip, self._dots(left), self._dots(bottom_mm - WEDGE_HEIGHT_MM))

    def put(self, piece: CodeArray, left_mm: float, top_mm: float) -> None:
        """Lay something drawn in film code on the page, upper left corner here."""
        put(self._film, piece, self._dots(left_mm), self._dots(top_mm))

    def finished(self, *, mirror: bool = True) -> CodeArray:
        """The whole page (rows, columns), mirrored from left to right unless told otherwise."""
        return self._film[:, ::-1] if mirror else self._film

    def _dots(self, mm: float) -> int:
        return round(mm / MM_PER_INCH * self.dpi)

    def _rectangle(self, spot: Spot) -> tuple[int, int, int, int]:
        left, top = self._dots(spot.left_mm), self._dots(spot.top_mm)
        return left, top, left + self._dots(spot.width_mm), top + self._dots(spot.height_mm)

    def _line(
        self, left: int, top: int, right: int, bottom: int, taken: Sequence[tuple[int, int, int, int]]
    ) -> None:
        rows, columns = self._film.shape
        left, top, right, bottom = max(left, 0), max(top, 0), min(right, columns), min(bottom, rows)
        for other in taken:
            if left < other[2] and other[0] < right and top < other[3] and other[1] < bottom:
                return  # a mark on a neighbour would print
        if left < right and top < bottom:
            self._film[top:bottom, left:right] = 0
