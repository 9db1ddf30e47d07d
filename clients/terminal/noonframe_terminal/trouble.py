"""What can go wrong, the exit code it gives, and the line that says so.

Trouble
+-- Refused    2: something typed is wrong; one line for each thing
+-- Failed     3: the service cannot be reached, or failed
+-- ReaderGone 141: whoever read our output stopped, and needs no line about it
"""

import re
from collections.abc import Mapping, Sequence
from typing import Any

ANSWERED = 0
NOT_REACHED = 1
BAD_INPUT = 2
SERVICE_FAILED = 3
INTERRUPTED = 130
READER_GONE = 141  # as a shell reports a process that wrote to a closed pipe

_FIELD_NAME = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b", re.ASCII)


class Trouble(Exception):
    """Ends the command with `exit_code`; `lines` go to standard error."""

    exit_code = SERVICE_FAILED

    def __init__(self, *lines: str) -> None:
        super().__init__("; ".join(lines))
        self.lines = lines


class Refused(Trouble):
    """Something typed cannot be used."""

    exit_code = BAD_INPUT


class Failed(Trouble):
    """The service did not answer."""


class ReaderGone(Trouble):
    """Standard output was closed from the other side."""

    exit_code = READER_GONE


def refusal(name: str, value: object, limit: str) -> Refused:
    """A refusal of one option's value."""
    return Refused(fault_line(name, value, limit))


def fault_line(name: str, value: object, limit: str) -> str:
    """One thing wrong: what was typed, where, and what it must be."""
    typed = "" if value is None or value == "" else f" {value}"
    return f"{name}{typed}: must be {limit}" if limit else f"{name}{typed}: cannot be used"


def _in_options(limit: str, names: Mapping[str, str]) -> str:
    """`limit` with the contract's field names as the options that fill them."""
    return _FIELD_NAME.sub(lambda found: names.get(found[0], found[0]), limit)


def _called(field: str, names: Mapping[str, str]) -> str:
    """The option that filled `field`; inside a spot from a file, the option and the place in the file."""
    option, _, inside = field.partition(".")
    if inside and field not in names and option in names:
        return f"{names[option]} {inside}"
    return names.get(field, field)


def _key_trouble(status: int, kind: str, detail: str) -> str:
    if status == 403:
        return f"not allowed: {detail}"
    if kind.endswith(":key-needed"):
        return "the service asks for a key: set NOONFRAME_KEY, or give --key"
    return f"the service does not take this key: {detail}"


def from_problem(status: int, problem: Mapping[str, Any], names: Mapping[str, str]) -> Trouble:
    """The trouble that a problem document (RFC 9457) tells, in the names of the options typed."""
    detail = str(problem.get("detail") or problem.get("title") or f"status {status}")
    errors: Sequence[Mapping[str, Any]] = problem.get("errors") or []
    if status == 404 and any(error.get("field") == "run_id" for error in errors):
        return Refused(f"no run {errors[0].get('value')}: noonframe run list shows them")
    if status == 412:
        return Refused("somebody else changed it in the meantime; look at it again and repeat your change")
    if status in (401, 403):
        return Refused(_key_trouble(status, str(problem.get("type", "")), detail))
    typed = status == 404 and any(error.get("field") in names for error in errors)  # a name in the address
    if not typed and (status >= 500 or status in (404, 405, 429)):
        return Failed(f"the service failed with status {status}: {detail}")
    if str(problem.get("type", "")).endswith(":conflict"):
        found = [(_called(str(error.get("field")), names), error) for error in errors]
        told = (f"{called} {error.get('value')}: {error.get('limit')}" for called, error in found)
        return Refused(*(list(told) or [detail]))
    lines = [
        fault_line(
            _called(str(error.get("field")), names),
            error.get("value"),
            _in_options(str(error.get("limit", "")), names),
        )
        for error in errors
    ]
    _, mark, near = detail.partition("(did you mean ")
    if mark and len(lines) == 1:  # the names that come close are told only in the problem's sentence
        lines[0] += f"; did you mean {near.removesuffix(')')}"
    return Refused(*(lines or [detail]))
