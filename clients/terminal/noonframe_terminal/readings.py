"""Densities read from a wedge: typed one after another, or from a file of two columns."""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from noonframe_terminal.options_bench import Wedge
from noonframe_terminal.trouble import Refused, refusal

_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)", re.ASCII)
_UNREAD = ("", "-", "none")
_FEWEST = 3  # steps that make a wedge; a curve needs more, as the service says
_MOST_BYTES = 100_000
_LINE = "a line of two numbers, density of the step and density of the print, with decimal points"


@dataclass(frozen=True)
class Readings:
    """What a print of a wedge shows: the contract's fields, what each was typed as, and what to call it."""

    title: str
    fields: dict[str, Any]
    names: dict[str, str]

    def steps(self) -> list[int]:
        """Numbers of the steps that were read, the clearest being 1."""
        return [step for step, one in enumerate(self.fields["densities"], start=1) if one is not None]


def readings_of(texts: Sequence[str], called: str, wedge: Wedge, title: str) -> Readings:
    """Readings of `texts`, densities or one file; `wedge` goes with densities only."""
    if len(texts) == 1 and not _is_reading(texts[0]):
        if wedge.body():
            raise refusal(wedge.first_typed(), None, "left out: the file has the densities of the steps")
        return _from_file(texts[0], called, title)
    for text in texts:
        if not _is_reading(text):
            raise refusal(called, text, "densities such as 1.42, - for a step not read, or one file")
    if len(texts) < _FEWEST:
        raise refusal(called, " ".join(texts), f"at least {_FEWEST} densities, or one file")
    fields: dict[str, Any] = {"densities": [_density(text) for text in texts]}
    names = {f"densities.{index}": f"{called}, step {index + 1}" for index in range(len(texts))}
    if wedge.body():
        fields["wedge"] = wedge.body()
    elif len(texts) < 21:  # a shorter wedge than the usual one is told by as many readings as it has steps
        fields["wedge"] = {"step_count": len(texts)}
        names["wedge.step_count"] = called
    return Readings(title, fields, names | wedge.names() | {"densities": called, "doses_j_m2": called})


def _from_file(path: str, called: str, title: str) -> Readings:
    rows = _rows(_text(path, called), f"{called} {path}")
    if len(rows) > 1 and rows[0][1] > rows[-1][1]:
        rows.reverse()  # read from the dark end
    steps, densities = [row[1] for row in rows], [row[2] for row in rows]
    fields: dict[str, Any] = {"densities": densities, "wedge": {"densities": steps}}
    lines = {index: f"{called} {path}, line {row[0]}" for index, row in enumerate(rows)}
    names = {f"densities.{index}": line for index, line in lines.items()}
    names |= {f"wedge.densities.{index}": line for index, line in lines.items()}
    whole = f"{called} {path}, readings:"
    names |= dict.fromkeys(("densities", "wedge.densities", "doses_j_m2"), whole)
    return Readings(title, fields, names)


def _text(path: str, called: str) -> str:
    try:
        with open(path, "rb") as file:
            raw = file.read(_MOST_BYTES + 1)
        if len(raw) > _MOST_BYTES:
            raise refusal(called, path, f"a file of at most {_MOST_BYTES} bytes")
        return raw.decode("utf-8-sig")
    except (OSError, ValueError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) else problem
        raise Refused(f"{called} {path}: cannot be read ({reason})") from None


def _rows(text: str, where: str) -> list[tuple[int, float, float | None]]:
    """Line, step and print of each row; a heading and empty lines are passed over."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    mark = next((mark for mark in ("\t", ";") if mark in first), ",")
    lines = csv.reader(io.StringIO(text), delimiter=mark)
    found: list[tuple[int, float, float | None]] = []
    is_begun = False
    try:
        for row in lines:
            cells = [cell.strip() for cell in row]
            if not any(cells):
                continue
            is_row = len(cells) == 2 and _NUMBER.fullmatch(cells[0]) is not None and _is_reading(cells[1])
            if is_row:
                found.append((lines.line_num, float(cells[0]), _density(cells[1])))
            elif is_begun or any(_NUMBER.fullmatch(cell) for cell in cells) or len(cells) != 2:
                raise refusal(f"{where}, line {lines.line_num}", mark.join(cells)[:40], _LINE)
            is_begun = True
    except csv.Error as problem:
        raise Refused(f"{where}: cannot be read ({problem})") from None
    if len(found) < _FEWEST:
        raise refusal(where, None, f"a file of at least {_FEWEST} rows, each {_LINE}")
    return found


def _is_reading(text: str) -> bool:
    return text.strip().lower() in _UNREAD or _NUMBER.fullmatch(text.strip()) is not None


def _density(text: str) -> float | None:
    return None if text.strip().lower() in _UNREAD else float(text)
