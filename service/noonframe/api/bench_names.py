"""Errors of the bench under the names that a request uses."""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from noonframe.errors import Malformed, OutOfDomain, UnknownName

_INDEX = re.compile(r"\[(\w+)\]")


@contextmanager
def named(names: Mapping[str, str] | None = None, prefix: str = "") -> Iterator[None]:
    """Errors inside with their field renamed where `names` has it; `a[3]` is told as `a.3`.

    What stands before an index is looked up without it, so that one entry serves every index.
    """

    def rename(field: str) -> str:
        stem, bracket, rest = field.partition("[")
        stem = (names or {}).get(stem, stem)
        return prefix + _INDEX.sub(r".\1", f"{stem}{bracket}{rest}")

    try:
        yield
    except OutOfDomain as problem:
        raise OutOfDomain(rename(problem.field), problem.value, problem.limit) from None
    except Malformed as problem:
        raise Malformed(rename(problem.field), problem.value, problem.limit) from None
    except UnknownName as problem:
        raise UnknownName(rename(problem.field), problem.value, problem.limit, problem.near) from None
