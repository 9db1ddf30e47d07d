"""A lamp over a sheet: how much light it gives there when warm, and how sure that is.

The light is known in one of three ways: a meter's reading at the sheet, a print that came right, or power and
distance.  A print is the surest for the coat it was made with: errors of spectrum, meter and stack are in it,
and come out again with the next print.
"""

import math
from dataclasses import dataclass
from typing import Literal

from noonframe.errors import OutOfDomain
from noonframe.lamp.geometry import PointSource, SheetLight, Source, sheet_light
from noonframe.lamp.kinds import LampKind
from noonframe.lamp.warmup import WarmUp
from noonframe.stack.effective import band_weights, dose_weights
from noonframe.stack.grid import DOSE_HIGH_NM, DOSE_LOW_NM
from noonframe.stack.materials import Stack
from noonframe.stack.sensitizers import Sensitizer
from noonframe.types import FloatArray

Way = Literal["reading", "print", "power"]

METER_SPREAD_STOPS = 0.25
"""One standard deviation of a UV meter's reading under a lamp it was not calibrated for: common practice,
no source."""

PRINT_SPREAD_STOPS = 0.25
"""How exactly a print "came right": a quarter of a stop, as a given target."""

GEOMETRY_SPREAD_STOPS = 0.3
"""What reflections in the box, the tubes' own width and the ends of the bank do: common practice, no
source."""

_LEAST_IN_BAND = 0.2
_CENTRE_REACH_NM = 20.0
_AGE_DOUBT = 0.5  # an allowance for age is uncertain by half of itself
_MOST_W_M2, _LEAST_W_M2 = 1e5, 1e-4
LONGEST_HOURS = 100_000.0


@dataclass(frozen=True)
class Output:
    """All the light of a warm lamp at the middle of the sheet, when it was measured or new.

    `total_w_m2` counts all wavelengths; `spread_stops` is one standard deviation.  `is_diffuse` tells whether
    the light comes from all sides; `sheet` how even it is, None where that is not known.
    """

    way: Way
    total_w_m2: float
    spread_stops: float
    says: str
    is_diffuse: bool = True
    sheet: SheetLight | None = None

    def __post_init__(self) -> None:
        if not _LEAST_W_M2 <= self.total_w_m2 <= _MOST_W_M2:
            limit = f"such that the light at the sheet lies between {_LEAST_W_M2:g} and {_MOST_W_M2:g} W/m2"
            raise OutOfDomain("lamp.output", self.total_w_m2, limit)
        if not 0.0 <= self.spread_stops <= 4.0:
            raise OutOfDomain("lamp.output.spread_stops", self.spread_stops, "between 0 and 4 stops")


def from_reading(
    kind: LampKind,
    reading_w_m2: float,
    *,
    low_nm: float = 315.0,
    high_nm: float = 400.0,
    centre_nm: float | None = None,
    spread_stops: float = METER_SPREAD_STOPS,
) -> Output:
    """The light from a meter that lay where the sheet lies, under the warm lamp.

    The meter reads the irradiance between `low_nm` and `high_nm`; one that is calibrated for lamps of
    `centre_nm` is taken to read all of the light.  Raises `OutOfDomain` on `lamp.output.*` for a band that
    holds less than a fifth of the lamp's light, or a centre over 20 nm from its peak.
    """
    if not (math.isfinite(reading_w_m2) and reading_w_m2 > 0.0):
        raise OutOfDomain("lamp.output.irradiance_w_m2", reading_w_m2, "above 0")
    if centre_nm is not None:
        if not abs(centre_nm - kind.peak_nm) <= _CENTRE_REACH_NM:
            limit = f"within {_CENTRE_REACH_NM:g} nm of the lamp's peak, {kind.peak_nm:g} nm"
            raise OutOfDomain("lamp.output.meter_centre_nm", centre_nm, limit)
        says = f"a meter for {centre_nm:g} nm read {reading_w_m2:g} W/m² at the sheet"
        return Output("reading", reading_w_m2, spread_stops, says)
    share = kind.share_in(low_nm, high_nm)
    if share < _LEAST_IN_BAND:
        limit = (
            f"such that the band holds a fifth of this lamp's light at least; {low_nm:g}-{high_nm:g} nm has "
            f"{100.0 * share:.1f} %: take a meter for {kind.peak_nm:g} nm and give meter_centre_nm"
        )
        raise OutOfDomain("lamp.output.meter_high_nm", high_nm, limit)
    says = f"a meter read {reading_w_m2:g} W/m² at the sheet, {low_nm:g}-{high_nm:g} nm"
    return Output("reading", reading_w_m2 / share, spread_stops, says)


def from_print(
    kind: LampKind,
    length_s: float,
    *,
    target_j_m2: float,
    stack: Stack,
    sensitizer: Sensitizer,
    warm_up: WarmUp,
    coldness: float = 1.0,
    spread_stops: float = PRINT_SPREAD_STOPS,
) -> Output:
    """The light from a print that came right after `length_s` behind `stack`, on a coat of known target."""
    if not (math.isfinite(length_s) and length_s > 0.0):
        raise OutOfDomain("lamp.output.length_s", length_s, "above 0")
    full_s = warm_up.full_s(length_s, coldness)
    per_watt = effective_per_watt(kind.boxes, stack, sensitizer, is_diffuse=True)
    says = f"a print that came right in {length_s:g} s with {target_j_m2:g} J/m²"
    return Output("print", target_j_m2 / full_s / per_watt, spread_stops, says)


def from_power(
    kind: LampKind,
    source: Source,
    distance_m: float,
    *,
    electrical_w: float | None = None,
    radiant_w: float | None = None,
    efficiency: float | None = None,
    sheet_width_m: float = 0.2,
    sheet_depth_m: float = 0.25,
    spread_stops: float | None = None,
) -> Output:
    """The light from the power of all lamps together, radiated or electrical, and the geometry.

    The efficiency is the kind's if not given; its spread, and that of the geometry, go into the light's.
    """
    doubt = GEOMETRY_SPREAD_STOPS
    if radiant_w is not None:
        power_w, says = radiant_w, f"{radiant_w:g} W radiated"
    elif electrical_w is not None:
        share = kind.efficiency if efficiency is None else efficiency
        power_w = electrical_w * share
        says = f"{electrical_w:g} W, {100.0 * share:g} % of it light"
        if efficiency is None:
            doubt = math.hypot(doubt, kind.efficiency_spread_stops)
    else:
        raise OutOfDomain("lamp.output.power_w", None, "given, or else radiant_w")
    if not (math.isfinite(power_w) and power_w > 0.0):
        raise OutOfDomain("lamp.output.power_w", power_w, "above 0")
    light = sheet_light(source, distance_m, sheet_width_m, sheet_depth_m)
    return Output(
        "power",
        power_w * light.centre_per_watt_m2,
        doubt if spread_stops is None else spread_stops,
        f"{says}, from {source.says}, {distance_m:g} m from the sheet",
        is_diffuse=not isinstance(source, PointSource),
        sheet=light,
    )


def effective_per_watt(boxes: FloatArray, stack: Stack, sensitizer: Sensitizer, *, is_diffuse: bool) -> float:
    """Effective irradiance at the coat per W/m2 of all the lamp's light on the stack."""
    through = stack.diffuse_transmittance if is_diffuse else stack.normal_transmittance
    return float((boxes * through) @ dose_weights(sensitizer))


@dataclass(frozen=True)
class Lamp:
    """A kind of lamp with its light at the sheet, what it takes to warm up, and how it has aged.

    `hours` counts what it has burned since it was measured (or since new, where power tells the light).
    """

    kind: LampKind
    output: Output
    warm_up: WarmUp
    hours: float = 0.0
    loss_per_1000_h: float = 0.0
    name: str = ""

    def __post_init__(self) -> None:
        if not 0.0 <= self.hours <= LONGEST_HOURS:
            raise OutOfDomain("lamp.hours", self.hours, f"between 0 and {LONGEST_HOURS:g}")
        if not 0.0 <= self.loss_per_1000_h <= 0.9:
            raise OutOfDomain("lamp.loss_per_1000_h", self.loss_per_1000_h, "between 0 and 0.9")

    @property
    def age_share(self) -> float:
        """What age has left of the output: a share is lost in every thousand hours."""
        return float((1.0 - self.loss_per_1000_h) ** (self.hours / 1000.0))

    @property
    def total_w_m2(self) -> float:
        """All the light at the middle of the sheet, warm, by now."""
        return self.output.total_w_m2 * self.age_share

    @property
    def spectral_w_m2_nm(self) -> FloatArray:
        """Spectral irradiance (41,) at the middle of the sheet, warm, before any stack."""
        spectral: FloatArray = self.total_w_m2 * self.kind.boxes
        return spectral

    @property
    def output_spread_stops(self) -> float:
        """One standard deviation of the output: how it is known, and the allowance for its age."""
        return math.hypot(self.output.spread_stops, _AGE_DOUBT * -math.log2(self.age_share))

    def effective_w_m2(self, stack: Stack, sensitizer: Sensitizer) -> float:
        """Effective irradiance at the coat, warm; `OutOfDomain` on `stack` when nothing gets through."""
        share = effective_per_watt(self.kind.boxes, stack, sensitizer, is_diffuse=self.output.is_diffuse)
        if not share * self.total_w_m2 > 1e-9:
            raise OutOfDomain("stack", ",".join(stack.ids), f"one that lets light of {self.kind.id} through")
        return share * self.total_w_m2

    def spectrum_spread_stops(self, stack: Stack, sensitizer: Sensitizer) -> float:
        """What the tolerance of the peak, and what is not known of the coat's answer there, do to the light.

        Nothing where a print told the light: it told that too.
        """
        if self.output.way == "print":
            return 0.0
        short, middle, long = (
            effective_per_watt(boxes, stack, sensitizer, is_diffuse=self.output.is_diffuse)
            for boxes in (self.kind.boxes_short, self.kind.boxes, self.kind.boxes_long)
        )
        if not (short > 0.0 and long > 0.0):
            return 2.0  # an edge of the stack lies across the line: anything may come through
        through = stack.diffuse_transmittance if self.output.is_diffuse else stack.normal_transmittance
        unsure = sensitizer.action_sigma * band_weights(DOSE_LOW_NM, DOSE_HIGH_NM)
        answer = float((self.kind.boxes * through) @ unsure) / middle
        return math.hypot(0.5 * math.log2(short / long), math.log2(1.0 + answer))

    @property
    def says(self) -> str:
        """The lamp in plain words."""
        called = f"{self.name} ({self.kind.id})" if self.name else self.kind.id
        aged = f", {self.hours:g} h ago" if self.hours and self.output.way != "power" else ""
        aged = f", {self.hours:g} h old" if self.hours and self.output.way == "power" else aged
        return f"{called}: {self.output.says}{aged}"
