"""A few strokes for line drawings, so that every picture has one hand."""

import math
import textwrap
from collections.abc import Sequence
from xml.etree import ElementTree as Tree

INK = "#1d2433"
SUN = "#f2c14e"
FRAME = "#0b4f6c"
FAINT = "#9aa3ad"
QUIET = "#4a5361"
PAPER = "#fffdf8"

_NOTE_CHARACTERS = 96

Point = tuple[float, float]


def note_lines(notes: Sequence[str]) -> int:
    """How many lines these notes take on the page."""
    return sum(len(textwrap.wrap(words, _NOTE_CHARACTERS)) for words in notes)


def between_discs(start: Point, end: Point) -> list[Point]:
    """The line from disc to disc, so that the arrow's tip stays in sight."""
    across, down = end[0] - start[0], end[1] - start[1]
    length = max(math.hypot(across, down), 1e-9)
    cut = min(12.0 / length, 0.5)
    return [
        (start[0] + cut * across, start[1] + cut * down),
        (end[0] - cut * across, end[1] - cut * down),
    ]


class Drawing:
    """An SVG document of fixed size in user units; `title` and `says` are what a screen reader speaks."""

    def __init__(self, width: float, height: float, title: str, says: str) -> None:
        self._root = Tree.Element(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "viewBox": f"0 0 {width:g} {height:g}",
                "width": f"{width:g}",
                "height": f"{height:g}",
                "role": "img",
                "font-family": "system-ui, sans-serif",
            },
        )
        Tree.SubElement(self._root, "title").text = title
        Tree.SubElement(self._root, "desc").text = says
        definitions = Tree.SubElement(self._root, "defs")
        hatch = Tree.SubElement(
            definitions,
            "pattern",
            {"id": "sunlit", "width": "7", "height": "7", "patternUnits": "userSpaceOnUse"},
        )
        Tree.SubElement(hatch, "rect", {"width": "7", "height": "7", "fill": SUN, "fill-opacity": "0.28"})
        Tree.SubElement(hatch, "path", {"d": "M0 7L7 0", "stroke": SUN, "stroke-width": "1.2"})
        tip = Tree.SubElement(
            definitions,
            "marker",
            {
                "id": "tip",
                "viewBox": "0 0 8 8",
                "refX": "7",
                "refY": "4",
                "markerWidth": "7",
                "markerHeight": "7",
                "orient": "auto",
            },
        )
        Tree.SubElement(tip, "path", {"d": "M0 0L8 4L0 8z", "fill": INK})
        self.box((0.0, 0.0), (width, height), fill=PAPER, stroke="none")

    def box(self, corner: Point, size: Point, **look: str) -> None:
        """A rectangle from its upper left corner."""
        where = {
            "x": f"{corner[0]:.2f}",
            "y": f"{corner[1]:.2f}",
            "width": f"{size[0]:.2f}",
            "height": f"{size[1]:.2f}",
        }
        self._add("rect", where, look)

    def polygon(self, points: Sequence[Point], **look: str) -> None:
        """A closed outline."""
        self._add("polygon", {"points": " ".join(f"{x:.2f},{y:.2f}" for x, y in points)}, look)

    def path(self, points: Sequence[Point], **look: str) -> None:
        """An open line."""
        self._add(
            "polyline", {"points": " ".join(f"{x:.2f},{y:.2f}" for x, y in points)}, {"fill": "none", **look}
        )

    def circle(self, centre: Point, radius: float, **look: str) -> None:
        """A circle."""
        self._add("circle", {"cx": f"{centre[0]:.2f}", "cy": f"{centre[1]:.2f}", "r": f"{radius:.2f}"}, look)

    def text(self, at: Point, words: str, size: float = 13.0, **look: str) -> None:
        """Words with their baseline at a point."""
        node = self._add(
            "text",
            {"x": f"{at[0]:.2f}", "y": f"{at[1]:.2f}", "font-size": f"{size:g}"},
            {"fill": INK, "stroke": "none", **look},
        )
        node.text = words

    def note(self, at: Point, words: str, line_height: float = 20.0) -> float:
        """Small quiet words, broken into lines that fit the page; returns where the next line would stand."""
        x, y = at
        for line in textwrap.wrap(words, _NOTE_CHARACTERS):
            self.text((x, y), line, 12.0, fill=QUIET)
            y += line_height
        return y

    def entry(self, at: Point, number: int, times: str, says: str) -> None:
        """One line of the list of stages, in columns: runs of spaces would be drawn as one."""
        x, y = at
        self.text((x, y), str(number), font_weight="600")
        self.text((x + 24.0, y), times)
        self.text((x + 124.0, y), says)

    def _add(self, tag: str, where: dict[str, str], look: dict[str, str]) -> Tree.Element:
        default = {"stroke": INK, "stroke-width": "1.4", "fill": "none"}
        merged = {**default, **{name.replace("_", "-"): value for name, value in look.items()}}
        return Tree.SubElement(self._root, tag, {**where, **merged})

    def to_svg(self) -> str:
        """The document as text."""
        return Tree.tostring(self._root, encoding="unicode")
