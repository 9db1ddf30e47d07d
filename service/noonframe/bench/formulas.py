"""Published formulas for the coat: stocks, their strengths, how they are mixed and how far they go."""

import difflib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from noonframe.bench.evidence import ToneScale
from noonframe.datafiles import data_folder
from noonframe.errors import DataFileError, UnknownName

DEFAULT_FORMULA = "citrate-classic-25"

_FILE = "coating_formulas.json"

_Entry = TypeVar("_Entry")


@dataclass(frozen=True)
class Solute:
    """A powder and its strength: grams to 100 mL of finished stock."""

    substance: str
    label: str
    percent_w_v: float


@dataclass(frozen=True)
class Stock:
    """One bottle.  `parts` is its share of the coating mix, by volume."""

    id: str
    label: str
    solutes: tuple[Solute, ...]
    parts: float


@dataclass(frozen=True)
class Formula:
    """A coating mix of one or more stocks, the sensitizer it makes, and where it was published.

    `caution` is empty but for a formula that not everyone should mix.
    """

    id: str
    label: str
    sensitizer: str
    stocks: tuple[Stock, ...]
    keeping: str
    source: str
    caution: str

    @property
    def substances(self) -> tuple[str, ...]:
        """Every substance in it, each once."""
        return tuple(dict.fromkeys(s.substance for stock in self.stocks for s in stock.solutes))

    def share(self, stock: Stock) -> float:
        """A stock's share of the mix, by volume."""
        return stock.parts / sum(each.parts for each in self.stocks)


@dataclass(frozen=True)
class Coverage:
    """How much mix a way of coating takes, with the usual range.  [mL m-2]"""

    id: str
    label: str
    ml_per_m2: float
    low_ml_per_m2: float
    high_ml_per_m2: float
    source: str


@dataclass(frozen=True)
class CoatingBook:
    """What the data file holds; tone scales by sensitizer."""

    formulas: Mapping[str, Formula]
    coverages: Mapping[str, Coverage]
    tone_scales: Mapping[str, ToneScale]

    def formula(self, identity: str) -> Formula:
        """The formula with that id; `UnknownName` with the nearest ids when there is none."""
        return _find("formula", identity, self.formulas)

    def coverage(self, identity: str) -> Coverage:
        """The coverage with that id."""
        return _find("coverage", identity, self.coverages)

    def tone_scale(self, sensitizer: str) -> ToneScale | None:
        """How far below full density the first tone of a coat lies, None where nothing is published."""
        return self.tone_scales.get(sensitizer)


def coating_book() -> CoatingBook:
    """The shipped formulas, coverages and tone scales."""
    return _read(data_folder() / _FILE)


def _find(field: str, identity: str, known: Mapping[str, _Entry]) -> _Entry:
    if identity in known:
        return known[identity]
    near = difflib.get_close_matches(identity[:80], known, n=3, cutoff=0.5)
    raise UnknownName(field, identity, ", ".join(known), near)


@lru_cache(maxsize=4)
def _read(path: Path) -> CoatingBook:
    try:
        record: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        formulas = {identity: _formula(identity, entry) for identity, entry in record["formulas"].items()}
        coverages = {
            identity: Coverage(
                identity,
                entry["label"],
                float(entry["ml_per_m2"]),
                float(entry["low_ml_per_m2"]),
                float(entry["high_ml_per_m2"]),
                entry["source"],
            )
            for identity, entry in record["coverages"].items()
        }
        scales = {
            identity: ToneScale(float(entry["stops"]), float(entry["spread_stops"]))
            for identity, entry in record["tone_scales"].items()
        }
    except (OSError, ValueError, KeyError, TypeError) as problem:
        raise DataFileError("coating_formulas", path.name, f"cannot be read ({problem!r})") from problem
    return CoatingBook(MappingProxyType(formulas), MappingProxyType(coverages), MappingProxyType(scales))


def _formula(identity: str, entry: dict[str, Any]) -> Formula:
    stocks = tuple(
        Stock(
            stock["id"],
            stock["label"],
            tuple(Solute(s["substance"], s["label"], float(s["percent_w_v"])) for s in stock["solutes"]),
            float(stock["parts"]),
        )
        for stock in entry["stocks"]
    )
    return Formula(
        identity,
        entry["label"],
        entry["sensitizer"],
        stocks,
        entry["keeping"],
        entry["source"],
        entry["caution"],
    )
