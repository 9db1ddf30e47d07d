"""Small text and numbers on film, as film code: full ink on bare film."""

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.negative.code import LARGEST, CodeArray
from noonframe.negative.pages import MM_PER_INCH

if TYPE_CHECKING:
    from PIL import ImageFont

LONGEST_TEXT = 160


def check_text(text: str, field: str) -> str:
    """`text` if it can be set in one line in the letters there are."""
    if not 1 <= len(text) <= LONGEST_TEXT or not text.isprintable():
        raise OutOfDomain(field, text, f"1 to {LONGEST_TEXT} printable characters in one line")
    unknown = sorted({letter for letter in text if not letter.isspace() and not _has(letter)})
    if unknown:
        raise OutOfDomain(field, "".join(unknown), "Latin letters, digits and common signs")
    return text


def lettered(text: str, height_mm: float, dpi: float, most_columns: int) -> CodeArray:
    """One line of text whose type is about `height_mm` high, (rows, columns), cut off at `most_columns`."""
    from PIL import Image, ImageDraw

    size = max(height_mm / MM_PER_INCH * dpi, 4.0)
    font = _font(round(size, 1))
    right, bottom = (round(edge) for edge in font.getbbox(text)[2:])
    rows = max(bottom, round(1.25 * size), 1)
    strip = Image.new("L", (max(min(right + 1, most_columns), 1), rows), 255)
    ImageDraw.Draw(strip).text((0, 0), text, fill=0, font=font)
    return np.asarray(strip).astype(np.uint16) * np.uint16(LARGEST // 255)


@cache
def _has(letter: str) -> bool:
    """Whether the type has this letter, rather than a box in its place."""
    font = _font(20.0)
    shapes = [font.getmask(one) for one in (letter, "\ue000")]  # no type has the private one
    return (shapes[0].size, bytes(shapes[0])) != (shapes[1].size, bytes(shapes[1]))


@cache
def _font(size_px: float) -> "ImageFont.FreeTypeFont":
    """The type that comes with the library for PDFs, so that every machine sets the same letters."""
    import reportlab
    from PIL import ImageFont

    return ImageFont.truetype(Path(reportlab.__file__).parent / "fonts" / "Vera.ttf", size_px)
