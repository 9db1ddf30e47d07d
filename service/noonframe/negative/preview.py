"""How a film will print: film density, dose, print density, colour; and a picture of it beside the original.

Every step is a function of one dot alone, so a whole prediction is one table over the picture's code.
"""

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.negative.code import LARGEST, STEPS, CodeArray, CodeTable, check_table, shares
from noonframe.negative.film_printer import InkScale
from noonframe.negative.print_colour import PAPER_COLOUR, PrintColour, RgbTable
from noonframe.negative.tone import VISIBLE_STEP, quantised
from noonframe.negative.tone_curve import FIRST_TONE, PaperCurve
from noonframe.types import FloatArray

if TYPE_CHECKING:
    from PIL import ImageDraw

USUAL_STOPS = (-0.5, 0.0, 0.5)
MOST_STOPS = 5
WEDGE_STEPS = 21
NOT_MODELLED = (
    "spread and grain of the ink, and how evenly the printer lays it",
    "light that creeps under the film or scatters in coat and paper",
    "the paper's texture, how it takes the coat, and uneven coating",
    "what washing takes away, how the blue deepens while it dries, and bleaching of overexposed tones",
    "this screen: its colours and its brightness are not a print's",
)
"""What a preview leaves out."""

_EDGE, _CAPTION = 12, 30
_GROUND, _INK = 246, 40
_TYPE_PX = 15.0


@dataclass(frozen=True)
class Predicted:
    """One exposure: print density (65536,) over the picture's code, and how the picture's dots fall.

    `paper_white_share` of the dots print no tone that can be seen, `full_share` print as dark as the darkest.
    """

    stops: float
    density: FloatArray = field(repr=False)
    lightest: float
    darkest: float
    paper_white_share: float
    full_share: float

    def wedge(self) -> FloatArray:
        """Densities (21,) of an even ramp from the picture's black to its white."""
        codes = np.rint(np.linspace(0.0, LARGEST, WEDGE_STEPS)).astype(np.uint16)
        return self.density[codes]


@dataclass(frozen=True)
class Forecast:
    """A picture's positive code (rows, columns) and what its film does at several exposures."""

    code: CodeArray = field(repr=False)
    paper: PaperCurve
    exposures: tuple[Predicted, ...]


def print_density(
    film: CodeArray, paper: PaperCurve, ink: InkScale, stops: float = 0.0, bits: int = 16
) -> FloatArray:
    """Print density of film codes of any shape, exposed so that bare film has the target and `stops` more."""
    exposure = stops * math.log10(2.0) - ink.density_at(quantised(film, bits))
    return paper.density_at(exposure)


def predict(
    code: CodeArray,
    film_table: CodeTable,
    paper: PaperCurve,
    ink: InkScale,
    *,
    stops: Sequence[float] = USUAL_STOPS,
    bits: int = 8,
) -> Forecast:
    """What a picture of positive code (rows, columns) prints like through a table to film code."""
    if not 1 <= len(stops) <= MOST_STOPS:
        raise OutOfDomain("stops", len(stops), f"1 to {MOST_STOPS} exposures")
    for index, one in enumerate(stops):
        if not (math.isfinite(one) and -4.0 <= one <= 4.0):
            raise OutOfDomain(f"stops[{index}]", one, "between -4 and 4")
    counts = np.bincount(code.ravel(), minlength=STEPS) / max(code.size, 1)
    check_table(film_table)
    found = []
    for one in stops:
        density = print_density(film_table, paper, ink, one, bits)
        light, dark = float(density.min()), float(density.max())
        # half a first tone, so that a film which just reaches paper white is not counted as running together
        white = float(counts[density < paper.d_min + 0.5 * FIRST_TONE].sum())
        full = float(counts[density > dark - 0.5 * VISIBLE_STEP].sum())
        found.append(Predicted(one, density, light, dark, white, full))
    return Forecast(code, paper, tuple(found))


def drawn(forecast: Forecast, paper_colour: str = PAPER_COLOUR) -> bytes:
    """PNG: the picture in grey, and a print of it at each exposure, side by side with what each is."""
    from PIL import Image, ImageDraw

    colour = PrintColour(forecast.paper.d_min, paper_colour)
    grey = np.repeat(np.rint(255.0 * shares()).astype(np.uint8)[:, None], 3, axis=1)
    panels: list[tuple[str, RgbTable]] = [("the picture", grey)]
    panels += [(exposure_words(one.stops), colour.rgb(one.density)) for one in forecast.exposures]
    rows, columns = forecast.code.shape
    width = len(panels) * (columns + _EDGE) + _EDGE
    page: RgbTable = np.full((rows + 2 * _EDGE + _CAPTION, width, 3), _GROUND, dtype=np.uint8)
    for index, (_, table) in enumerate(panels):
        left = _EDGE + index * (columns + _EDGE)
        page[_EDGE : _EDGE + rows, left : left + columns] = table[forecast.code]
    picture = Image.fromarray(page)
    pen = ImageDraw.Draw(picture)
    for index, (words, _) in enumerate(panels):
        _write(pen, words, _EDGE + index * (columns + _EDGE), _EDGE + rows + 6, columns)
    out = io.BytesIO()
    picture.save(out, "PNG", compress_level=1)
    return out.getvalue()


def exposure_words(stops: float) -> str:
    """What an exposure is called."""
    if stops == 0.0:
        return "printed at the target"
    return f"{stops:+.3g} stop" + ("" if abs(stops) <= 1.0 else "s")


def _write(pen: "ImageDraw.ImageDraw", words: str, left: int, top: int, room: int) -> None:
    from PIL import ImageFont

    size = _TYPE_PX
    while size > 8.0 and pen.textlength(words, font=ImageFont.load_default(size)) > room:
        size -= 1.0
    font = ImageFont.load_default(size)
    while words and pen.textlength(words, font=font) > room:
        words = words[:-1]
    pen.text((left, top), words, fill=(_INK, _INK, _INK), font=font)
