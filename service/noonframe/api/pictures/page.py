"""A page of paper as a list of marks, in millimetres from its upper left corner.

The list is made once and put down twice, as SVG here and as PDF in `page_pdf`: the two cannot disagree.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from noonframe.api.pictures.drawing import INK, Drawing, Point

A4_MM = (210.0, 297.0)
_PX_PER_MM = 96.0 / 25.4  # CSS: an inch is 96 px, so that a browser prints the page at its true size
_PX_PER_PT = 96.0 / 72.0
_FONTS = "'DejaVu Sans', 'Bitstream Vera Sans', Verdana, sans-serif"

Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True)
class Area:
    """A closed outline, filled or drawn or both."""

    points: Sequence[Point]
    fill: str | None = None
    stroke: str | None = None
    stroke_mm: float = 0.2


@dataclass(frozen=True)
class Stroke:
    """An open line."""

    points: Sequence[Point]
    stroke: str = INK
    stroke_mm: float = 0.2


@dataclass(frozen=True)
class Words:
    """Words with their baseline at a point; `size_pt` in typographic points."""

    at: Point
    text: str
    size_pt: float = 8.0
    anchor: Anchor = "start"
    bold: bool = False
    colour: str = INK


Mark = Area | Stroke | Words


@dataclass
class SheetPage:
    """A page of A4, upright; `title` and `says` are what a screen reader speaks and a file is called."""

    title: str
    says: str
    marks: list[Mark] = field(default_factory=list)

    def box(
        self,
        corner: Point,
        size: Point,
        *,
        fill: str | None = None,
        stroke: str | None = None,
        stroke_mm: float = 0.2,
    ) -> None:
        """A rectangle from its upper left corner."""
        (x, y), (width, height) = corner, size
        outline = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
        self.marks.append(Area(outline, fill, stroke, stroke_mm))

    def area(self, points: Sequence[Point], fill: str) -> None:
        """A closed outline, filled."""
        self.marks.append(Area(points, fill))

    def line(self, points: Sequence[Point], stroke: str = INK, stroke_mm: float = 0.2) -> None:
        """An open line."""
        self.marks.append(Stroke(points, stroke, stroke_mm))

    def words(
        self,
        at: Point,
        text: str,
        size_pt: float = 8.0,
        *,
        anchor: Anchor = "start",
        bold: bool = False,
        colour: str = INK,
    ) -> None:
        """Words with their baseline at a point."""
        self.marks.append(Words(at, text, size_pt, anchor, bold, colour))


def page_svg(page: SheetPage) -> str:
    """The page as SVG whose printed size is A4."""
    width, height = (side * _PX_PER_MM for side in A4_MM)
    drawing = Drawing(width, height, page.title, page.says)
    for mark in page.marks:
        if isinstance(mark, Words):
            x, y = _px([mark.at])[0]
            look = {"font_family": _FONTS, "fill": mark.colour, "text_anchor": mark.anchor}
            if mark.bold:
                look["font_weight"] = "700"
            drawing.text((x, y), mark.text, round(mark.size_pt * _PX_PER_PT, 2), **look)
            continue
        look = {
            "stroke": mark.stroke or "none",
            "stroke_width": f"{mark.stroke_mm * _PX_PER_MM:.2f}",
        }
        if isinstance(mark, Area):
            drawing.polygon(_px(mark.points), fill=mark.fill or "none", **look)
        else:
            drawing.path(_px(mark.points), **look)
    return drawing.to_svg()


def _px(points: Sequence[Point]) -> list[Point]:
    return [(x * _PX_PER_MM, y * _PX_PER_MM) for x, y in points]
