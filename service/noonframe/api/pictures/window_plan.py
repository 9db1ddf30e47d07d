"""Plan view of a table inside a window: the frame at each stage of a plan and the patch of sun there."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from noonframe.api.pictures.drawing import FAINT, FRAME, INK, QUIET, Drawing, Point, between_discs, note_lines
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.sheet import corners
from noonframe.spot.table import Table

_WIDTH = 720.0
_MARGIN = 60.0
_HEAD = 108.0
_WALL = 26.0
_LINE = 20.0


@dataclass(frozen=True)
class Stage:
    """The frame lying at one place from one time to another; `patch` is the sun on the table halfway."""

    spot: WindowSpot
    says: str
    times: str
    patch: Sequence[Point]


def draw_window_plan(title: str, table: Table, stages: Sequence[Stage], footer: Sequence[str]) -> str:
    """The plan as SVG, seen from above with the window at the top: right is right when looking out."""
    window = stages[0].spot.window
    reach_u = [
        *(u for stage in stages for u, _ in _outline(stage.spot)),
        window.width_m / 2,
        -window.width_m / 2,
    ]
    left = min(table.leftmost_m, *reach_u) - 0.1
    right = max(table.rightmost_m, *reach_u) + 0.1
    deep = max(table.farthest_m, *(v for stage in stages for _, v in _outline(stage.spot))) + 0.1
    scale = (_WIDTH - 2 * _MARGIN) / (right - left)
    floor = _HEAD + _WALL + deep * scale
    height = floor + 44.0 + _LINE * (len(stages) + note_lines(footer) + 1)
    drawing = Drawing(_WIDTH, height, title, "; ".join(f"{stage.times}: {stage.says}" for stage in stages))

    def place(u: float, v: float) -> Point:
        return _MARGIN + (u - left) * scale, _HEAD + _WALL + v * scale

    drawing.text((_MARGIN, 30.0), title, 18.0, font_weight="600")
    drawing.text(
        (_MARGIN, 50.0), "Seen from above. The window is at the top; right is right when looking out.", 12.0
    )
    drawing.text((_MARGIN, 68.0), "Hatched: the patch of sun halfway through each stage.", 12.0)
    _draw_room(drawing, place, window.width_m, (left, right, deep))
    for number, stage in enumerate(stages, start=1):
        visible = _clip(stage.patch, left, right, deep)
        if len(visible) >= 3:
            patch = [place(u, v) for u, v in visible]
            drawing.polygon(patch, fill="url(#sunlit)", stroke="#b98a12", stroke_width="1")
            _name_patch(drawing, patch, number)
        outline = [place(u, v) for u, v in _outline(stage.spot)]
        dash = "none" if number == 1 else "7 4" if number == 2 else "2 3"
        drawing.polygon(outline, stroke=FRAME, stroke_width="2.6", stroke_dasharray=dash)
    centres = [place(stage.spot.frame.offset_m, stage.spot.frame.distance_m) for stage in stages]
    for start, end in pairwise(centres):
        drawing.path(between_discs(start, end), stroke_width="1.6", marker_end="url(#tip)")
    for number, (x, y) in enumerate(centres, start=1):
        drawing.circle((x, y), 11.0, fill="#fff", stroke=FRAME, stroke_width="2")
        drawing.text((x, y + 4.5), str(number), 13.0, text_anchor="middle", font_weight="600")
    _draw_scale(drawing, place(left + 0.1, deep), scale)
    y = floor + 44.0
    for number, stage in enumerate(stages, start=1):
        drawing.entry((_MARGIN, y), number, stage.times, stage.says)
        y += _LINE
    y += 6.0
    for words in footer:
        y = drawing.note((_MARGIN, y), words, _LINE)
    return drawing.to_svg()


def _name_patch(drawing: Drawing, patch: Sequence[Point], number: int) -> None:
    """The stage's number in the far end of its patch, where it overlaps least with the others."""
    deepest = max(y for _, y in patch)
    far = [x for x, y in patch if y > deepest - 1.0]
    at = (sum(far) / len(far), deepest - 6.0)
    drawing.text(at, f"sun {number}", 11.0, text_anchor="end" if len(far) == 1 else "middle", fill=QUIET)


def _outline(spot: WindowSpot) -> list[Point]:
    return [(float(u), float(v)) for u, v, _ in corners(spot.frame, spot.window)]


def _draw_room(
    drawing: Drawing,
    place: Callable[[float, float], Point],
    opening_m: float,
    floor: tuple[float, float, float],
) -> None:
    left, right, deep = floor
    x0, inner = place(left, 0.0)
    x1, bottom = place(right, deep)
    gap0, gap1 = place(-opening_m / 2.0, 0.0)[0], place(opening_m / 2.0, 0.0)[0]
    top = inner - _WALL
    for a, b in ((x0, gap0), (gap1, x1)):
        drawing.box((a, top), (b - a, _WALL), fill="#d7d2c6")
    drawing.path([(gap0, top + _WALL / 2), (gap1, top + _WALL / 2)], stroke_width="1", stroke=FAINT)
    drawing.text(
        ((gap0 + gap1) / 2, top - 6.0), f"window, {opening_m:.2f} m wide", 12.0, text_anchor="middle"
    )
    drawing.box((x0, inner), (x1 - x0, bottom - inner), stroke=FAINT)
    step = 0.2
    for k in range(1, int(deep / step) + 1):
        y = place(0.0, k * step)[1]
        drawing.path([(x0, y), (x0 + 7, y)], stroke=FAINT)
        drawing.text((x0 - 8.0, y + 4.0), f"{k * step * 100:.0f}", 10.0, text_anchor="end", fill=QUIET)
    drawing.text((x0 - 8.0, inner + 4.0), "cm", 10.0, text_anchor="end", fill=QUIET)


def _draw_scale(drawing: Drawing, at: Point, scale: float) -> None:
    x, y = at
    drawing.path([(x, y + 14.0), (x + 0.5 * scale, y + 14.0)], stroke=INK, stroke_width="2")
    drawing.text((x + 0.5 * scale + 8.0, y + 18.0), "50 cm", 11.0)


def _clip(points: Sequence[Point], left: float, right: float, deep: float) -> list[Point]:
    """Part of a convex outline inside the drawn floor, side by side."""
    result = [*points]
    for axis, limit, keep_below in ((0, left, False), (0, right, True), (1, 0.0, False), (1, deep, True)):
        result = _clip_side(result, axis, limit, keep_below)
    return result


def _clip_side(points: Sequence[Point], axis: int, limit: float, keep_below: bool) -> list[Point]:
    def inside(point: Point) -> bool:
        return point[axis] <= limit if keep_below else point[axis] >= limit

    kept: list[Point] = []
    for before, after in zip([*points[-1:], *points[:-1]], points, strict=True):
        if inside(before) != inside(after):
            part = (limit - before[axis]) / (after[axis] - before[axis])
            kept.append(
                (before[0] + part * (after[0] - before[0]), before[1] + part * (after[1] - before[1]))
            )
        if inside(after):
            kept.append(after)
    return kept
