"""Two aids printed on film: a step wedge, and a mask that shows where to move the card of a test strip."""

import math
from dataclasses import dataclass

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.negative.code import LARGEST, CodeArray
from noonframe.negative.lettering import lettered
from noonframe.negative.pages import MM_PER_INCH

LEAST_STEPS, MOST_STEPS = 3, 51
USUAL_STEPS = 21
LEAST_STRIPS, MOST_STRIPS = 2, 31
_NUMBER_MM = 2.6
_LINE_MM = 0.5
_FRAME_MM = 3.0


def check_steps(count: int, field: str = "steps") -> int:
    """`count` if a wedge can have so many steps."""
    if not LEAST_STEPS <= count <= MOST_STEPS:
        raise OutOfDomain(field, count, f"between {LEAST_STEPS} and {MOST_STEPS}")
    return count


def step_codes(count: int) -> tuple[int, ...]:
    """Film code of each step, even from bare film (step 1) to full ink (step `count`)."""
    check_steps(count)
    return tuple(round(LARGEST * (count - 1 - step) / (count - 1)) for step in range(count))


def ink_percent(code: int) -> float:
    """How much ink a film code asks for, in per cent; how dense that is, is the film printer's affair."""
    return 100.0 * (LARGEST - code) / LARGEST


def wedge_strip(count: int, width_mm: float, height_mm: float, dpi: float) -> CodeArray:
    """A wedge (rows, columns) from left to right, with its steps' numbers beneath them."""
    columns, rows = (max(round(side / MM_PER_INCH * dpi), 1) for side in (width_mm, height_mm))
    strip: CodeArray = np.full((rows, columns), LARGEST, dtype=np.uint16)
    text_rows = min(round(1.35 * _NUMBER_MM / MM_PER_INCH * dpi), rows // 2)
    edges = [round(columns * step / count) for step in range(count + 1)]
    number_mm = min(_NUMBER_MM, 0.75 * width_mm / count)
    for step, code in enumerate(step_codes(count)):
        strip[: rows - text_rows, edges[step] : edges[step + 1]] = code
        number = lettered(str(step + 1), number_mm, dpi, edges[step + 1] - edges[step])
        put(
            strip,
            number,
            edges[step] + (edges[step + 1] - edges[step] - number.shape[1]) // 2,
            rows - text_rows,
        )
    line = max(round(0.15 / MM_PER_INCH * dpi), 1)
    strip[:line, :] = strip[rows - text_rows - line : rows - text_rows, :] = 0
    strip[: rows - text_rows, :line] = strip[: rows - text_rows, -line:] = 0
    return strip


@dataclass(frozen=True)
class StripMask:
    """A geometric test strip: strip k has 2 ** ((k - 1) step_stops) times the first one's dose."""

    strip_count: int = 9
    step_stops: float = 0.5
    strip_width_mm: float = 15.0
    strip_height_mm: float = 50.0

    def __post_init__(self) -> None:
        if not LEAST_STRIPS <= self.strip_count <= MOST_STRIPS:
            raise OutOfDomain("strip_count", self.strip_count, f"between {LEAST_STRIPS} and {MOST_STRIPS}")
        if not (math.isfinite(self.step_stops) and 1.0 / 12.0 <= self.step_stops <= 2.0):
            raise OutOfDomain("step_stops", self.step_stops, "between 1/12 and 2 stops")
        for name, least in (("strip_width_mm", 6.0), ("strip_height_mm", 15.0)):
            side = getattr(self, name)
            if not (math.isfinite(side) and least <= side <= 200.0):
                raise OutOfDomain(name, side, f"between {least:g} and 200 mm")

    @property
    def factors(self) -> tuple[float, ...]:
        """Each strip's dose, the first one's being 1."""
        return tuple(2.0 ** (k * self.step_stops) for k in range(self.strip_count))

    @property
    def width_mm(self) -> float:
        """Width of the whole mask, its opaque frame included."""
        return self.strip_count * self.strip_width_mm + 2.0 * _FRAME_MM

    @property
    def height_mm(self) -> float:
        """Height of the whole mask, its opaque frame included."""
        return self.strip_height_mm + 2.0 * _FRAME_MM

    def drawn(self, dpi: float) -> CodeArray:
        """The mask (rows, columns): bare strips between lines of ink, each with its number and factor.

        The lines stay paper white in the print, so the strips can be told apart and counted.
        """
        per_mm = dpi / MM_PER_INCH
        columns, rows = (max(round(side * per_mm), 1) for side in (self.width_mm, self.height_mm))
        mask: CodeArray = np.zeros((rows, columns), dtype=np.uint16)
        frame, line = round(_FRAME_MM * per_mm), max(round(_LINE_MM * per_mm), 1)
        for strip, factor in enumerate(self.factors):
            left = round((_FRAME_MM + strip * self.strip_width_mm) * per_mm) + (line if strip else 0)
            right = round((_FRAME_MM + (strip + 1) * self.strip_width_mm) * per_mm)
            mask[frame : rows - frame, left:right] = LARGEST
            type_mm = min(_NUMBER_MM, self.strip_width_mm / 4.5)
            row = frame + round(1.0 * per_mm)
            for text in (str(strip + 1), f"×{factor:.3g}"):
                word = lettered(text, type_mm, dpi, right - left - 2)
                put(mask, word, left + round(0.8 * per_mm), row)
                row += round(1.3 * type_mm * per_mm)
        return mask


def put(page: CodeArray, piece: CodeArray, left: int, top: int) -> None:
    """Lay `piece` on `page` where it is darker; what stands over the edges is cut off."""
    rows, columns = page.shape
    first_row, first_column = max(-top, 0), max(-left, 0)
    part = piece[first_row : max(rows - top, 0), first_column : max(columns - left, 0)]
    if part.size:
        top, left = max(top, 0), max(left, 0)
        under = page[top : top + part.shape[0], left : left + part.shape[1]]
        np.minimum(under, part, out=under)
