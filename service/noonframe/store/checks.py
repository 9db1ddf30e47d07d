"""What a value must be so that both databases keep it exactly as it was given."""

import math
from collections.abc import Mapping
from typing import Any

from noonframe.errors import Malformed, OutOfDomain


def finite(field: str, value: float) -> float:
    """`value` unless it is nan or infinite: no moment and no dose is, and SQLite keeps nan as nothing."""
    if not math.isfinite(value):
        raise OutOfDomain(field, value, "a finite number")
    return float(value)


def plain_text(field: str, value: str, longest: int) -> str:
    """`value` unless it is longer than `longest` characters or holds what PostgreSQL or UTF-8 cannot."""
    if len(value) > longest:
        raise OutOfDomain(field, f"{value[:20]}...", f"at most {longest} characters")
    if "\0" in value or any("\ud800" <= character <= "\udfff" for character in value):
        raise Malformed(field, value, "must be text without NUL and without half characters")
    return value


def plain_json(field: str, value: Mapping[str, Any]) -> dict[str, Any]:
    """`value` as JSON gives it back (tuples as lists); refuses nan, infinities and what is not JSON."""
    import json

    try:
        read: dict[str, Any] = json.loads(json.dumps(dict(value), allow_nan=False))
    except (TypeError, ValueError, RecursionError) as problem:
        raise Malformed(field, type(value).__name__, f"must be JSON: {problem}") from None
    return read
