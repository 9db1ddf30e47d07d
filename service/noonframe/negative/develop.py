"""From a picture to the film code values of its negative, at the film printer's dots.

Geometry is done on linear light, whole dots at a time in strips; tone is one look-up table from light to
film.  A tone correction is a table of its own, positive code in and film code out (`tone`).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.negative.code import (
    LARGEST,
    STEPS,
    CodeArray,
    CodeTable,
    Float32Array,
    check_table,
    code_of_root,
    inverse_table,
    root_index,
)
from noonframe.negative.deadline import Deadline
from noonframe.negative.geometry import (
    Cut,
    Extent,
    Framing,
    PrintSize,
    cut_for,
    extent_of,
    inner_pixels,
    turned,
)
from noonframe.negative.kinds import Source
from noonframe.negative.opened import Look, open_picture
from noonframe.negative.pages import MOST_PAGE_PIXELS
from noonframe.negative.picture import unpack
from noonframe.negative.recipe import PictureSettings
from noonframe.negative.tones import Levels, auto_levels, tone_table

if TYPE_CHECKING:
    from PIL import Image

_STRIP_PIXELS = 2_000_000
_SAMPLE_PIXELS = 500_000
PREVIEW_PX = 1600


@dataclass(frozen=True)
class Tones:
    """The levels used, and the shares of the pixels at or past black and at or past white in the print."""

    levels: Levels
    contrast: float
    all_dark_share: float
    all_light_share: float


@dataclass(frozen=True)
class Negative:
    """A developed negative: film code (rows, columns), right-reading, and how it came about."""

    film: CodeArray
    look: Look
    extent: Extent
    tones: Tones


@dataclass(frozen=True)
class Positive:
    """A small positive for previews: positive code (rows, columns), with what the picture is."""

    code: CodeArray
    look: Look
    tones: Tones


def develop(
    source: Source,
    settings: PictureSettings,
    extent: Extent,
    *,
    tone: CodeTable | None = None,
    deadline: Deadline | None = None,
) -> Negative:
    """The negative of a picture at `extent` (from `extent_for`).

    Raises what `open_picture` does, and `TookTooLong`.  Needs about 9 bytes for each pixel of the picture
    and 2 for each of the film; 13 for a picture that is straightened or has 16 bits to a channel.
    """
    deadline = deadline or Deadline.within()
    if extent.columns * extent.rows > MOST_PAGE_PIXELS:
        limit = f"at most {MOST_PAGE_PIXELS // 10**6} million dots; fewer dpi or a smaller size"
        raise OutOfDomain("size", f"{extent.columns} x {extent.rows} dots", limit)
    made = _Printing(source, settings, extent.cut, deadline)
    film = made.printed(extent.columns, extent.rows, inverse_table() if tone is None else check_table(tone))
    return Negative(film, made.look, extent, made.tones())


def preview_positive(
    source: Source,
    settings: PictureSettings,
    longest_px: int = PREVIEW_PX,
    *,
    deadline: Deadline | None = None,
) -> Positive:
    """The positive that a negative is made from, `longest_px` to its longer side, never enlarged.

    A large JPEG is unpacked at a half, a quarter or an eighth where that is still large enough; its pixels
    are then averaged as encoded rather than in linear light, which a preview may.
    """
    deadline = deadline or Deadline.within()
    look = open_picture(source).look
    cut = cut_for(look.width_px, look.height_px, settings.framing)
    size = settings.size
    if size is not None and size.fit == "fill" and size.width_mm is not None and size.height_mm is not None:
        cut = cut.filling(size.width_mm, size.height_mm)
    across, down = cut.size_px
    scale = min(longest_px / max(across, down), 1.0)
    made = _Printing(source, settings, cut, deadline, scale)
    same = np.arange(STEPS, dtype=np.int64).astype(np.uint16)
    code = made.printed(max(round(across * scale), 1), max(round(down * scale), 1), same)
    return Positive(code, made.look, made.tones())


def extent_for(
    look: Look,
    settings: PictureSettings,
    dpi: float,
    room_mm: tuple[float, float],
    *,
    may_turn: bool = True,
) -> Extent:
    """How large a picture becomes: at its own size, else whole inside `room_mm` (width, height).

    With `may_turn` the room may be used the other way round, where the picture is larger so.
    """
    cut = cut_for(look.width_px, look.height_px, settings.framing)
    if settings.size is not None:
        return extent_of(cut, settings.size, dpi)
    rooms = [room_mm, room_mm[::-1]] if may_turn else [room_mm]
    return max((extent_of(cut, PrintSize(*room), dpi) for room in rooms), key=lambda one: one.width_mm)


class _Printing:
    """One picture on its way through; what is no longer needed is let go of at once."""

    def __init__(
        self,
        source: Source,
        settings: PictureSettings,
        cut: Cut,
        deadline: Deadline,
        scale: float = 1.0,
    ) -> None:
        self._settings = settings
        self._deadline = deadline
        opened = open_picture(source)
        self.look = opened.look
        if scale < 1.0:
            opened.shrink(scale)
        self._light = straightened(unpack(opened, settings.grey, deadline), settings.framing)
        # of a picture unpacked smaller the cut is smaller too
        self._cut = cut.scaled(self._light.width, self._light.height)
        self._counts = np.zeros(STEPS, dtype=np.int64)
        self._levels = settings.levels or self._found_levels()

    def printed(self, columns: int, rows: int, last: CodeTable) -> CodeArray:
        """The picture at this many dots through the tone table and then `last`."""
        tone = self._tone()
        table = last[tone[code_of_root()]]
        out: CodeArray = np.empty((rows, columns), dtype=np.uint16)
        for top, strip in self._strips(columns, rows):
            self._deadline.check()
            root = root_index(strip)
            self._counts += np.bincount(root.ravel(), minlength=STEPS)
            np.take(table, root, out=out[top : top + root.shape[0]])
        return out

    def tones(self) -> Tones:
        """How the tones fell, once printed."""
        codes = self._tone()[code_of_root()]
        total = max(int(self._counts.sum()), 1)
        dark, light = (int(self._counts[codes == end].sum()) / total for end in (0, LARGEST))
        return Tones(self._levels, self._settings.contrast, dark, light)

    def _tone(self) -> CodeTable:
        return tone_table(self._levels, self._settings.contrast, invert_first=not self._settings.invert)

    def _found_levels(self) -> Levels:
        across, down = self._cut.size_px
        scale = min((_SAMPLE_PIXELS / (across * down)) ** 0.5, 1.0)
        sample = resized(
            self._light, self._cut.box, max(round(across * scale), 1), max(round(down * scale), 1)
        )
        codes = code_of_root()[root_index(sample)]
        return auto_levels(codes if self._settings.invert else LARGEST - codes)

    def _strips(self, columns: int, rows: int) -> Iterator[tuple[int, Float32Array]]:
        """Strips of the resized picture from the top, each with its first row."""
        left, top, right, bottom = self._cut.box
        step = max(_STRIP_PIXELS // columns, 1)
        scale = (bottom - top) / rows
        for first in range(0, rows, step):
            last = min(first + step, rows)
            box = (left, top + first * scale, right, min(top + last * scale, bottom))
            yield first, resized(self._light, box, columns, last - first)


def straightened(light: Float32Array, framing: Framing) -> "Image.Image":
    """An upright array turned, flipped and straightened, as the library's picture of 32-bit floats.

    The empty corners are cut off here, so that no filter sees them later.
    """
    from PIL import Image

    light = np.ascontiguousarray(turned(light, framing))
    picture = Image.fromarray(light)
    del light  # each form of the picture is let go of before the next is made
    if framing.straighten_deg:
        inner = inner_pixels(picture.width, picture.height, framing.straighten_deg)
        # the library turns the other way round; weights of 0 or more, as in `resized`
        picture = picture.rotate(-framing.straighten_deg, Image.Resampling.BILINEAR)
        picture = picture.crop(inner)
    return picture


def resized(
    picture: "Image.Image", box: tuple[float, float, float, float], columns: int, rows: int
) -> Float32Array:
    """A part of a picture at another number of pixels; the filter sees past the part's edges.

    Every dot is a mean of pixels with weights of 0 or more, so it is never darker nor lighter than all that
    it is made of.  Sharper filters weigh some pixels below 0 and overshoot at edges; in linear light, a
    twentieth of the light side is stops of the dark side, and after the tone table a dark letter gets an
    outline.  Where pixels are averaged, the weights are the main lobe of a sinc under a Hamming window;
    where they are drawn apart, that would make steps of a ramp, and straight lines join them.
    """
    from PIL import Image

    fewer = columns < box[2] - box[0]
    method = Image.Resampling.HAMMING if fewer else Image.Resampling.BILINEAR
    out: Float32Array = np.asarray(picture.resize((columns, rows), method, box=box))
    return out
