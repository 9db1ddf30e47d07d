"""Colour to grey: channel weights by name, as luminance, as a standard's luma, or as a colour filter."""

import csv
import math
from dataclasses import dataclass
from functools import cache
from typing import Literal

from noonframe.datafiles import data_folder
from noonframe.errors import DataFileError, OutOfDomain, UnknownName

Light = Literal["linear", "encoded"]
USUAL_MIX = "luminance"


@dataclass(frozen=True)
class GreyMix:
    """Weights of red, green and blue, which sum to 1, and the light they are weights of.

    "linear": of linear light, which is what a filter and an eye add up.  "encoded": of the encoded values,
    as video's luma is defined.
    """

    red: float
    green: float
    blue: float
    light: Light = "linear"
    name: str = "own weights"

    def __post_init__(self) -> None:
        for name in ("red", "green", "blue"):
            weight = getattr(self, name)
            if not (math.isfinite(weight) and -2.0 <= weight <= 2.0):
                raise OutOfDomain(f"grey.{name}", weight, "between -2 and 2")
        total = self.red + self.green + self.blue
        if abs(total - 1.0) > 1e-3:
            raise OutOfDomain("grey", round(total, 6), "weights that sum to 1, so that white stays white")
        if self.light not in ("linear", "encoded"):
            raise OutOfDomain("grey.light", self.light, "linear or encoded")

    @property
    def weights(self) -> tuple[float, float, float]:
        """Red, green and blue."""
        return self.red, self.green, self.blue


@cache
def named_mixes() -> dict[str, GreyMix]:
    """The mixes of `grey_mixes.csv`, by name."""
    path = data_folder() / "grey_mixes.csv"
    mixes: dict[str, GreyMix] = {}
    with path.open(encoding="utf-8", newline="") as stream:
        for number, row in enumerate(csv.DictReader(stream), start=2):
            try:
                light: Light = "encoded" if row["light"] == "encoded" else "linear"
                red, green, blue = (float(row[name]) for name in ("red", "green", "blue"))
                mixes[row["name"]] = GreyMix(red, green, blue, light, row["name"])
            except (KeyError, ValueError, OutOfDomain) as problem:
                raise DataFileError("row", f"{path.name}:{number}", str(problem)) from problem
    return mixes


def find_mix(name: str) -> GreyMix:
    """The mix called `name`."""
    known = named_mixes()
    if name not in known:
        raise UnknownName("grey", name, f"one of {', '.join(known)}")
    return known[name]
