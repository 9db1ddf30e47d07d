"""A picture's file opened: checked by its header, and the facts and conversions told before it is unpacked.

The library's readers are called by kind, so that a file cannot choose one for itself.
"""

import io
import math
import struct
from dataclasses import dataclass
from typing import Any

from noonframe.errors import Malformed, OutOfDomain
from noonframe.negative.icc import Profile, read_profile
from noonframe.negative.kinds import KINDS, Kind, Source, check_size, kind_of

ORIENTATION = 0x0112  # CIPA DC-008 (Exif), tag 274
BITS_PER_SAMPLE, PHOTOMETRIC = 258, 262  # TIFF 6.0
_SRGB_GAMMA = 0.45455  # what a PNG of sRGB says beside it (ISO/IEC 15948, 11.3.3.5)
_WIDE = ("RGB;16B", "RGB;16L", "RGB;16N")

_MODES = {
    "1": "black and white only; taken as grey",
    "P": "colours out of a palette; taken as full colours",
    "PA": "colours out of a palette; taken as full colours",
    "YCbCr": "colours as brightness and colour difference; taken as sRGB",
    "HSV": "colours as hue and saturation; taken as sRGB",
}
_SEE_THROUGH = frozenset({"LA", "PA", "La", "RGBA", "RGBa"})
_TAKEN = frozenset(_MODES) | _SEE_THROUGH | {"L", "I;16", "I;16B", "I;16L", "RGB", "RGBX", "CMYK", "LAB"}


@dataclass(frozen=True)
class Look:
    """What a picture is, as it stands upright.

    `mode` are the file's own channels (Pillow's name), `bits` its bits per channel, `profile` the name of
    its colour profile.  `conversions` says in words everything that is done to make it sRGB or grey.
    """

    kind: Kind
    width_px: int
    height_px: int
    mode: str
    bits: int
    orientation: int
    profile: str | None
    conversions: tuple[str, ...]


@dataclass(frozen=True)
class Opened:
    """A picture whose header was read: its look, the library's handle, and how its colours are to be read.

    `wide` for three channels of 16 bits, whose low bytes are read by a second pass; `white_is_zero` where
    the library leaves that to us; `full_scale` is the largest value of a grey picture of more than 8 bits.
    """

    source: Source
    look: Look
    handle: Any
    profile: Profile | None
    wide: bool
    white_is_zero: bool
    full_scale: int

    def shrink(self, scale: float) -> None:
        """Unpack a JPEG at a half, a quarter or an eighth, as long as `scale` of its size is left."""
        if self.look.kind == "JPEG":
            width, height = self.handle.size
            self.handle.draft(None, (math.ceil(width * scale), math.ceil(height * scale)))


def open_picture(source: Source) -> Opened:
    """Open a picture by its header; refuses what is no picture, is too large, or cannot be shown as grey."""
    kind = kind_of(source)
    try:
        handle = reader(kind, source.data)
    except MemoryError:
        raise
    except Exception:  # the readers raise anything between SyntaxError and struct.error
        raise Malformed(source.called, None, f"its header is damaged; it must be {KINDS}") from None
    mode = str(handle.mode)
    check_size(source, *handle.size)
    if mode not in _TAKEN:
        limit = f"a picture of 1, 8 or 16 bits to a channel; make it one of them, this is mode {mode}"
        raise OutOfDomain(source.called, None, limit)
    rawmode = _rawmode(handle)
    bits, full_scale = _depth(handle, kind, mode, rawmode)
    said: list[str] = []
    if mode in _MODES:
        said.append(_MODES[mode])
    if mode in _SEE_THROUGH or "transparency" in handle.info:
        said.append("see-through parts are laid on white")
    profile = _profile(handle, mode, said)
    gamma = _SRGB_GAMMA if "srgb" in handle.info else handle.info.get("gamma", _SRGB_GAMMA)
    if kind == "PNG" and profile is None and abs(gamma - _SRGB_GAMMA) > 0.01:
        said.append(f"the file's exponent of {gamma:.4g} is not followed")
    wide = rawmode in _WIDE and kind in ("PNG", "TIFF") and (profile is None or profile.is_srgb)
    if bits > 8 and not wide and not mode.startswith("I;16"):
        said.append(f"{bits} bits to a channel are read as 8")
    if getattr(handle, "is_animated", False):  # counting them would follow a chain as long as the file likes
        said.append("the first picture of several in the file is taken")
    orientation = _orientation(handle, kind, source, said)
    width, height = handle.size
    if orientation >= 5 and kind != "TIFF":  # the library turns a TIFF by itself
        width, height = height, width
    white_is_zero = kind == "TIFF" and mode.startswith("I;16") and handle.tag_v2.get(PHOTOMETRIC) == 0
    name = None if profile is None else profile.name
    look = Look(kind, width, height, mode, bits, orientation, name, tuple(said))
    return Opened(source, look, handle, profile, wide, white_is_zero, full_scale)


def reader(kind: Kind, data: bytes) -> Any:
    """The library's handle on a file of this kind; nothing is unpacked yet."""
    from PIL import JpegImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin

    readers: dict[Kind, Any] = {
        "JPEG": JpegImagePlugin.JpegImageFile,
        "PNG": PngImagePlugin.PngImageFile,
        "TIFF": TiffImagePlugin.TiffImageFile,
        "WebP": WebPImagePlugin.WebPImageFile,
    }
    return readers[kind](io.BytesIO(data))


def _rawmode(handle: Any) -> str:
    """How the file packs its pixels, in the library's words; "" where it does not say."""
    for tile in getattr(handle, "tile", ()):
        args = tile[3]
        first = args[0] if isinstance(args, tuple) and args else args
        return first if isinstance(first, str) else ""
    return ""


def _depth(handle: Any, kind: Kind, mode: str, rawmode: str) -> tuple[int, int]:
    if mode == "1":
        return 1, 1
    if mode.startswith("I;16"):
        bits = 16
        if kind == "TIFF":
            bits = int((handle.tag_v2.get(BITS_PER_SAMPLE) or (16,))[0])
        return bits, 2**bits - 1
    return (16, 65535) if ";16" in rawmode else (8, 255)


def _profile(handle: Any, mode: str, said: list[str]) -> Profile | None:
    """The profile to use, if any, and what is to be said of it."""
    embedded = handle.info.get("icc_profile")
    if mode == "LAB":
        return None
    if not embedded:
        if mode == "CMYK":
            said.append("inks without a profile are taken as ideal ones")
        elif mode in ("L", "1", "LA", "La") or mode.startswith("I;16"):
            said.append("grey without a profile is taken as encoded like sRGB")
        else:
            said.append("colours without a profile are taken as sRGB")
        return None
    try:
        profile = read_profile(embedded)
    except ValueError as problem:
        said.append(f"the colour profile cannot be used ({problem}); sRGB is assumed")
        return None
    grey, inks = mode in ("1", "L", "LA", "La") or mode.startswith("I;16"), mode == "CMYK"
    fits = {"L": grey, "CMYK": inks, "RGB": not inks}.get(profile.mode, False)
    if not fits:
        said.append(f"the colour profile is for other channels ({profile.name}); sRGB is assumed")
        return None
    if mode.startswith("I;16") and profile.mode == "RGB":
        said.append(f"grey of 16 bits with a profile for colours ({profile.name}): sRGB is assumed")
        return None
    if not profile.is_srgb:
        said.append(f"colours are brought from the profile ({profile.name}) to sRGB")
    return profile


def _orientation(handle: Any, kind: Kind, source: Source, said: list[str]) -> int:
    from PIL import Image

    try:
        if kind == "TIFF":
            value = handle.tag_v2.get(ORIENTATION, 1)
        else:
            raw = handle.info.get("exif") or (_late_exif(source.data) if kind == "PNG" else b"")
            exif = Image.Exif()
            if raw:
                exif.load(raw)
            value = exif.get(ORIENTATION, 1)
    except Exception:
        said.append("its EXIF data are damaged; it is taken as upright")
        return 1
    if value not in range(1, 9):
        said.append("its EXIF orientation is none of 1 to 8; it is taken as upright")
        return 1
    if value != 1:
        said.append(f"turned upright as its EXIF orientation {value} asks")
    return int(value)


def _late_exif(data: bytes) -> bytes:
    """The EXIF data of a PNG that come after its pixels, where the library looks only when it unpacks."""
    at = 8
    while at + 12 <= len(data):
        length, kind = struct.unpack(">I4s", data[at : at + 8])
        if kind == b"eXIf":
            return b"Exif\x00\x00" + data[at + 8 : at + 8 + length]
        at += 12 + length
    return b""
