"""Sheets as people write them down: a CSV table, a JSON file, or one sheet on the command line.

What a field says is for the service to judge; here it only gets the name that the contract has for it.
"""

import csv
import io
import json
from collections.abc import Mapping
from typing import Any

from noonframe_terminal.trouble import Refused, refusal

_MOST_BYTES = 200_000
# as written: the contract's field
COLUMNS = {
    "name": "name",
    "count": "count",
    "target": "target_j_m2",
    "spread": "target_spread_stops",
    "recipe": "recipe",
    "stack": "stack",
    "sensitizer": "sensitizer",
    "spots": "spots",
    "priority": "priority",
    "earliest": "earliest",
    "by": "done_by",
}
TIMES = ("earliest", "done_by")
_WORDS = ("name", "recipe", "stack", "sensitizer", *TIMES)
_WHOLE = ("count", "priority")


def read_sheet(text: str, option: str = "--sheet") -> dict[str, Any]:
    """A sheet from a line such as `kelp fronds, count=5, target=24000, by=16:00`."""
    name, *rest = [part.strip() for part in text.split(";" if ";" in text else ",")]
    fields = {"name": name}
    for part in rest:
        word, sign, value = part.partition("=")
        word = word.strip().lower()
        if not sign or word not in COLUMNS or word == "name":
            allowed = ", ".join(f"{each}=" for each in COLUMNS if each != "name")
            raise refusal(option, text, f"a name, then any of {allowed} with commas between")
        fields[word] = value.strip()
    return _sheet(fields, option)


def read_session(path: str, option: str = "--file") -> dict[str, Any]:
    """A session's fields from a file: sheets in a table (.csv), or JSON with sheets or with all fields."""
    text = _text(path, option)
    if path.lower().endswith(".csv"):
        return {"sheets": _table(text, path, option)}
    try:
        found = json.loads(text)
    except (ValueError, RecursionError) as problem:
        raise refusal(option, path, f"a table (.csv) or valid JSON ({problem})") from None
    if isinstance(found, list):
        return {"sheets": found}
    if not isinstance(found, dict):
        raise refusal(option, path, "a list of sheets, or one object with sheets")
    return found


def _text(path: str, option: str) -> str:
    try:
        with open(path, "rb") as file:
            raw = file.read(_MOST_BYTES + 1)
    except OSError as problem:
        raise Refused(f"{option} {path}: cannot be read ({problem.strerror or problem})") from None
    except ValueError:
        raise refusal(option, None, "the name of a file") from None
    if len(raw) > _MOST_BYTES:
        raise refusal(option, path, f"a file of at most {_MOST_BYTES} bytes")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise refusal(option, path, "a file in UTF-8") from None


def _table(text: str, path: str, option: str) -> list[dict[str, Any]]:
    reader = csv.DictReader(io.StringIO(text), skipinitialspace=True)
    columns = [(name or "").strip().lower() for name in reader.fieldnames or ()]
    unknown = [name for name in columns if name not in COLUMNS]
    if "name" not in columns or unknown:
        raise refusal(option, path, f"a table with the columns {', '.join(COLUMNS)}, of which name is needed")
    found = []
    for row in reader:
        values = {
            (name or "").strip().lower(): (value or "").strip()
            for name, value in row.items()
            if isinstance(value, str)
        }
        if any(values.values()):
            found.append(_sheet(values, f"{option} {path} line {reader.line_num}"))
    return found


def _sheet(fields: Mapping[str, str], where: str) -> dict[str, Any]:
    sheet: dict[str, Any] = {}
    for word, text in fields.items():
        if not text:
            continue
        name = COLUMNS[word]
        if name == "spots":
            sheet[name] = [each.strip() for each in text.split("+")]
        elif name in _WORDS:
            sheet[name] = text
        else:
            try:
                sheet[name] = int(text) if name in _WHOLE else float(text)
            except ValueError:
                raise refusal(f"{where} {word}", text, "a number") from None
    if "name" not in sheet:
        raise refusal(where, None, "a sheet with a name")
    return sheet
