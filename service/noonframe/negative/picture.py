"""A picture unpacked to grey in linear light.

Grey is made in linear light unless a mix is defined otherwise: a colour filter takes away light, and an eye
adds it up; weights on encoded values would darken saturated colours.  Colours go through sRGB first.
"""

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from noonframe.errors import Malformed
from noonframe.negative.code import LARGEST, STEPS, Float32Array, decode
from noonframe.negative.deadline import Deadline
from noonframe.negative.geometry import upright
from noonframe.negative.icc import grey_curve
from noonframe.negative.kinds import Source
from noonframe.negative.mixes import GreyMix
from noonframe.negative.opened import Look, Opened, open_picture, reader
from noonframe.types import FloatArray

if TYPE_CHECKING:
    from PIL import Image

_STRIP_PIXELS = 2_000_000
"""A strip at a time, so that no copy of the whole picture in colour is made."""


def look(source: Source, deadline: Deadline | None = None) -> Look:
    """What a picture is; it is unpacked whole, so that a damaged one is found out."""
    opened = open_picture(source)
    _load(opened.handle, source)
    if deadline is not None:
        deadline.check()
    return opened.look


def linear_grey(source: Source, mix: GreyMix, deadline: Deadline) -> Float32Array:
    """Relative luminance (rows, columns), 0 to 1 in linear light, of a picture, turned upright."""
    return unpack(open_picture(source), mix, deadline)


def unpack(opened: Opened, mix: GreyMix, deadline: Deadline) -> Float32Array:
    """The same of a picture that is open; its handle is used up."""
    handle, source = opened.handle, opened.source
    low = None
    if opened.wide:  # before loading, as that uses the tiles up
        low = reader(opened.look.kind, source.data)
        low.tile = [_of_low_bytes(tile) for tile in low.tile]
        _load(low, source)
    deadline.check()
    _load(handle, source)
    deadline.check()
    columns, rows = handle.size
    grey = np.empty((rows, columns), dtype=np.float32)
    reading = _Reading(opened, mix)
    step = max(_STRIP_PIXELS // columns, 1)
    for top in range(0, rows, step):
        deadline.check()
        box = (0, top, columns, min(top + step, rows))
        out = grey[top : box[3]]
        if low is not None:
            reading.wide(handle.crop(box), low.crop(box), out)
        elif handle.mode.startswith("I;16"):
            reading.deep_grey(handle.crop(box), out)
        else:
            reading.ordinary(handle.crop(box), out)
    handle.close()
    return grey if opened.look.kind == "TIFF" else upright(grey, opened.look.orientation)


class _Reading:
    """Strips of one picture to linear grey, by tables over their values."""

    def __init__(self, opened: Opened, mix: GreyMix) -> None:
        self._opened = opened
        self._mix = mix
        self._linear8 = decode(np.arange(256) / 255.0).astype(np.float32)
        values = np.arange(STEPS) / LARGEST if opened.wide else np.arange(256) / 255.0
        self._tables = [self._weighed(values, weight) for weight in mix.weights]
        if opened.look.mode.startswith("I;16"):
            profile = opened.profile
            curve = decode(np.arange(STEPS) / LARGEST) if profile is None else grey_curve(profile)
            self._deep = curve.astype(np.float32)

    def _weighed(self, encoded: FloatArray, weight: float) -> Float32Array:
        values = encoded if self._mix.light == "encoded" else decode(encoded)
        return (weight * values).astype(np.float32)

    def ordinary(self, strip: "Image.Image", out: Float32Array) -> None:
        """A strip of 8 bits to a channel."""
        plain = on_white(strip)
        profile = self._opened.profile
        if profile is not None and not profile.is_srgb:
            plain = profile.to_srgb(plain.convert(profile.mode))
        elif plain.mode == "LAB":
            plain = _from_lab(plain)
        if plain.mode == "L":  # weights sum to 1: grey is its own grey
            np.take(self._linear8, np.asarray(plain), out=out)
            return
        self._mixed(np.asarray(plain.convert("RGB")), out)

    def wide(self, high: "Image.Image", low: "Image.Image", out: Float32Array) -> None:
        """A strip of three channels of 16 bits, whose halves were read one after the other."""
        values = np.asarray(high).astype(np.uint16)
        values <<= 8
        values |= np.asarray(low)
        self._mixed(values, out)

    def deep_grey(self, strip: "Image.Image", out: Float32Array) -> None:
        """A strip of grey of more than 8 bits."""
        values = np.asarray(strip).astype(np.uint32)
        full = self._opened.full_scale
        if full != LARGEST:
            values = np.minimum(values, full) * LARGEST // full
        if self._opened.white_is_zero:
            values = LARGEST - values
        np.take(self._deep, values, out=out)

    def _mixed(self, values: npt.NDArray[Any], out: Float32Array) -> None:
        np.take(self._tables[0], values[..., 0], out=out)
        for channel in (1, 2):
            out += np.take(self._tables[channel], values[..., channel])
        np.clip(out, 0.0, 1.0, out=out)  # negative weights may leave the range
        if self._mix.light == "encoded":
            out[...] = decode(out.astype(np.float64))


def on_white(strip: "Image.Image") -> "Image.Image":
    """A picture without see-through parts and palettes, these laid on white; other modes as they are."""
    from PIL import Image

    if strip.mode == "1":
        return strip.convert("L") if "transparency" not in strip.info else on_white(strip.convert("LA"))
    if strip.mode in ("P", "PA", "La", "RGBa", "LA") or "transparency" in strip.info:
        grey = strip.mode in ("L", "LA", "La")
        strip = strip.convert("LA" if strip.mode == "L" else "RGBA")
        if grey and strip.mode == "LA":
            strip = strip.convert("RGBA")
        white = Image.new("RGBA", strip.size, (255, 255, 255, 255))
        flat = Image.alpha_composite(white, strip).convert("RGB")
        return flat.convert("L") if grey else flat
    if strip.mode == "RGBA":
        white = Image.new("RGBA", strip.size, (255, 255, 255, 255))
        return Image.alpha_composite(white, strip).convert("RGB")
    return strip


def _from_lab(strip: "Image.Image") -> "Image.Image":
    from PIL import ImageCms

    transform = ImageCms.buildTransform(
        ImageCms.createProfile("LAB"), ImageCms.createProfile("sRGB"), "LAB", "RGB"
    )
    done = ImageCms.applyTransform(strip, transform)
    assert done is not None
    return done


def _of_low_bytes(tile: Any) -> Any:
    """A tile read so that each channel's low byte comes out where its high byte would."""
    other = {"RGB;16B": "RGB;16L", "RGB;16L": "RGB;16B", "RGB;16N": _foreign()}
    args = tile.args
    if isinstance(args, tuple):
        return tile._replace(args=(other[args[0]], *args[1:]))
    return tile._replace(args=other[args])


def _foreign() -> str:
    import sys

    return "RGB;16B" if sys.byteorder == "little" else "RGB;16L"


def _load(handle: Any, source: Source) -> None:
    try:
        handle.load()
    except MemoryError:
        raise
    except Exception:
        raise Malformed(source.called, None, "its pixels are damaged, or the file is cut short") from None
