"""Finding and reading the shipped data files."""

import csv
import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from noonframe.errors import DataFileError
from noonframe.types import FloatArray


@cache
def data_folder() -> Path:
    """Folder of the shipped data: inside the installed package, else `data/` of the checkout."""
    package = Path(__file__).resolve().parent
    for folder in (package / "_data", package.parents[1] / "data"):
        if folder.is_dir():
            return folder
    raise DataFileError("data", package, "the data folder is missing from this installation")


def sidecar(name: str) -> dict[str, Any]:
    """The provenance record beside data file `name` (e.g. "ozone.csv" has "ozone.json")."""
    path = (data_folder() / name).with_suffix(".json")
    try:
        record: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as problem:
        raise DataFileError("sidecar", path.name, f"cannot be read ({problem})") from problem
    return record


def read_columns(path: Path) -> dict[str, FloatArray]:
    """Columns of a numeric CSV with one header row, by name; an empty cell is NaN.

    Raises `DataFileError` naming file and row for a ragged row or a cell that is not a number.
    """
    with path.open(encoding="utf-8-sig", newline="") as stream:
        rows = list(csv.reader(stream))
    if len(rows) < 2:
        raise DataFileError("rows", path.name, "needs a header and at least one row")
    header = [cell.strip() for cell in rows[0]]
    table = np.empty((len(rows) - 1, len(header)))
    for number, row in enumerate(rows[1:], start=2):
        if len(row) != len(header):
            raise DataFileError("row", f"{path.name}:{number}", f"has {len(row)} cells, not {len(header)}")
        try:
            table[number - 2] = [float(cell) if cell.strip() else np.nan for cell in row]
        except ValueError as problem:
            raise DataFileError("row", f"{path.name}:{number}", str(problem)) from problem
    return {name: table[:, column].copy() for column, name in enumerate(header)}
