"""What is to be done to a picture, in the order in which it is done."""

from dataclasses import dataclass, field

from noonframe.errors import OutOfDomain
from noonframe.negative.geometry import Framing, PrintSize
from noonframe.negative.mixes import USUAL_MIX, GreyMix, find_mix
from noonframe.negative.tones import Levels, check_contrast


@dataclass(frozen=True)
class PictureSettings:
    """Steps from a picture to a negative, in order; the picture is turned upright by its EXIF data first.

    `framing` turns, straightens and crops, `size` is that of the print (None: as large as there is room),
    `grey` mixes the channels, `levels` None finds black and white by itself.  `invert` False says that the
    picture given is a negative already.
    """

    framing: Framing = field(default_factory=Framing)
    size: PrintSize | None = None
    grey: GreyMix = field(default_factory=lambda: find_mix(USUAL_MIX))
    levels: Levels | None = field(default_factory=Levels)
    contrast: float = 1.0
    invert: bool = True

    def __post_init__(self) -> None:
        check_contrast(self.contrast)
        if not isinstance(self.invert, bool):
            raise OutOfDomain("invert", self.invert, "true or false")
