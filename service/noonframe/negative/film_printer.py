"""What a film printer lays down: film density in the light that prints, over film code.

Printed as a step chart (`wedge`), the steps are read back: by a densitometer in its ultraviolet or blue
channel, or by the print that they made, whose densities the coat's own curve turns back into film density.
The second way needs no densitometer and weighs the ink as this light and this coat do.

Densities here are above those of the bare film, which is counted with the exposure.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.negative.code import STEPS, CodeArray, as_codes, decode, shares
from noonframe.negative.tone_curve import FIRST_TONE, PaperCurve
from noonframe.types import FloatArray

READING_NOISE = 0.03
"""How far a step may read below one with less ink (common practice for a densitometer, no source)."""

USUAL_DENSITY = 2.2
"""Of full ink on coated film, ultraviolet: 1.9 to 2.6 are met with (common practice, no source)."""

USUAL_SPREAD = 0.3
"""One standard deviation of `USUAL_DENSITY` (common practice, no source)."""

READ_SPREAD, PRINT_SPREAD = 0.03, 0.07
"""One standard deviation of a scale that was read from the film, or from a print (no source)."""

FEWEST_STEPS, MOST_STEPS = 5, 60
FEWEST_PRINTED = 4
LEAST_RANGE = 0.3
HIGHEST_DENSITY = 6.0
_SHOULDER_SHARE = 0.95
_PAPER_AGREES = 0.1


@dataclass(frozen=True)
class InkScale:
    """Film density above bare film (65536,) over film code, never rising; 0 at the last code, bare film.

    `bare_density` is what bare film read, base and all, where that was told; `spread` is one standard
    deviation of the scale; `says` and `notes` tell where it comes from and what it lacks.
    """

    density: FloatArray = field(repr=False)
    spread: float
    says: str
    bare_density: float | None = None
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.density.shape != (STEPS,) or np.any(np.diff(self.density) > 1e-12):
            raise OutOfDomain("scale", None, f"{STEPS} densities that never rise with the code")

    @property
    def range(self) -> float:
        """From bare film to the densest ink, in density."""
        return float(self.density[0])

    def codes_for(self, density: FloatArray) -> CodeArray:
        """Film codes for densities above bare film, any shape; past full ink the densest code there is."""
        ink = self.density[::-1]
        rises = np.concatenate(([True], np.diff(ink) > 0.0))  # of codes alike, the one with least ink
        return as_codes(1.0 - np.interp(density, ink[rises], shares()[rises]))

    def density_at(self, film: CodeArray) -> FloatArray:
        """Film density above bare film of codes of any shape."""
        return self.density[film]


def usual_scale(full_density: float = USUAL_DENSITY, spread: float = USUAL_SPREAD) -> InkScale:
    """A printer of which nothing was read, but perhaps its full density.

    The shape is that of a driver that makes film show grey code as sRGB has it, on a light table: a guess,
    though a common one, for the ultraviolet.
    """
    if not (math.isfinite(full_density) and LEAST_RANGE <= full_density <= HIGHEST_DENSITY):
        limit = f"between {LEAST_RANGE} and {HIGHEST_DENSITY:g}"
        raise OutOfDomain("full_density", full_density, limit)
    floor = 10.0**-full_density
    density = -np.log10(floor + (1.0 - floor) * decode(shares()))
    density[-1] = 0.0
    return InkScale(
        density,
        spread,
        f"assumed: full ink {full_density:.2f} above bare film, in between as a light table shows grey",
        notes=("the film printer was not measured: its scale is a guess, a step chart read back mends that",),
    )


def read_scale(
    density: Sequence[float],
    ink_share: Sequence[float] | None = None,
    *,
    includes_base: bool = True,
    noise: float = READING_NOISE,
) -> InkScale:
    """The scale of a step chart whose film was read, from bare film to full ink.

    `density` (n,) rises but for `noise`; `ink_share` (n,), from 0 to at most 1, tells how much ink each step
    was given, even steps to full ink if None.  With `includes_base` the first reading is bare film, base and
    all; else the instrument was set to 0 on it.
    """
    ink = _checked_ink(len(density), ink_share)
    values = _checked("densities", density, -0.1, HIGHEST_DENSITY)
    _refuse_turns("densities", values, noise)
    bare = float(values[0]) if includes_base else None
    if not includes_base and abs(values[0]) > max(3.0 * noise, 0.1):
        limit = "about 0, where the instrument was set to 0 on bare film; or else includes_base true"
        raise OutOfDomain("densities[0]", float(values[0]), limit)
    if values[-1] - values[0] < LEAST_RANGE:
        limit = f"at least {LEAST_RANGE} above the first, {values[0]:g}"
        raise OutOfDomain(f"densities[{len(values) - 1}]", float(values[-1]), limit)
    notes = () if ink[-1] == 1.0 else (f"read up to {100.0 * ink[-1]:.0f} % ink; more is not used",)
    says = f"{len(values)} steps read from the film, full ink {values[-1] - values[0]:.2f} above bare film"
    return InkScale(_fitted(ink, values), READ_SPREAD, says, bare, notes)


def printed_scale(
    print_density: Sequence[float],
    paper: PaperCurve,
    ink_share: Sequence[float] | None = None,
    *,
    exposure_stops: float = 0.0,
    noise: float = READING_NOISE,
) -> InkScale:
    """The scale of a step chart out of the print it made on a known coat.

    `print_density` (n,) falls, from under bare film to under full ink, but for `noise`; the bare film had
    the target's dose times 2 ** `exposure_stops`.  Only tones on the curve's slope tell a film density: from
    0.04 above D_min to 95 % of the net density; at least 4 must.
    """
    ink = _checked_ink(len(print_density), ink_share)
    values = _checked("densities", print_density, -0.2, 5.0)
    if not (math.isfinite(exposure_stops) and -4.0 <= exposure_stops <= 4.0):
        raise OutOfDomain("exposure_stops", exposure_stops, "between -4 and 4")
    _refuse_turns("densities", values, noise, falling=True)
    if values[0] > paper.d_max + _PAPER_AGREES:
        limit = f"at most that of the coat's own curve, {paper.d_max:.2f}: another coat, or read otherwise"
        raise OutOfDomain("densities[0]", float(values[0]), limit)
    if values[-1] < paper.d_min - _PAPER_AGREES:
        limit = f"at least that of the coat's own paper, {paper.d_min:.2f}: another paper, or read otherwise"
        raise OutOfDomain(f"densities[{len(values) - 1}]", float(values[-1]), limit)
    light, dark = paper.d_min + FIRST_TONE, paper.d_min + _SHOULDER_SHARE * paper.net_density
    told = (values >= light) & (values <= dark)
    if np.count_nonzero(told) < FEWEST_PRINTED:
        limit = f"at least {FEWEST_PRINTED} steps between {light:.2f} and {dark:.2f}, where the curve slopes"
        raise OutOfDomain("densities", int(np.count_nonzero(told)), limit)
    exposure = paper.exposure_for(values)
    bare = float(exposure[0]) if told[0] else exposure_stops * math.log10(2.0)
    film = bare - exposure[told]
    start = 1 if told[0] else 0
    nodes = np.concatenate(([0.0], ink[told][start:]))
    read = np.maximum(np.concatenate(([0.0], film[start:])), 0.0)
    notes = []
    expected = float(paper.density_at(np.array([exposure_stops * math.log10(2.0)]))[0])
    if abs(values[0] - expected) > 3.0 * noise + 0.05:
        notes.append(
            f"under bare film the print has {values[0]:.2f} where its exposure should give {expected:.2f}"
        )
    last = int(np.flatnonzero(told)[-1])
    if last < len(values) - 1:
        notes.append(
            f"from step {last + 2} on the print is paper white: more ink than {100.0 * ink[last]:.0f} % is"
            " not used"
        )
    says = f"{len(read) - 1 + start} steps read from a print, up to {read[-1]:.2f} above bare film"
    if read[-1] < LEAST_RANGE:
        limit = f"a range of film density of at least {LEAST_RANGE}, not {read[-1]:.2f}"
        raise OutOfDomain("densities", None, limit)
    return InkScale(_fitted(nodes, read), PRINT_SPREAD, says, notes=tuple(notes))


def scanned_density(
    code: Sequence[float], paper_code: float, paper_density: float, largest: float = 255.0
) -> list[float]:
    """Print densities of grey sRGB codes picked out of a scan or photograph, against bare washed paper's.

    The light must lie evenly on the print, and the picture must not have been brightened; flare makes dark
    tones read too light.
    """
    if not (math.isfinite(paper_code) and 0.2 * largest <= paper_code <= largest):
        raise OutOfDomain("paper_code", paper_code, f"between {0.2 * largest:g} and {largest:g}")
    for index, value in enumerate(code):
        if not (math.isfinite(value) and 1.0 <= value <= largest):
            raise OutOfDomain(f"codes[{index}]", value, f"between 1 and {largest:g}")
    light = decode(np.asarray([paper_code, *code], dtype=np.float64) / largest)
    found: list[float] = (paper_density - np.log10(light[1:] / light[0])).tolist()
    return found


def _checked_ink(count: int, ink_share: Sequence[float] | None) -> FloatArray:
    if not FEWEST_STEPS <= count <= MOST_STEPS:
        raise OutOfDomain("densities", count, f"between {FEWEST_STEPS} and {MOST_STEPS} readings")
    if ink_share is None:
        return np.linspace(0.0, 1.0, count)
    if len(ink_share) != count:
        raise OutOfDomain("ink_shares", len(ink_share), f"as many as the readings, {count}")
    for index, value in enumerate(ink_share):
        least = 0.0 if index == 0 else ink_share[index - 1]
        if not math.isfinite(value) or value > 1.0 or (value != 0.0 if index == 0 else value <= least):
            limit = f"above {least:g}, that of the step before, and at most 1" if index else "0, bare film"
            raise OutOfDomain(f"ink_shares[{index}]", value, limit)
    return np.asarray(ink_share, dtype=np.float64)


def _checked(field_name: str, values: Sequence[float], low: float, high: float) -> FloatArray:
    for index, value in enumerate(values):
        if not (math.isfinite(value) and low <= value <= high):
            raise OutOfDomain(f"{field_name}[{index}]", value, f"between {low:g} and {high:g}")
    return np.asarray(values, dtype=np.float64)


def _refuse_turns(field_name: str, values: FloatArray, noise: float, *, falling: bool = False) -> None:
    """Raise for a step that lies beyond `noise` on the wrong side of one with less ink."""
    if not (math.isfinite(noise) and 0.0 <= noise <= 0.2):
        raise OutOfDomain("noise", noise, "between 0 and 0.2")
    sign = -1.0 if falling else 1.0
    ahead = 0
    for index in range(1, len(values)):
        if sign * (values[index] - values[ahead]) < -noise - 1e-9:
            limit = (
                f"at most {noise:g} {'above' if falling else 'below'} that of step {ahead + 1}, "
                f"{values[ahead]:.4g}, which had less ink: read step {index + 1} again"
            )
            raise OutOfDomain(f"{field_name}[{index}]", float(values[index]), limit)
        if sign * (values[index] - values[ahead]) > 0.0:
            ahead = index


def _fitted(ink: FloatArray, density: FloatArray) -> FloatArray:
    """Density above bare film over film code: the nearest rising steps, and a cubic that keeps them so."""
    from scipy.interpolate import PchipInterpolator
    from scipy.optimize import isotonic_regression

    level = isotonic_regression(density).x
    curve = PchipInterpolator(ink, level)
    over_ink = curve(np.minimum(shares(), ink[-1])) - level[0]
    over_ink = np.maximum.accumulate(np.maximum(over_ink, 0.0))  # rounding may dip by a hair
    fitted: FloatArray = np.ascontiguousarray(over_ink[::-1])
    return fitted
