"""The sky in plain words, as a mixture of cloud states.

Optical depths at 550 nm follow the usual ranges of cloud types (stratocumulus 5-20, stratus 5-25,
nimbostratus 30-100, cirrostratus 1-5, fair-weather cumulus 5-40: International Satellite Cloud
Climatology classes, from memory).  The spread is one standard deviation of the light in stops; a sky
judged by eye leaves 50 % and more (Schwander et al. 2002, J. Geophys. Res. 107), so the cloudy words
are wide.
"""

import math
from dataclasses import dataclass

from noonframe.errors import OutOfDomain, UnknownName

THICKEST_CLOUD = 128.0


@dataclass(frozen=True)
class CloudPart:
    """A cloud state and the share of time it stands over the sun and the sky around it."""

    probability: float
    optical_depth: float


@dataclass(frozen=True)
class SkyWord:
    """A plain word for the sky.

    `parts` always sum to probability 1.  `beam_probability` is the chance that no cloud stands before the
    sun; `spread_stops` is one standard deviation of the light; `says` is the word in a sentence.
    """

    id: str
    says: str
    parts: tuple[CloudPart, ...]
    spread_stops: float

    @property
    def beam_probability(self) -> float:
        """Chance that no cloud at all stands before the sun."""
        return sum(part.probability for part in self.parts if part.optical_depth == 0.0)


def _whole(optical_depth: float) -> tuple[CloudPart, ...]:
    return (CloudPart(1.0, optical_depth),)


COVERING_CLOUD_OPTICAL_DEPTH = 12.0
"""The cloud meant by "if cloud covers the sun": an ordinary cumulus or stratocumulus."""

SKY_WORDS: dict[str, SkyWord] = {
    word.id: word
    for word in (
        SkyWord("clear", "a clear sky", _whole(0.0), 0.10),
        SkyWord("thin-cloud", "thin high cloud", _whole(2.0), 0.30),
        SkyWord(
            "broken",
            "broken cloud",
            (CloudPart(0.5, 0.0), CloudPart(0.5, COVERING_CLOUD_OPTICAL_DEPTH)),
            0.55,
        ),
        SkyWord("overcast", "an overcast sky", _whole(25.0), 0.70),
        SkyWord("rain", "rain cloud", _whole(50.0), 0.80),
        SkyWord("fog", "fog", _whole(20.0), 0.80),
    )
}


def find_sky_word(text: str) -> SkyWord:
    """The sky word `text`; raises `UnknownName` listing the known ones."""
    try:
        return SKY_WORDS[text]
    except KeyError:
        from difflib import get_close_matches

        raise UnknownName(
            "sky", text, f"one of {', '.join(SKY_WORDS)}", get_close_matches(text, SKY_WORDS, n=2)
        ) from None


def uniform_cloud(cloud_optical_depth: float) -> tuple[CloudPart, ...]:
    """A whole sky of one cloud; raises `OutOfDomain` outside 0-128 or when not finite."""
    if not (math.isfinite(cloud_optical_depth) and 0.0 <= cloud_optical_depth <= THICKEST_CLOUD):
        raise OutOfDomain("cloud_optical_depth", cloud_optical_depth, f"between 0 and {THICKEST_CLOUD:g}")
    return _whole(cloud_optical_depth)
