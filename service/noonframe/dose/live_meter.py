"""What a meter adds: a factor on the modelled light, sure to the degree that the reading was.

A reading is a ratio to the light at another moment of the same exposure.  Both moments are put against the
cloudless light of their own sun and spot, so what is left of the ratio is what cloud did:

    log2 x = log2 (estimate then) + log2 (sun now / sun then) + (c / p) log2 (ratio / cloudless ratio)
             - log2 (modelled now)

with p Schwarzschild's exponent and c = 1 for an ultraviolet meter; a lux meter sees what a pyranometer
sees, and the ultraviolet dims as its 0.81st power (the published form kc**0.81 for cloudy hours).  Its
cloudless ratio is that of the blue.  x and the model (x = 1) are combined by inverse variance of their
logarithms, the reading's variance being its own, that of the estimate then and, for lux, that of the step to
the ultraviolet.

Between two readings the factor is straight in its logarithm.  A spell of one kind of sky, as seen, is on its
own: its first reading also speaks for what came before it in the spell, and after its last one the factor
goes back to 1 with the persistence, 1 + (x - 1) exp(-t / persistence).
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from noonframe.dose.live_events import MeterRead, SkySeen
from noonframe.types import BoolArray, FloatArray

if TYPE_CHECKING:
    from noonframe.dose.live_sky import SkyTrack

LUX_TO_UV_EXPONENT = 0.81
LUX_SPREAD_STOPS = 0.12
"""One standard deviation of ultraviolet behind cloud that is known from visible light alone: 8-9 %, of the
order of the 10 % by which it follows from total irradiance (Badosa et al. 2014, abstract)."""

_LN2 = math.log(2.0)


@dataclass(frozen=True)
class Knot:
    """The factor known at one moment: its logarithm and that one's standard deviation, both in stops."""

    at_s: float
    stops: float
    spread_stops: float


@dataclass(frozen=True)
class _Stretch:
    """From `from_s` on, until the next: a knot and how it goes on."""

    from_s: float
    knot: Knot | None
    slope_stops_per_s: float = 0.0
    spread_slope_per_s: float = 0.0
    fades: bool = False


@dataclass(frozen=True, eq=False)
class MeterPieces:
    """The factor in `k` pieces, as scale (k,) times exp(per_s (k,) t) from the begin of each, summed.

    `held` (k,) is the weight of the readings at the middle, `spread_stops` (k,) what they leave unsure.
    """

    terms: tuple[tuple[FloatArray, FloatArray], ...]
    held: FloatArray
    spread_stops: FloatArray

    def factor_at_middle(self, length_s: FloatArray) -> FloatArray:
        """The factor (k,) in the middle of pieces of these lengths."""
        factor = np.zeros(length_s.size)
        for scale, per_s in self.terms:
            factor += scale * np.exp(0.5 * per_s * length_s)
        return factor

    def spread(
        self, mean: FloatArray, standing: FloatArray, switching: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Standing and switching errors (k,) once the readings are taken into account."""
        rest = 1.0 - self.held
        return self.held * _LN2 * mean * self.spread_stops + rest * standing, rest * switching


class MeterTrack:
    """The factor all along an exposure."""

    def __init__(self, stretches: Sequence[_Stretch], persistence_s: float, unused: int = 0) -> None:
        self.unused = unused
        self.marks_s = np.array([stretch.from_s for stretch in stretches])
        self._fade_per_s = 1.0 / persistence_s
        knots = [stretch.knot or Knot(0.0, 0.0, 0.0) for stretch in stretches]
        self._table = np.array(
            [
                (
                    knot.at_s,
                    knot.stops,
                    knot.spread_stops,
                    stretch.slope_stops_per_s,
                    stretch.spread_slope_per_s,
                    stretch.fades,
                    stretch.knot is not None,
                )
                for knot, stretch in zip(knots, stretches, strict=True)
            ]
        ).reshape(len(stretches), 7)

    def at(self, middle_s: FloatArray, begin_s: FloatArray) -> MeterPieces:
        """The factor in pieces (k,), none of which reaches over a mark."""
        count = middle_s.size
        one, zero = np.ones(count), np.zeros(count)
        which = self.marks_s.searchsorted(middle_s, side="right") - 1
        if self.marks_s.size == 0 or not (which >= 0).any():
            return MeterPieces(((one, zero),), zero, zero)
        row = self._table[np.maximum(which, 0)].T
        at_s, stops, spread, slope, spread_slope, fades, known = row
        known = known * (which >= 0)
        fading: BoolArray = (fades * known) > 0.0
        level = np.where(known > 0.0, 1.0, 0.0)
        straight = np.where(fading, 0.0, level * _LN2 * (stops + slope * (begin_s - at_s)))
        excess = np.where(fading, np.exp2(stops) - 1.0, 0.0)
        since_begin = np.where(fading, begin_s - at_s, 0.0)
        since_middle = np.where(fading, middle_s - at_s, 0.0)
        terms = (
            (np.exp(straight), np.where(fading, 0.0, level * _LN2 * slope)),
            (excess * np.exp(-since_begin * self._fade_per_s), np.full(count, -self._fade_per_s)),
        )
        held = level * np.exp(-since_middle * self._fade_per_s)
        left = np.where(fading, spread, spread + spread_slope * (middle_s - at_s))
        return MeterPieces(terms, held, level * left)

    def excess_ahead(self, time_s: float) -> float:
        """The factor less 1 at `time_s`, which after the last reading fades from there; 0 without a meter."""
        if self.marks_s.size == 0:
            return 0.0
        pieces = self.at(np.array([time_s]), np.array([time_s]))
        return float(sum(scale[0] for scale, _ in pieces.terms)) - 1.0


NO_METER = MeterTrack((), 1.0)


def meter_track(track: "SkyTrack", readings: Sequence[MeterRead], reciprocity_exponent: float) -> MeterTrack:
    """What `readings`, by rising time, add to a track that knows none yet.

    Readings in the dark, or against a moment that was, say nothing and are counted as `unused`.
    """
    starts = _spells(track.skies)
    knots: dict[int, list[Knot]] = {}
    unused = 0
    for reading in readings:
        spell, before = bisect_right(starts, reading.at_s), bisect_right(starts, reading.reference_s)
        then = _value(knots.get(before, []), reading.reference_s, track)
        own = _measured(track, reading, then, reciprocity_exponent)
        if own is None:
            unused += 1
            continue
        here = knots.setdefault(spell, [])
        if spell == before and (not here or here[-1].at_s < reading.reference_s):
            here.append(then)
        if here and here[-1].at_s == reading.at_s:
            prior = here.pop()
        else:
            prior = Knot(reading.at_s, 0.0, _model_spread(track, reading.at_s))
        here.append(_combined(prior, own))
    return MeterTrack(_stretches(starts, knots), track.persistence_s, unused)


def _spells(skies: Sequence[SkySeen]) -> list[float]:
    """The moments at which another kind of sky was seen than before."""
    starts: list[float] = []
    last = None
    for sky in skies:
        if sky.word.parts != last:
            starts.append(sky.at_s)
        last = sky.word.parts
    return starts


def _model_spread(track: "SkyTrack", at_s: float) -> float:
    return float(track.light(np.array([at_s])).spread_stops[0])


def _value(knots: Sequence[Knot], at_s: float, track: "SkyTrack") -> Knot:
    """What earlier readings of the spell say of a moment."""
    model = _model_spread(track, at_s)
    after = bisect_right([knot.at_s for knot in knots], at_s)
    if after == 0:
        return Knot(at_s, knots[0].stops, knots[0].spread_stops) if knots else Knot(at_s, 0.0, model)
    last = knots[after - 1]
    if after < len(knots):
        share = (at_s - last.at_s) / (knots[after].at_s - last.at_s)
        following = knots[after]
        return Knot(
            at_s,
            last.stops + share * (following.stops - last.stops),
            last.spread_stops + share * (following.spread_stops - last.spread_stops),
        )
    held = math.exp((last.at_s - at_s) / track.persistence_s)
    excess = held * (2.0**last.stops - 1.0)
    return Knot(at_s, math.log2(1.0 + excess), held * last.spread_stops + (1.0 - held) * model)


def _measured(track: "SkyTrack", reading: MeterRead, then: Knot, reciprocity_exponent: float) -> Knot | None:
    """What the reading alone says of its moment; None where there is no light to compare."""
    is_lux = reading.quantity == "lux"
    light = track.light(np.array([reading.reference_s, reading.at_s]))
    modelled, sun, meter = light.mean_w_m2, light.sun_w_m2, np.zeros(2)
    for index, at_s in enumerate((reading.reference_s, reading.at_s)):
        series = track.spot_at(at_s).scene.sun_out.light(np.array([at_s]))
        meter[index] = (series.blue_w_m2 if is_lux else series.uva_w_m2)[0]
    if min(modelled.min(), sun.min(), meter.min()) <= 0.0:
        return None
    power = (LUX_TO_UV_EXPONENT if is_lux else 1.0) / reciprocity_exponent
    by_cloud = power * math.log2(reading.ratio * meter[0] / meter[1])
    stops = then.stops + math.log2(modelled[0] * sun[1] / (sun[0] * modelled[1])) + by_cloud
    own = power * math.log1p(reading.relative_uncertainty) / _LN2
    spread = math.hypot(own, then.spread_stops, LUX_SPREAD_STOPS if is_lux else 0.0)
    return Knot(reading.at_s, stops, spread)


def _combined(prior: Knot, own: Knot) -> Knot:
    """Both by inverse variance; a prior that is certain stays."""
    variance = prior.spread_stops**2, own.spread_stops**2
    share = variance[0] / (variance[0] + variance[1])  # the reading's own is never 0
    stops = prior.stops + share * (own.stops - prior.stops)
    return Knot(own.at_s, stops, math.sqrt(share * variance[1]))


def _stretches(starts: Sequence[float], knots: dict[int, list[Knot]]) -> list[_Stretch]:
    stretches: list[_Stretch] = []
    for spell in sorted(spell for spell, own in knots.items() if own):
        own = knots[spell]
        begin_s = starts[spell - 1] if spell > 0 else -math.inf
        if own[0].stops != 0.0 and begin_s < own[0].at_s:
            stretches.append(_Stretch(begin_s, own[0]))
        for knot, following in pairwise(own):
            length_s = following.at_s - knot.at_s
            slope = (following.stops - knot.stops) / length_s
            spread_slope = (following.spread_stops - knot.spread_stops) / length_s
            stretches.append(_Stretch(knot.at_s, knot, slope, spread_slope))
        stretches.append(_Stretch(own[-1].at_s, own[-1], fades=True))
        if spell < len(starts):
            stretches.append(_Stretch(starts[spell], None))
    return stretches
