"""The tone correction: from a grey of the picture to the film code that makes it print as wanted.

Exposed to the target, bare film prints the darkest tone; the film density that prints the lightest one lies
as far above bare film as the coat's curve is long.  What the ink cannot reach is told.
"""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.negative.code import LARGEST, CodeArray, CodeTable, shares
from noonframe.negative.film_printer import InkScale
from noonframe.negative.tone_curve import FIRST_TONE, PaperCurve
from noonframe.negative.tone_target import Evenness, wanted_density
from noonframe.types import FloatArray

WhenShort = Literal["clip", "squeeze"]
VISIBLE_STEP = 0.02
"""A jump of print density that can be seen in a smooth tone (common practice, no source)."""

_ENOUGH = 1e-6


@dataclass(frozen=True)
class ToneAim:
    """How the print's tones are to lie.

    `lightest_net` is the net density of the lightest tone.  Where the ink is not dense enough for it,
    "clip" keeps all other tones and lets the lightest run together, "squeeze" keeps them apart in less room.
    """

    even: Evenness = "density"
    lightest_net: float = FIRST_TONE
    when_short: WhenShort = "clip"

    def __post_init__(self) -> None:
        if not 0.005 <= self.lightest_net <= 0.3:
            raise OutOfDomain("lightest_net_density", self.lightest_net, "between 0.005 and 0.3")
        if self.when_short not in ("clip", "squeeze"):
            raise OutOfDomain("when_short", self.when_short, "clip or squeeze")


@dataclass(frozen=True)
class ToneCorrection:
    """A correction and what it costs.

    `table` (65536,) leads from positive code to film code, `wanted` (65536,) is the print density meant.
    `needed_range` is the film density, above bare film, that the lightest tone wants; `lightest` is the
    lightest the film can print, `clipped_from` the share of the code range from which on tones run together.
    """

    table: CodeTable = field(repr=False)
    wanted: FloatArray = field(repr=False)
    paper: PaperCurve
    ink: InkScale
    aim: ToneAim
    darkest: float
    lightest: float
    lightest_wanted: float
    needed_range: float
    clipped_from: float | None

    @property
    def is_short(self) -> bool:
        """Whether the ink is not dense enough for the lightest tone wanted."""
        return self.needed_range > self.ink.range + _ENOUGH

    def coarseness(self, bits: int = 8) -> tuple[int, float, float]:
        """What is left of the tones at so many bits to a dot.

        How many film codes the correction uses; the largest jump of print density from one to the next; and
        the film code, as a share, where that is.
        """
        most = 2**bits - 1
        used = as_bits(self.table, bits)
        codes = np.arange(int(used.min()), int(used.max()) + 1)
        if codes.size < 2:
            return int(codes.size), 0.0, float(codes[0]) / most
        film = np.rint(codes * (LARGEST / most)).astype(np.uint16)
        jumps = np.abs(np.diff(self.paper.density_at(-self.ink.density_at(film))))
        worst = int(jumps.argmax())
        return int(codes.size), float(jumps[worst]), float(codes[worst]) / most


def correct_tones(paper: PaperCurve, ink: InkScale, aim: ToneAim | None = None) -> ToneCorrection:
    """The correction for a coat and a film printer.

    Raises `OutOfDomain` for a coat that at its target is hardly darker than the lightest tone.
    """
    aim = aim or ToneAim()
    darkest = float(paper.density_at(np.zeros(1))[0])
    light = max(paper.d_min + aim.lightest_net, float(paper.density[0]))
    if darkest - light < 0.1:
        limit = f"one at which the coat is well darker than {light:.2f}; it reaches {darkest:.2f}"
        raise OutOfDomain("target_j_m2", None, limit)
    needed = -float(paper.exposure_for(np.array([light]))[0])
    reached = light
    if needed > ink.range + _ENOUGH:
        reached = float(paper.density_at(np.array([-ink.range]))[0])
        if darkest - reached < 0.05:
            limit = f"denser than {ink.range:.2f} above bare film: this coat needs {needed:.2f}"
            raise OutOfDomain("film_printer", None, limit)
    meant = reached if aim.when_short == "squeeze" else light
    share = shares()
    wanted = wanted_density(share, darkest, meant, aim.even)
    run_together = np.flatnonzero(wanted < reached - _ENOUGH)
    clipped_from = float(share[run_together[0]]) if run_together.size else None
    film_density = -paper.exposure_for(np.clip(wanted, reached, darkest))
    table = ink.codes_for(np.maximum(film_density, 0.0))
    table[0] = LARGEST  # where the coat is full long before the target, less than the target would do
    return ToneCorrection(table, wanted, paper, ink, aim, darkest, reached, light, needed, clipped_from)


def as_bits(film: CodeArray, bits: int) -> CodeArray:
    """Film codes as a printer of so many bits to a dot has them, 0 to 2 ** bits - 1, nearest."""
    most = 2**bits - 1
    out: CodeArray = ((film.astype(np.uint32) * most + LARGEST // 2) // LARGEST).astype(np.uint16)
    return out


def quantised(film: CodeArray, bits: int) -> CodeArray:
    """Film codes after they went through so many bits."""
    if bits >= 16:
        return film
    out: CodeArray = np.rint(as_bits(film, bits) * (LARGEST / (2**bits - 1))).astype(np.uint16)
    return out
