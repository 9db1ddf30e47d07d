"""How much of each stock a stack of sheets takes, what to weigh for a bottle, and how far a bottle goes."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from noonframe.bench.formulas import Formula, Stock
from noonframe.errors import OutOfDomain

MARGIN_SHARE = 0.15
"""What clings to the beaker, rod or brush (common practice, no source)."""

_ROUNDING = 1e-9  # a whole number of sheets must not lose one through rounding of the quotient


@dataclass(frozen=True)
class Sheets:
    """So many coated rectangles of one size."""

    width_mm: float
    height_mm: float
    count: int = 1

    def __post_init__(self) -> None:
        for name, value in (("width_mm", self.width_mm), ("height_mm", self.height_mm)):
            if not (math.isfinite(value) and 10.0 <= value <= 5000.0):
                raise OutOfDomain(f"sheets.{name}", value, "between 10 and 5000 mm")
        if not 1 <= self.count <= 10000:
            raise OutOfDomain("sheets.count", self.count, "between 1 and 10000")

    @property
    def area_m2(self) -> float:
        """Area of them all."""
        return self.width_mm * self.height_mm * self.count / 1e6


@dataclass(frozen=True)
class StockAmount:
    """Millilitres of one stock."""

    stock: Stock
    volume_ml: float


@dataclass(frozen=True)
class Mix:
    """What to measure out: `coat_ml` goes on the sheets, `total_ml` has the margin as well."""

    area_m2: float
    coat_ml: float
    total_ml: float
    stocks: tuple[StockAmount, ...]


@dataclass(frozen=True)
class PowderWeight:
    """Grams of one powder for a bottle of stock."""

    substance: str
    label: str
    weight_g: float


@dataclass(frozen=True)
class BottleReach:
    """How many sheets bottles of stock make, and the stock that runs out first."""

    sheets: int
    runs_out_first: Stock


def mix_for(
    sheets: Sequence[Sheets], formula: Formula, coverage_ml_m2: float, margin_share: float = MARGIN_SHARE
) -> Mix:
    """Millilitres of each stock for a list of sheets."""
    if not sheets:
        raise OutOfDomain("sheets", 0, "at least one size of sheet")
    _check_rates(coverage_ml_m2, margin_share)
    area_m2 = math.fsum(each.area_m2 for each in sheets)
    coat_ml = area_m2 * coverage_ml_m2
    total_ml = coat_ml * (1.0 + margin_share)
    stocks = tuple(StockAmount(stock, total_ml * formula.share(stock)) for stock in formula.stocks)
    return Mix(area_m2, coat_ml, total_ml, stocks)


def powders_for(stock: Stock, volume_ml: float) -> tuple[PowderWeight, ...]:
    """What to weigh for a volume of stock: dissolve in part of the water, then make up to the volume."""
    if not (math.isfinite(volume_ml) and 1.0 <= volume_ml <= 20000.0):
        raise OutOfDomain("volume_ml", volume_ml, "between 1 and 20000 mL")
    return tuple(PowderWeight(s.substance, s.label, s.percent_w_v * volume_ml / 100.0) for s in stock.solutes)


def bottle_reach(
    formula: Formula,
    bottle_ml: Mapping[str, float],
    sheet: Sheets,
    coverage_ml_m2: float,
    margin_share: float = MARGIN_SHARE,
) -> BottleReach:
    """How many sheets (of `sheet`'s size, whatever its count) bottles of the stocks, by id, will coat."""
    _check_rates(coverage_ml_m2, margin_share)
    one_ml = sheet.area_m2 / sheet.count * coverage_ml_m2 * (1.0 + margin_share)
    reach = []
    for stock in formula.stocks:
        volume_ml = bottle_ml.get(stock.id, math.nan)
        if not (math.isfinite(volume_ml) and 0.0 <= volume_ml <= 1e6):
            raise OutOfDomain(f"bottle_ml.{stock.id}", bottle_ml.get(stock.id), "between 0 and 1000000 mL")
        reach.append(volume_ml / (one_ml * formula.share(stock)))
    least = min(range(len(reach)), key=lambda index: reach[index])
    return BottleReach(math.floor(reach[least] + _ROUNDING), formula.stocks[least])


def _check_rates(coverage_ml_m2: float, margin_share: float) -> None:
    if not (math.isfinite(coverage_ml_m2) and 5.0 <= coverage_ml_m2 <= 300.0):
        raise OutOfDomain("coverage_ml_m2", coverage_ml_m2, "between 5 and 300 mL/m2")
    if not (math.isfinite(margin_share) and 0.0 <= margin_share <= 1.0):
        raise OutOfDomain("margin_share", margin_share, "between 0 and 1")
