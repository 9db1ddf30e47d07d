"""Finding something by its id among what is shipped and what the user has added."""

import difflib
from collections.abc import Callable, Mapping
from typing import TypeVar

from noonframe.errors import UnknownName

_Thing = TypeVar("_Thing")


def pick(
    field: str, identity: str, shipped: Mapping[str, _Thing], whole: Callable[[], Mapping[str, _Thing]]
) -> _Thing:
    """What bears that id; `UnknownName` on `field` with the nearest ids when nothing does.

    `whole` reads the catalogue with the user's own: a damaged file there must not stand in the way of what
    is shipped, so it is asked second.
    """
    if identity in shipped:
        return shipped[identity]
    catalogue = whole()
    if identity in catalogue:
        return catalogue[identity]
    near = difflib.get_close_matches(identity[:80], catalogue, n=3, cutoff=0.5)
    raise UnknownName(field, identity, ", ".join(catalogue), near)
