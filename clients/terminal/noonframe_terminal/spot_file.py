"""A spot from a file, as the contract's JSON object; what it says is for the service to judge."""

import json
from typing import Any

from noonframe_terminal.trouble import Refused, refusal

_MOST_BYTES = 100_000
_KINDS = ("open", "window")


def read_spot(path: str, option: str) -> dict[str, Any]:
    """The spot in the file at `path`."""
    try:
        with open(path, "rb") as file:
            raw = file.read(_MOST_BYTES + 1)
    except OSError as problem:
        raise Refused(f"{option} {path}: cannot be read ({problem.strerror or problem})") from None
    except ValueError:  # a name with a null character
        raise refusal(option, None, "the name of a file") from None
    if len(raw) > _MOST_BYTES:
        raise refusal(option, path, f"a file of at most {_MOST_BYTES} bytes")
    try:
        spot = json.loads(raw.decode("utf-8-sig"), object_pairs_hook=_distinct, parse_constant=_no_number)
    except json.JSONDecodeError as problem:
        where = f"line {problem.lineno}, column {problem.colno}: {problem.msg}"
        raise refusal(option, path, f"a file of valid JSON ({where})") from None
    except (ValueError, RecursionError) as problem:
        raise refusal(option, path, f"a file of valid JSON ({problem})") from None
    if not isinstance(spot, dict) or spot.get("kind") not in _KINDS:
        raise refusal(option, path, 'a file of one JSON object with "kind": "open" or "kind": "window"')
    return spot


def _distinct(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object whose names are all different; of two equal ones the first would be lost unseen."""
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        raise ValueError(f"{next(name for name in names if names.count(name) > 1)} is given twice")
    return found


def _no_number(text: str) -> None:
    raise ValueError(f"{text} is no number")
