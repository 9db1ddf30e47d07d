"""What is saved by name, and what is believed of a recipe: between the routes, the records and the engine."""

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, TypeVar
from uuid import UUID

from noonframe.api.ask import prior_words
from noonframe.api.bench_names import named
from noonframe.api.records import Records
from noonframe.bench.belief import Belief, Prior
from noonframe.bench.evidence import Evidence
from noonframe.bench.wording import plural
from noonframe.dose.scene import Target
from noonframe.errors import OutOfDomain, UnknownName
from noonframe.settings import Settings
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.evidence_records import EvidenceRecord
    from noonframe.store.recipes import RecipeFields
    from noonframe.store.versioned import Saved, Shelf

_F = TypeVar("_F")
_NEAR = 100


@lru_cache(maxsize=16)
def belief_of(prior: Prior, evidence: tuple[Evidence, ...]) -> Belief:
    """The belief, kept with its posterior: a recipe is asked about again and again."""
    return Belief(prior, evidence)


@dataclass(frozen=True)
class Known:
    """A recipe with what is believed of its target, and the records behind that.

    `records` holds all there are, oldest first; `counting` those that count, in the order of the evidence.
    """

    recipe: "Saved[RecipeFields]"
    belief: Belief
    records: tuple["EvidenceRecord", ...]
    counting: tuple["EvidenceRecord", ...]
    other_coat: int

    def target(self) -> Target:
        """The learned target; while nothing is learned, the prior by that name."""
        found = self.belief.target()
        if self.belief.evidence:
            return found
        own = self.recipe.fields.prior
        whose = self.recipe.fields.sensitizer if own is None else f"the recipe {self.recipe.fields.name}"
        return Target(found.target_j_m2, found.spread_stops, prior_words(whose))

    @property
    def notes(self) -> list[str]:
        """What else to say of the belief."""
        notes = list(self.belief.notes)
        if self.other_coat:
            made, count = ("was", "does") if self.other_coat == 1 else ("were", "do")
            notes.append(
                f"{plural(self.other_coat, 'exposure')} {made} made with another sensitizer than this "
                f"version's and {count} not count"
            )
        return notes


class BenchDesk:
    """Finds what is saved, checks what is to be, and says what is believed; safe for several threads."""

    def __init__(self, settings: Settings, records: Records) -> None:
        self.settings = settings
        self.records = records

    def check_coat(self, sensitizer: str, stack: Sequence[str]) -> None:
        """Raise for a sensitizer or a material that there is not."""
        find_sensitizer(sensitizer, self.settings.spectra_dir)
        parse_stack(",".join(stack) or "none", self.settings.spectra_dir)

    def known(self, db: "Connection", recipe: "Saved[RecipeFields]") -> Known:
        """A version of a recipe with what is believed of it.

        The target is a dose as its sensitizer weighs the light, so exposures made with a version of another
        sensitizer do not count; another stack changes nothing.
        """
        from noonframe.store import evidence_records
        from noonframe.store.recipes import RECIPES

        fields = recipe.fields
        if fields.prior is None:
            prior = Prior.of_sensitizer(find_sensitizer(fields.sensitizer, self.settings.spectra_dir))
        else:
            prior = fields.prior.prior()
        coats = {each.version: each.fields.sensitizer for each in RECIPES.history(db, recipe.id)}
        records = evidence_records.of_recipe(db, recipe.id)
        standing = [each for each in records if each.withdrawn_s is None]
        counting = tuple(each for each in standing if coats[each.recipe_version] == fields.sensitizer)
        belief = belief_of(prior, tuple(each.evidence for each in counting))
        return Known(recipe, belief, records, counting, len(standing) - len(counting))

    def recipe(self, db: "Connection", words: str, version: int | None = None) -> "Saved[RecipeFields]":
        """A recipe by name or id, and a version; errors name the fields `recipe` and `recipe_version`."""
        from noonframe.store.recipes import RECIPES

        found = _named(db, RECIPES, "recipe", words)
        if version is None:
            return found
        try:
            return RECIPES.get(db, found.id, version)
        except UnknownName:
            raise OutOfDomain("recipe_version", version, f"between 1 and {found.version}") from None

    def spot(self, db: "Connection", words: str) -> "Saved[Any]":
        """A spot by name or id; errors name the field `saved_spot`."""
        from noonframe.store.spots import SPOTS

        return _named(db, SPOTS, "saved_spot", words)

    def place(self, db: "Connection", words: str) -> "Saved[Any]":
        """A place by name or id; errors name the field `saved_place`."""
        from noonframe.store.places_saved import PLACES

        return _named(db, PLACES, "saved_place", words)

    def lamp(self, db: "Connection", words: str) -> "Saved[Any]":
        """A lamp by name or id; errors name the field `lamp`."""
        from noonframe.store.lamps import LAMPS

        return _named(db, LAMPS, "lamp", words)


def _named(db: "Connection", shelf: "Shelf[_F]", field: str, words: str) -> "Saved[_F]":
    with named({"name": field}):
        found = shelf.find(db, words)
    if found is not None:
        return found
    try:
        return shelf.get(db, UUID(words))
    except (ValueError, UnknownName):
        pass
    names = [str(getattr(each.fields, "name", "")) for each in shelf.newest(db, limit=_NEAR)]
    near = difflib.get_close_matches(words[:80], names, n=3, cutoff=0.5)
    known = f"the name or the id of a {shelf.what} that is saved"
    raise UnknownName(field, words, known, near)
