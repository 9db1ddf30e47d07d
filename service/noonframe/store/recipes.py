"""Recipes: the coat, paper, negative and glass that a target dose belongs to."""

from dataclasses import dataclass
from typing import TYPE_CHECKING
from uuid import UUID

from sqlalchemy import Connection

from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.store.checks import plain_text
from noonframe.store.strict import Reader
from noonframe.store.tables import RECIPE_VERSIONS
from noonframe.store.tables import RECIPES as RECIPE_HEADS
from noonframe.store.versioned import Shelf, living_name, name_text

if TYPE_CHECKING:
    from noonframe.bench.belief import Prior

LONGEST_TEXT = 4000
LONGEST_ID = 100
MOST_SHEETS = 8  # as many as a stack takes


@dataclass(frozen=True)
class PriorOverride:
    """What the printer believes of the target beforehand, in place of the coat's published figure.

    The limits are those of `bench.belief.Prior`.
    """

    median_j_m2: float
    spread_stops: float
    source: str = ""

    def __post_init__(self) -> None:
        plain_text("source", self.source, LONGEST_TEXT)
        try:
            self.prior()
        except OutOfDomain as fault:  # by its own names
            name = "spread_stops" if fault.field.endswith("spread_stops") else "median_j_m2"
            raise OutOfDomain(name, fault.value, fault.limit) from fault

    def prior(self) -> "Prior":
        """The belief that it stands for."""
        from noonframe.bench.belief import Prior

        return Prior(self.median_j_m2, self.spread_stops, self.source)


@dataclass(frozen=True)
class RecipeFields:
    """What a recipe says.

    `sensitizer` and `stack` (outermost sheet first, none for a bare coat) are ids, not looked up here: the
    user's own file of one may be away while its prints stay.
    """

    name: str
    sensitizer: str
    stack: tuple[str, ...] = ()
    paper: str = ""
    coat_notes: str = ""
    negative_notes: str = ""
    notes: str = ""
    prior: PriorOverride | None = None

    def __post_init__(self) -> None:
        name_text(self.name)
        _identity("sensitizer", self.sensitizer)
        if len(self.stack) > MOST_SHEETS:
            raise OutOfDomain("stack", len(self.stack), f"at most {MOST_SHEETS} sheets")
        for number, sheet in enumerate(self.stack):
            _identity(f"stack[{number}]", sheet)
        for field in ("paper", "coat_notes", "negative_notes", "notes"):
            plain_text(field, getattr(self, field), LONGEST_TEXT)


def _identity(field: str, value: str) -> None:
    if not value.strip():
        raise Malformed(field, value, "must be an id")
    plain_text(field, value, LONGEST_ID)


def _read(reader: Reader) -> RecipeFields:
    prior = reader.maybe("prior", reader.inner)
    return reader.build(
        RecipeFields,
        name=reader.text("name"),
        sensitizer=reader.text("sensitizer"),
        stack=reader.texts("stack"),
        paper=reader.text("paper"),
        coat_notes=reader.text("coat_notes"),
        negative_notes=reader.text("negative_notes"),
        notes=reader.text("notes"),
        prior=None if prior is None else _read_prior(prior),
    )


def _read_prior(reader: Reader) -> PriorOverride:
    return reader.build(
        PriorOverride,
        median_j_m2=reader.number("median_j_m2"),
        spread_stops=reader.number("spread_stops"),
        source=reader.text("source"),
    )


RECIPES: Shelf[RecipeFields] = Shelf("recipe", RECIPE_HEADS, RECIPE_VERSIONS, _read, living_name)
"""Every recipe."""


def check_reference(db: Connection, recipe_id: UUID, recipe_version: int) -> None:
    """Raise `UnknownName` unless there is that version of that recipe."""
    try:
        RECIPES.get(db, recipe_id, recipe_version)
    except UnknownName as fault:
        if fault.field != "version":
            raise
        raise UnknownName("recipe_version", recipe_version, fault.limit) from fault
