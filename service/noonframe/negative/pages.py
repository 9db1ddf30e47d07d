"""Sizes of film pages, by name or in millimetres."""

import csv
import math
from dataclasses import dataclass
from functools import cache

from noonframe.datafiles import data_folder
from noonframe.errors import DataFileError, OutOfDomain, UnknownName

MM_PER_INCH = 25.4
LEAST_SIDE_MM, MOST_SIDE_MM = 20.0, 1200.0
LEAST_DPI, MOST_DPI = 36.0, 2880.0
MOST_PAGE_PIXELS = 130_000_000
"""A3+ at 720 dots per inch; two bytes each."""


@dataclass(frozen=True)
class Page:
    """A page of film, upright or lying: its width and height as it is looked at."""

    width_mm: float
    height_mm: float
    name: str = "own size"

    def __post_init__(self) -> None:
        for name in ("width_mm", "height_mm"):
            side = getattr(self, name)
            if not (math.isfinite(side) and LEAST_SIDE_MM <= side <= MOST_SIDE_MM):
                raise OutOfDomain(f"page.{name}", side, f"between {LEAST_SIDE_MM:g} and {MOST_SIDE_MM:g} mm")

    def pixels(self, dpi: float) -> tuple[int, int]:
        """Columns and rows at `dpi`, the nearest whole numbers; refuses a page too large to be made."""
        if not (math.isfinite(dpi) and LEAST_DPI <= dpi <= MOST_DPI):
            raise OutOfDomain("dpi", dpi, f"between {LEAST_DPI:g} and {MOST_DPI:g}")
        columns, rows = round(self.width_mm / MM_PER_INCH * dpi), round(self.height_mm / MM_PER_INCH * dpi)
        if columns * rows > MOST_PAGE_PIXELS:
            most = math.floor(math.sqrt(MOST_PAGE_PIXELS / (self.width_mm * self.height_mm)) * MM_PER_INCH)
            limit = f"at most {most} on this page, or {MOST_PAGE_PIXELS // 10**6} million pixels"
            raise OutOfDomain("dpi", dpi, limit)
        return columns, rows

    def lying(self) -> "Page":
        """The same page turned by a quarter."""
        return Page(self.height_mm, self.width_mm, self.name)


@cache
def named_pages() -> dict[str, Page]:
    """The pages of `page_sizes.csv`, by name, all upright."""
    path = data_folder() / "page_sizes.csv"
    pages: dict[str, Page] = {}
    with path.open(encoding="utf-8", newline="") as stream:
        for number, row in enumerate(csv.DictReader(stream), start=2):
            try:
                pages[row["name"]] = Page(float(row["width_mm"]), float(row["height_mm"]), row["name"])
            except (KeyError, ValueError, OutOfDomain) as problem:
                raise DataFileError("row", f"{path.name}:{number}", str(problem)) from problem
    return pages


def find_page(name: str) -> Page:
    """The page called `name`."""
    known = named_pages()
    if name not in known:
        raise UnknownName("page", name, f"one of {', '.join(known)}, or width_mm and height_mm")
    return known[name]
