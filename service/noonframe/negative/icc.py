"""Embedded colour profiles, by LittleCMS through Pillow: from a picture's own colours to sRGB.

Relative colorimetric with black point compensation, so that white stays paper white and black stays black.
"""

import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from noonframe.negative.code import LARGEST, STEPS, decode
from noonframe.types import FloatArray

if TYPE_CHECKING:
    from PIL import Image

_SPACES = {"RGB": "RGB", "GRAY": "L", "CMYK": "CMYK", "Lab": "LAB"}
_LONGEST_NAME = 60
_NEAR = 1
"""A profile that moves no patch by more than one step in 255 is sRGB under another name."""


@dataclass(frozen=True)
class Profile:
    """A profile that can be used: its name, the Pillow mode it is for, and the way to sRGB."""

    name: str
    mode: str
    is_srgb: bool
    to_srgb: "Callable[[Image.Image], Image.Image]"


def read_profile(embedded: bytes) -> Profile:
    """The profile in these bytes; raises `ValueError` with the reason when it cannot be used."""
    from PIL import ImageCms

    try:
        profile: Any = ImageCms.ImageCmsProfile(io.BytesIO(embedded))
        space = str(profile.profile.xcolor_space).strip()
        mode = _SPACES.get(space)
        if mode is None:
            raise ValueError(f"it is for {space or 'no'} colours")
        transform = ImageCms.buildTransform(
            profile,
            ImageCms.createProfile("sRGB"),
            mode,
            "RGB",
            ImageCms.Intent.RELATIVE_COLORIMETRIC,
            ImageCms.Flags.BLACKPOINTCOMPENSATION,
        )
        name = _plain(ImageCms.getProfileDescription(profile))
    except (ImageCms.PyCMSError, OSError, TypeError, AttributeError) as problem:
        raise ValueError(_plain(str(problem)) or "it is damaged") from None

    def to_srgb(picture: "Image.Image") -> "Image.Image":
        done = ImageCms.applyTransform(picture, transform)
        assert done is not None
        return done

    return Profile(name or "without a name", mode, mode == "RGB" and _changes_nothing(to_srgb), to_srgb)


def grey_curve(profile: Profile) -> FloatArray:
    """Linear luminance over the 16-bit values of a grey picture with a grey profile, (65536,).

    The profile is asked at 256 values, in 8 bits, and the curve runs straight between in the encoded value.
    """
    from PIL import Image

    ramp = Image.fromarray(np.arange(256, dtype=np.uint8)[np.newaxis, :])
    seen = np.asarray(profile.to_srgb(ramp))[0, :, 1] / 255.0
    nodes = np.arange(256) / 255.0
    return decode(np.interp(np.arange(STEPS) / LARGEST, nodes, seen))


def _changes_nothing(to_srgb: "Callable[[Image.Image], Image.Image]") -> bool:
    from PIL import Image

    levels = np.linspace(0, 255, 6).round().astype(np.uint8)
    patches = np.stack(np.meshgrid(levels, levels, levels), axis=-1).reshape(1, -1, 3)
    moved = np.asarray(to_srgb(Image.fromarray(patches))).astype(int) - patches.astype(int)
    return bool(np.abs(moved).max() <= _NEAR)


def _plain(text: str) -> str:
    return "".join(c for c in text.strip() if c.isprintable() and ord(c) < 128)[:_LONGEST_NAME].strip()
