"""What can go wrong, without a word of HTTP.

NoonframeError
+-- OutOfDomain        a value outside the range a model or a route accepts
+-- UnknownName        a name that is not in the catalogue it was looked up in
+-- Malformed          text that cannot be read as what it should be
+-- DataFileError      a shipped or user-supplied data file is damaged
"""

from collections.abc import Sequence


class NoonframeError(Exception):
    """Base of every error the rooms raise on purpose; carries the field at fault."""

    def __init__(self, message: str, *, field: str, value: object = None, limit: str = "") -> None:
        super().__init__(message)
        self.field = field
        self.value = value
        self.limit = limit


class OutOfDomain(NoonframeError):
    """`field` has `value`, which breaks `limit` (plain words, e.g. "between -90 and 90")."""

    def __init__(self, field: str, value: object, limit: str) -> None:
        opening = f"{field} must be" if value is None else f"{field} is {value!r}; it must be"
        super().__init__(f"{opening} {limit}", field=field, value=value, limit=limit)


class UnknownName(NoonframeError):
    """`value` is not one of the names known for `field`; `near` lists the closest ones."""

    def __init__(self, field: str, value: object, known: str, near: Sequence[str] = ()) -> None:
        hint = f"; did you mean {', '.join(near)}?" if near else ""
        super().__init__(f"{field} {value!r} is not known{hint}", field=field, value=value, limit=known)
        self.near = tuple(near)


class Malformed(NoonframeError):
    """`value` cannot be read as `limit` says it should be."""

    def __init__(self, field: str, value: object, limit: str) -> None:
        super().__init__(f"{field} {value!r} cannot be read: {limit}", field=field, value=value, limit=limit)


class DataFileError(NoonframeError):
    """A data file is missing, damaged or inconsistent; `value` is file and row."""

    def __init__(self, field: str, where: object, limit: str) -> None:
        super().__init__(f"{field} ({where}): {limit}", field=field, value=where, limit=limit)


class KeyInUse(NoonframeError):
    """A request came again, under the same key, while the first is still being answered."""

    def __init__(self, key: str) -> None:
        super().__init__(
            f"the first request with key {key!r} is still being answered",
            field="Idempotency-Key",
            value=key,
            limit="waited for: the first request with it still runs",
        )
