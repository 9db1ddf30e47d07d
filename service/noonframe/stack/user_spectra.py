"""The user's own spectra: one CSV file each, in one folder.

`NAME.pane.csv` and `NAME.film.csv` have the columns `wavelength_nm,transmittance`, `NAME.sensitizer.csv` has
`wavelength_nm,relative_action` and `NAME.lamp.csv` has `wavelength_nm,relative_power`.  Lines that begin with
`#` come first and may say more, one `# key: value` each: `label`, and for a sheet `refractive_index`, for a
sensitizer `target_j_m2` and `target_spread_stops`.

Rows run from 300 nm or less to 480 nm or more, strictly rising, at most 20 nm apart.  Each box takes the
mean of the straight lines between the rows over ±2.5 nm, or over what the file covers of it.  Boxes below
the first row hold that row's value; below 300 nm nothing counts towards the dose.
"""

import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from noonframe.errors import DataFileError
from noonframe.stack.grid import DOSE_HIGH_NM, DOSE_LOW_NM, HALF_BOX_NM, WAVELENGTH_NM
from noonframe.types import FloatArray

OwnKind = Literal["pane", "film", "sensitizer", "lamp"]

WIDEST_STEP_NM = 20.0
LARGEST_FILE_BYTES = 1_000_000
MOST_FILES = 200

_ENDINGS: dict[str, OwnKind] = {
    ".pane.csv": "pane",
    ".film.csv": "film",
    ".sensitizer.csv": "sensitizer",
    ".lamp.csv": "lamp",
}
_QUANTITIES = {"sensitizer": "relative_action", "lamp": "relative_power"}

# key: lowest and highest value
_SHEET_KEYS = {"refractive_index": (1.0, 3.0)}
_LAMP_KEYS: dict[str, tuple[float, float]] = {}
_SENSITIZER_KEYS = {"target_j_m2": (1.0, 1e8), "target_spread_stops": (0.0, 5.0)}

Signature = tuple[tuple[str, int, int], ...]


@dataclass(frozen=True)
class OwnSpectrum:
    """One file as read: `values` (41,) on the boxes, `extras` the numbers of its `#` lines."""

    id: str
    label: str
    kind: OwnKind
    values: FloatArray
    extras: dict[str, float]
    file_name: str


def folder_signature(folder: Path) -> Signature:
    """Name, time of change and size of each spectrum file in `folder`; changes whenever a file does.

    Raises `DataFileError` when `folder` cannot be listed or holds more than 200 such files.
    """
    try:
        entries = [
            (path.name, stat.st_mtime_ns, stat.st_size)
            for path in folder.iterdir()
            if _kind_of(path.name) is not None
            for stat in (path.stat(),)
        ]
    except OSError as problem:
        raise DataFileError("own spectra", folder, f"cannot be listed ({problem.strerror})") from problem
    if len(entries) > MOST_FILES:
        raise DataFileError(
            "own spectra", folder, f"holds {len(entries)} files; at most {MOST_FILES} are read"
        )
    return tuple(sorted(entries))


def read_folder(folder: Path, signature: Signature) -> tuple[OwnSpectrum, ...]:
    """Every spectrum that `signature` lists, in order of name.

    Raises `DataFileError` naming file and row, also when two files would share an id.
    """
    spectra: dict[str, OwnSpectrum] = {}
    for name, _, _ in signature:
        own = read_spectrum(folder / name)
        if own.id in spectra:
            raise DataFileError(
                "own spectra", name, f"has the id {own.id} of {spectra[own.id].file_name}; rename one"
            )
        spectra[own.id] = own
    return tuple(spectra.values())


def read_spectrum(path: Path) -> OwnSpectrum:
    """The spectrum in one file, whose kind its ending tells; form and treatment as the module says.

    Raises `DataFileError` naming file and row.
    """
    kind = _kind_of(path.name)
    if kind is None:
        raise DataFileError("own spectrum", path.name, f"must end in one of {', '.join(_ENDINGS)}")
    comments, rows = _read_lines(path)
    known = {"sensitizer": _SENSITIZER_KEYS, "lamp": _LAMP_KEYS}.get(kind, _SHEET_KEYS)
    label, extras = _read_comments(path.name, comments, known)
    quantity = _QUANTITIES.get(kind, "transmittance")
    wavelength_nm, values = _read_rows(path.name, rows, quantity)
    boxes = box_means(wavelength_nm, values)
    if kind in _QUANTITIES:
        peak = float(boxes[WAVELENGTH_NM >= DOSE_LOW_NM].max())
        if peak <= 0.0:
            raise DataFileError(quantity, path.name, "is zero at every wavelength from 300 to 480 nm")
        boxes = np.minimum(boxes / peak, 1.0)
    stem = path.name[: -len(f".{kind}.csv")]
    return OwnSpectrum(own_id(stem, path.name), label or stem, kind, boxes, extras, path.name)


def own_id(stem: str, file_name: str) -> str:
    """`own-`, then the stem in lower-case letters and digits with hyphens: "My Pane" -> "own-my-pane"."""
    plain = unicodedata.normalize("NFKD", stem).encode("ascii", "ignore").decode().lower()
    words = re.findall(r"[a-z0-9]+", plain)
    if not words:
        raise DataFileError("own spectrum", file_name, "needs a Latin letter or a digit in its name")
    return "-".join(["own", *words])


def box_means(wavelength_nm: FloatArray, values: FloatArray) -> FloatArray:
    """Mean over each box of the straight lines between the rows, shape (41,); see the module for the ends."""
    low = np.clip(WAVELENGTH_NM - HALF_BOX_NM, wavelength_nm[0], wavelength_nm[-1])
    high = np.clip(WAVELENGTH_NM + HALF_BOX_NM, wavelength_nm[0], wavelength_nm[-1])
    # The integral is taken exactly, with the box edges added to the rows as nodes.
    nodes = np.union1d(wavelength_nm, np.concatenate([low, high]))
    line = np.interp(nodes, wavelength_nm, values)
    integral = np.concatenate([[0.0], np.cumsum(0.5 * (line[1:] + line[:-1]) * np.diff(nodes))])
    width = high - low
    total = np.interp(high, nodes, integral) - np.interp(low, nodes, integral)
    means = np.divide(total, width, out=np.full(width.shape, values[0]), where=width > 0.0)
    # Differences of a running sum may stray from the data's own range by rounding.
    kept: FloatArray = np.clip(means, values.min(), values.max())
    return kept


def _kind_of(name: str) -> OwnKind | None:
    return next((kind for ending, kind in _ENDINGS.items() if name.lower().endswith(ending)), None)


def _read_lines(path: Path) -> tuple[list[tuple[int, str]], list[tuple[int, list[str]]]]:
    """The `#` lines and the rows of cells, each with its line number; blank lines are passed over."""
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise DataFileError("own spectrum", path.name, f"is larger than {LARGEST_FILE_BYTES} bytes")
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as problem:
        raise DataFileError(
            "own spectrum", path.name, f"cannot be read as UTF-8 text ({problem})"
        ) from problem
    comments: list[tuple[int, str]] = []
    rows: list[tuple[int, list[str]]] = []
    for number, line in enumerate(lines, start=1):
        text = line.strip()
        if text.startswith("#"):
            if rows:
                raise DataFileError("row", f"{path.name}:{number}", "a # line must come before the header")
            comments.append((number, text.lstrip("#").strip()))
        elif text:
            rows.append((number, [cell.strip() for cell in text.split(",")]))
    return comments, rows


def _read_comments(
    name: str, comments: list[tuple[int, str]], known: dict[str, tuple[float, float]]
) -> tuple[str, dict[str, float]]:
    label, extras = "", {}
    for number, text in comments:
        key, colon, value = (part.strip() for part in text.partition(":"))
        where = f"{name}:{number}"
        if key == "label" and colon:
            if not 0 < len(value) <= 120:
                raise DataFileError("label", where, "must have 1 to 120 characters")
            label = value
        elif key in known and colon:
            low, high = known[key]
            amount = _number(key, value, where)
            if not low <= amount <= high:
                raise DataFileError(key, where, f"is {amount:g}; it must be between {low:g} and {high:g}")
            extras[key] = amount
        else:
            raise DataFileError(
                "row", where, f"must read '# key: value' with a key among {', '.join(['label', *known])}"
            )
    return label, extras


def _read_rows(name: str, rows: list[tuple[int, list[str]]], quantity: str) -> tuple[FloatArray, FloatArray]:
    expected = ["wavelength_nm", quantity]
    if not rows or rows[0][1] != expected:
        line = rows[0][0] if rows else 1
        raise DataFileError("header", f"{name}:{line}", f"must be {','.join(expected)}")
    wavelength_nm: list[float] = []
    values: list[float] = []
    for number, cells in rows[1:]:
        where = f"{name}:{number}"
        if len(cells) != len(expected):
            raise DataFileError("row", where, f"has {len(cells)} cells, not {len(expected)}")
        nm, value = (_number(key, cell, where) for key, cell in zip(expected, cells, strict=True))
        if not 100.0 <= nm <= 5000.0:
            raise DataFileError("wavelength_nm", where, f"is {nm:g}; it must be in nanometres, 100 to 5000")
        if wavelength_nm and nm <= wavelength_nm[-1]:
            raise DataFileError("wavelength_nm", where, f"is {nm:g}; it must be above the row before")
        _require_step(wavelength_nm, nm, where)
        if value < 0.0:
            raise DataFileError(quantity, where, f"is {value:g}; it must not be negative")
        if quantity == "transmittance" and value > 1.0:
            raise DataFileError(
                quantity,
                where,
                f"is {value:g}; it must be between 0 and 1: if the file is in percent, divide by 100",
            )
        wavelength_nm.append(nm)
        values.append(value)
    if not wavelength_nm or wavelength_nm[0] > DOSE_LOW_NM or wavelength_nm[-1] < DOSE_HIGH_NM:
        covered = f"covers {wavelength_nm[0]:g} to {wavelength_nm[-1]:g}" if wavelength_nm else "has no rows"
        raise DataFileError("wavelength_nm", name, f"{covered}; it must cover 300 to 480 nm")
    return np.array(wavelength_nm), np.array(values)


def _require_step(before: list[float], nm: float, where: str) -> None:
    """Gaps matter only between 300 and 480 nm, where the values are used for the dose."""
    if not before or before[-1] >= DOSE_HIGH_NM or nm <= DOSE_LOW_NM:
        return
    if nm - before[-1] > WIDEST_STEP_NM:
        raise DataFileError(
            "wavelength_nm",
            where,
            f"is {nm - before[-1]:g} nm above the row before; at most {WIDEST_STEP_NM:g}",
        )


def _number(key: str, text: str, where: str) -> float:
    try:
        number = float(text)
    except ValueError as problem:
        raise DataFileError(key, where, f"{text!r} is not a number") from problem
    if not np.isfinite(number):
        raise DataFileError(key, where, f"{text!r} is not a finite number")
    return number
