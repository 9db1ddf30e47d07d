"""Doses, spreads and counts in words."""

import math
from collections.abc import Sequence

from noonframe.errors import OutOfDomain

_FRACTIONS = (
    (1 / 12, "a twelfth of a stop"),
    (1 / 8, "⅛ stop"),
    (1 / 6, "⅙ stop"),
    (1 / 4, "¼ stop"),
    (1 / 3, "⅓ stop"),
    (1 / 2, "½ stop"),
    (2 / 3, "⅔ stop"),
    (3 / 4, "¾ stop"),
    (1.0, "1 stop"),
    (1.25, "1¼ stops"),
    (1.5, "1½ stops"),
    (2.0, "2 stops"),
    (2.5, "2½ stops"),
    (3.0, "3 stops"),
    (4.0, "4 stops"),
)


def spread_words(spread_stops: float) -> str:
    """A spread above 0 by the nearest fraction that printers use."""
    if not 0.0 < spread_stops < math.inf:
        raise OutOfDomain("spread_stops", spread_stops, "above 0 stops")
    return min(_FRACTIONS, key=lambda fraction: abs(math.log(fraction[0] / spread_stops)))[1]


def dose_words(dose_j_m2: float) -> str:
    """A dose above 0 to two figures, in J/m², kJ/m² or MJ/m²."""
    if not 0.0 < dose_j_m2 < math.inf:
        raise OutOfDomain("dose_j_m2", dose_j_m2, "above 0 J/m2")
    exponent = math.floor(math.log10(dose_j_m2))
    rounded = round(dose_j_m2, 1 - exponent)
    for unit, size in (("MJ/m²", 1e6), ("kJ/m²", 1e3), ("J/m²", 1.0)):
        if rounded >= size or size == 1.0:
            value = rounded / size
            decimals = max(1 - math.floor(math.log10(value)), 0)
            return f"{value:.{decimals}f} {unit}"
    raise AssertionError("unreachable")


def plural(count: int, noun: str) -> str:
    """A count with its noun, e.g. "3 prints"."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def joined(parts: Sequence[str]) -> str:
    """Parts as a list in a sentence, e.g. "1 strip, 1 wedge and 3 prints"."""
    return " and ".join(filter(None, [", ".join(parts[:-1]), parts[-1] if parts else ""]))
