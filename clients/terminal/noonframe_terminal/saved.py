"""What is saved by name: found by its name or its id."""

import difflib
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from noonframe_terminal.contract import Answer, Service
from noonframe_terminal.trouble import Refused, refusal

_MOST = "500"  # as many as the contract lists at once


@dataclass(frozen=True)
class Kind:
    """A kind of saved thing: its word, where the contract has it, and the command that shows all."""

    word: str
    path: str
    key: str
    command: str


RECIPES = Kind("recipe", "/v1/recipes", "recipes", "noonframe recipe")
SPOTS = Kind("spot", "/v1/spots", "spots", "noonframe spot")
PLACES = Kind("place", "/v1/saved-places", "places", "noonframe saved-place")


async def find_saved(service: Service, kind: Kind, words: str, called: str) -> dict[str, Any]:
    """The saved thing that `words`, typed as `called`, name; refused with the names that come near."""
    found: list[dict[str, Any]] = []
    if words.strip():
        found = (await service.get(kind.path, {"name": words}, {"name": called})).says[kind.key]
    if not found and _is_id(words):
        answer = await service.get(kind.path, {"limit": _MOST}, {})
        found = [each for each in answer.says[kind.key] if each["id"] == str(UUID(words))]
    if found:
        return found[0]
    names = [each["name"] for each in (await service.get(kind.path, {"limit": _MOST}, {})).says[kind.key]]
    if not names:
        raise Refused(f"{called} {words}: no {kind.word} is saved yet; {kind.command} add saves one")
    near = difflib.get_close_matches(words, names, n=3, cutoff=0.5)
    hint = f"; did you mean {', '.join(near)}?" if near else f" ({kind.command} list)"
    raise refusal(called, words, f"the name of a {kind.word} that is saved{hint}")


async def is_saved(service: Service, kind: Kind, name: str) -> bool:
    """Whether anything of a kind is saved by that name."""
    return bool((await service.get(kind.path, {"name": name}, {})).says[kind.key])


async def newest(service: Service, kind: Kind, *, retired: bool = False) -> Answer:
    """All of a kind, newest first; with `retired` those that were put away."""
    return await service.get(kind.path, {"limit": _MOST} | ({"retired": "yes"} if retired else {}), {})


def _is_id(words: str) -> bool:
    try:
        UUID(words.strip())
    except ValueError:
        return False
    return True
