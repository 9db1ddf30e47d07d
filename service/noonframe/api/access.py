"""Who may do what: the scope that each route asks for, found before anything of a request is read.

The scopes are steps: `read` may ask every question and look at every record, `run` may also start and tell
exposures and save what was made, `manage` may also retire, import, open calendars to others and make keys.
A route that nobody put into the table asks for `manage`, and a test asks that every one is in it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

from noonframe.store.actors import HOUSE, Studio


class Scope(IntEnum):
    """How much a caller may do; each step may do what those below it may."""

    NOTHING = 0
    READ = 1
    RUN = 2
    MANAGE = 3

    @property
    def word(self) -> str:
        """As keys and problems name it."""
        return self.name.lower()

    @property
    def or_more(self) -> str:
        """The scopes that are enough."""
        return " or ".join(step.word for step in Scope if step >= self)


PUBLIC = frozenset(
    {
        *("/", "/worker.js", "/app.webmanifest", "/page/{version}/{path:path}"),
        *("/healthz", "/readyz", "/openapi.json"),
        "/v1/calendars/{token}.ics",  # its token is its key
    }
)
"""Addresses that need no key; none of them changes anything."""

CALENDAR = "/v1/calendars/{token}.ics"
STREAMS = frozenset({"/v1/runs/{run_id}/stream"})
"""Addresses whose answers go on; a ticket opens these and nothing else."""

_QUESTIONS = (
    *(
        "exposure",
        "light",
        "slots",
        "moves",
        "moves/picture",
        "patch",
        "outlook",
        "strip",
        "curve",
        "coating",
    ),
    *("year", "month", "year.svg", "month.svg", "year.pdf", "month.pdf"),
    *("negative", "negative/look", "negative/preview", "negative/tone", "negative/tone/picture"),
    *("session", "session/picture", "tickets"),
    "batch",
)
_RUN = (
    *("runs", "runs/{run_id}/events", "strip/follow"),
    *("recipes", "recipes/{recipe_id}/evidence", "recipes/{recipe_id}/evidence/{evidence_id}/withdraw"),
    *("prints", "spots", "saved-places", "lamps", "film-printers", "sessions"),
    "sessions/{session_id}/replan",
)
_RUN_CHANGES = (
    *("recipes/{recipe_id}", "prints/{print_id}", "spots/{spot_id}", "saved-places/{place_id}"),
    *("lamps/{lamp_id}", "film-printers/{film_printer_id}", "sessions/{session_id}"),
)
_MANAGE = (
    *(f"{one}/{what}" for one in _RUN_CHANGES for what in ("retire", "restore")),
    *("import", "feeds", "feeds/{feed_id}/revoke", "keys", "keys/{key_id}/revoke", "studios"),
)

TABLE: Mapping[tuple[str, str], Scope] = {
    **{("POST", f"/v1/{path}"): Scope.READ for path in _QUESTIONS},
    **{("POST", f"/v1/{path}"): Scope.RUN for path in _RUN},
    **{("PATCH", f"/v1/{path}"): Scope.RUN for path in _RUN_CHANGES},
    **{("POST", f"/v1/{path}"): Scope.MANAGE for path in _MANAGE},
    **{("GET", f"/v1/{path}"): Scope.MANAGE for path in ("keys", "studios", "audit")},
}
"""Routes that change something, and those that ask in a body; every other GET asks for `read`."""


def scope_of(method: str, template: str) -> Scope:
    """The scope that a route asks for."""
    if method in ("GET", "HEAD") and template in PUBLIC:
        return Scope.NOTHING
    found = TABLE.get((method, template))
    if found is not None:
        return found
    return Scope.READ if method in ("GET", "HEAD") else Scope.MANAGE


@dataclass(frozen=True, slots=True)
class Principal:
    """Whoever a request is from: a key's owner, or somebody who was not asked for one.

    `operates` is true for whoever looks after the installation and may make studios, and keys to all of them.
    """

    scope: Scope
    who: str
    studio: Studio | None = None
    key_id: str | None = None
    expires_s: float | None = None
    operates: bool = False

    @property
    def studio_name(self) -> str:
        """The studio, by name."""
        return HOUSE if self.studio is None else self.studio.name


OPERATOR = Principal(Scope.MANAGE, "the command line on this machine", operates=True)
ANYBODY = Principal(Scope.MANAGE, "somebody without a key")
NOBODY = Principal(Scope.NOTHING, "somebody without a key")


@dataclass(frozen=True, slots=True)
class Rule:
    """What is known of an address before its route runs; `template` has no id in it, so it may be told."""

    template: str
    scope: Scope
    streams: bool = False


STRANGE = Rule("(no such address)", Scope.READ)
"""Of an address that no route has, or not with that method: there is nothing to be had."""


class _Node:
    """What may follow in an address: words, one part of any kind, or any rest."""

    __slots__ = ("any_part", "any_rest", "rules", "words")

    def __init__(self) -> None:
        self.words: dict[str, _Node] = {}
        self.any_part: _Node | None = None
        self.any_rest: _Node | None = None
        self.rules: dict[str, Rule] = {}

    def grow(self, part: str) -> "_Node":
        """The node that a part of a template leads to."""
        if ":path}" in part:
            self.any_rest = self.any_rest or _Node()
            return self.any_rest
        if "{" in part:
            self.any_part = self.any_part or _Node()
            return self.any_part
        return self.words.setdefault(part, _Node())

    def find(
        self, method: str, parts: list[str], at: int, record: str | None
    ) -> tuple[Rule, str | None] | None:
        """The rule for what is left of an address, words before anything else."""
        if at == len(parts):
            rule = self.rules.get(method)
            return None if rule is None else (rule, record)
        word = self.words.get(parts[at])
        found = None if word is None else word.find(method, parts, at + 1, record)
        if found is None and self.any_part is not None and parts[at]:
            found = self.any_part.find(method, parts, at + 1, parts[at])
        if found is None and self.any_rest is not None:
            found = self.any_rest.find(method, parts, len(parts), record)
        return found


class Rules:
    """Finds the rule of an address; made from the routes that there are."""

    def __init__(self, routes: Sequence[Any]) -> None:
        self._whole: dict[tuple[str, str], tuple[Rule, None]] = {}
        self._tree = _Node()
        for method, template in routes_of(routes):
            rule = Rule(template, scope_of(method, template), template in STREAMS)
            if "{" not in template:
                self._whole[method, template] = (rule, None)
                continue
            node = self._tree
            for part in template.split("/"):
                node = node.grow(part)
            node.rules[method] = rule

    def find(self, method: str, path: str) -> tuple[Rule, str | None]:
        """The rule of a request, and the last part of its path that stands for a record."""
        method = "GET" if method == "HEAD" else method
        found: tuple[Rule, str | None] | None = self._whole.get((method, path))
        if found is None:
            found = self._tree.find(method, path.split("/"), 0, None)
        return found or (STRANGE, None)


def routes_of(routes: Sequence[Any]) -> Iterator[tuple[str, str]]:
    """Method and template of every route, those of included routers too."""
    pending = list(routes)
    while pending:
        route = pending.pop(0)
        inner = getattr(route, "original_router", None)
        if inner is not None:
            pending = [*inner.routes, *pending]
        for method in sorted(getattr(route, "methods", None) or ()):
            if method != "HEAD":
                yield method, route.path
