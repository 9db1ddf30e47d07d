"""Reading plain JSON strictly: every field there, of its kind, and none besides; a fault names its field."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, NoReturn, TypeVar
from uuid import UUID

from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.store.checks import plain_json
from noonframe.store.errors import Conflict

Made = TypeVar("Made")
Item = TypeVar("Item")

_MISSING = object()


@contextmanager
def at(where: str) -> Iterator[None]:
    """Let what is refused inside name its field together with `where` it lies."""
    try:
        yield
    except (OutOfDomain, Malformed, UnknownName, Conflict) as fault:
        if not where:
            raise
        raise type(fault)(f"{where}.{fault.field}", fault.value, fault.limit) from fault


def bounded_json(field: str, value: Mapping[str, Any], longest: int) -> dict[str, Any]:
    """`value` as JSON gives it back; refused beyond `longest` characters as text."""
    read = plain_json(field, value)
    _check_length(field, read, longest)
    return read


def bounded_objects(
    field: str, value: Sequence[Mapping[str, Any]], longest: int
) -> tuple[dict[str, Any], ...]:
    """JSON objects as JSON gives them back; refused beyond `longest` characters as text, together."""
    for number, item in enumerate(value):
        if not isinstance(item, Mapping):
            raise Malformed(f"{field}[{number}]", _shown(item), "must be a JSON object")
    read = tuple(plain_json(f"{field}[{number}]", item) for number, item in enumerate(value))
    _check_length(field, read, longest)
    return read


def _check_length(field: str, read: object, longest: int) -> None:
    import json

    length = len(json.dumps(read))
    if length > longest:
        raise OutOfDomain(field, f"JSON of {length} characters", f"at most {longest} characters")


class Reader:
    """The fields of one JSON object, asked for one by one; `where` is the object's own place."""

    def __init__(self, value: object, where: str) -> None:
        self.where = where
        if not isinstance(value, Mapping):
            raise Malformed(where or "document", _shown(value), "must be a JSON object")
        self._left: dict[str, Any] = dict(value)

    def place_of(self, name: str) -> str:
        """Where a field lies."""
        return f"{self.where}.{name}" if self.where else name

    def text(self, name: str) -> str:
        """A text."""
        value = self._take(name)
        return value if isinstance(value, str) else self._refuse(name, value, "must be text")

    def number(self, name: str) -> float:
        """A finite number."""
        value = self._take(name)
        if isinstance(value, bool) or not isinstance(value, int | float):
            self._refuse(name, value, "must be a number")
        try:
            number = float(value)
        except OverflowError:
            number = float("inf")
        if number - number != 0.0:
            raise OutOfDomain(self.place_of(name), _shown(value), "a finite number")
        return number

    def whole(self, name: str) -> int:
        """A whole number from 0 to 2**31 - 1, the most that every database counts to."""
        value = self._take(name)
        if isinstance(value, bool) or not isinstance(value, int):
            self._refuse(name, value, "must be a whole number")
        if not 0 <= value < 2**31:
            raise OutOfDomain(self.place_of(name), _shown(value), "between 0 and 2147483647")
        return value

    def flag(self, name: str) -> bool:
        """True or false."""
        value = self._take(name)
        return value if isinstance(value, bool) else self._refuse(name, value, "must be true or false")

    def identity(self, name: str) -> UUID:
        """A UUID."""
        text = self.text(name)
        try:
            identity = UUID(text)
        except ValueError:
            self._refuse(name, text, "must be a UUID")
        return (
            identity if str(identity) == text else self._refuse(name, text, "must be a UUID, as 8-4-4-4-12")
        )

    def mapping(self, name: str) -> Mapping[str, Any]:
        """A JSON object of any content."""
        value = self._take(name)
        return value if isinstance(value, Mapping) else self._refuse(name, value, "must be a JSON object")

    def rows(self, name: str) -> list[Any]:
        """A JSON array of any content."""
        value = self._take(name)
        return value if isinstance(value, list) else self._refuse(name, value, "must be a JSON array")

    def texts(self, name: str) -> tuple[str, ...]:
        """A JSON array of texts."""
        for number, value in enumerate(found := self.rows(name)):
            if not isinstance(value, str):
                raise Malformed(f"{self.place_of(name)}[{number}]", _shown(value), "must be text")
        return tuple(found)

    def inner(self, name: str) -> "Reader":
        """A JSON object, to be read in turn."""
        return Reader(self._take(name), self.place_of(name))

    def inners(self, name: str) -> "list[Reader]":
        """A JSON array of objects, to be read in turn."""
        place = self.place_of(name)
        return [Reader(value, f"{place}[{number}]") for number, value in enumerate(self.rows(name))]

    def maybe(self, name: str, kind: Callable[[str], Item]) -> Item | None:
        """What `kind` (one of the methods above) reads, or None where null stands."""
        if self._left.get(name, _MISSING) is None:
            del self._left[name]
            return None
        return kind(name)

    def since(self, name: str, kind: Callable[[str], Item], before: Item) -> Item:
        """What `kind` reads, or `before` where records were kept before there was such a field."""
        return kind(name) if name in self._left else before

    def build(self, make: Callable[..., Made], **values: Any) -> Made:
        """What `make` makes of the values, once no field is left over."""
        self.end()
        with at(self.where):
            return make(**values)

    def end(self) -> None:
        """Refuse fields that nobody asked for."""
        for name in self._left:
            raise Malformed(self.place_of(name), name, "is no field that belongs here")

    def _take(self, name: str) -> Any:
        value = self._left.pop(name, _MISSING)
        if value is _MISSING:
            raise Malformed(self.place_of(name), None, "is missing")
        return value

    def _refuse(self, name: str, value: object, limit: str) -> NoReturn:
        raise Malformed(self.place_of(name), _shown(value), limit)


def _shown(value: object) -> object:
    if isinstance(value, Mapping | list):
        return "a JSON object" if isinstance(value, Mapping) else "a JSON array"
    if isinstance(value, int) and not isinstance(value, bool):
        return value if abs(value) < 10**20 else "a very large number"
    return value if not isinstance(value, str) or len(value) <= 60 else f"{value[:60]}..."
