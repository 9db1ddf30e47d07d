"""The log of finished prints: kept in all versions, listed and searched.

Every function works inside the transaction it is given.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy import Connection

from noonframe.bench.judgement import Judgement, judgement_for
from noonframe.bench.ladder import LEAST_DOSE_J_M2, MOST_DOSE_J_M2
from noonframe.errors import Malformed, OutOfDomain
from noonframe.store import exposures
from noonframe.store.checks import finite, plain_text
from noonframe.store.recipes import check_reference
from noonframe.store.strict import Reader, bounded_json
from noonframe.store.tables import PRINT_VERSIONS
from noonframe.store.tables import PRINTS as PRINT_HEADS
from noonframe.store.versioned import Saved, Shelf, folded, moment, name_text

LONGEST_NOTES = 10_000
LONGEST_TEXT = 4000
LONGEST_REFERENCE = 1000
LONGEST_RECORD = 500_000
MOST_TAGS = 30
LONGEST_TAG = 60
MOST_WORDS = 10


@dataclass(frozen=True)
class PrintFields:
    """One finished print.

    `spot` and `light` are what was known when it was made, kept as they were given; `exposure_id` is the
    exposure followed.  A dose is the light that reached the coat, with one standard deviation.  The judgement
    is a word or a number of stops (above 0: too dark by that much dose), or neither yet.  `photo` and `film`
    only say where a picture of it and the file of its film page are, as a path or a URI; nothing opens them.
    """

    name: str
    recipe_id: UUID
    recipe_version: int
    made_at_s: float
    spot: Mapping[str, Any] | None = field(default=None, repr=False)
    exposure_id: UUID | None = None
    dose_j_m2: float | None = None
    dose_spread_stops: float | None = None
    light: Mapping[str, Any] | None = field(default=None, repr=False)
    wash_notes: str = ""
    rinse_notes: str = ""
    judgement: Judgement | None = None
    judgement_stops: float | None = None
    photo: str = ""
    notes: str = ""
    tags: tuple[str, ...] = ()
    film: str = ""

    def __post_init__(self) -> None:
        name_text(self.name)
        moment("made_at_s", self.made_at_s)
        for name in ("spot", "light"):
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, bounded_json(name, value, LONGEST_RECORD))
        dose_j_m2, spread_stops = self.dose_j_m2, self.dose_spread_stops
        if dose_j_m2 is not None and not LEAST_DOSE_J_M2 <= dose_j_m2 <= MOST_DOSE_J_M2:
            limit = f"between {LEAST_DOSE_J_M2} and {MOST_DOSE_J_M2:.0f} J/m2"
            raise OutOfDomain("dose_j_m2", dose_j_m2, limit)
        if spread_stops is not None and dose_j_m2 is None:
            raise OutOfDomain("dose_spread_stops", spread_stops, "left out where dose_j_m2 is")
        if spread_stops is not None and not 0.0 <= spread_stops <= 4.0:
            raise OutOfDomain("dose_spread_stops", spread_stops, "between 0 and 4 stops")
        if self.judgement is not None and self.judgement_stops is not None:
            raise OutOfDomain("judgement_stops", self.judgement_stops, "left out where judgement is given")
        if self.judgement_stops is not None and not -6.0 <= self.judgement_stops <= 6.0:
            raise OutOfDomain("judgement_stops", self.judgement_stops, "between -6 and 6 stops")
        for name in ("wash_notes", "rinse_notes"):
            plain_text(name, getattr(self, name), LONGEST_TEXT)
        for name in ("photo", "film"):
            plain_text(name, getattr(self, name), LONGEST_REFERENCE)
        plain_text("notes", self.notes, LONGEST_NOTES)
        self._check_tags()

    def _check_tags(self) -> None:
        if len(self.tags) > MOST_TAGS:
            raise OutOfDomain("tags", len(self.tags), f"at most {MOST_TAGS} tags")
        seen = set()
        for number, tag in enumerate(self.tags):
            where = f"tags[{number}]"
            plain_text(where, tag, LONGEST_TAG)
            if not tag.strip() or "," in tag:
                raise Malformed(where, tag, "must say something, without a comma")
            if folded(tag) in seen:
                raise Malformed(where, tag, "is there twice")
            seen.add(folded(tag))

    @property
    def judged(self) -> Judgement | None:
        """The judgement as a word, also where it was given in stops."""
        if self.judgement is not None or self.judgement_stops is None:
            return self.judgement
        return judgement_for(self.judgement_stops)


def _columns(fields: PrintFields, _retired: bool) -> Mapping[str, Any]:
    return {
        "made_at_s": fields.made_at_s,
        "recipe_id": fields.recipe_id,
        "recipe_version": fields.recipe_version,
        "exposure_id": fields.exposure_id,
        "judged": None if fields.judged is None else fields.judged.value,
        # a word that is looked for has no line end in it, so none can reach from one part into the next
        "search_text": "\n".join(folded(part) for part in _searched(fields)),
    }


def _searched(fields: PrintFields) -> tuple[str, ...]:
    return (fields.name, fields.notes, *fields.tags, fields.film)


def _check(db: Connection, fields: PrintFields) -> None:
    check_reference(db, fields.recipe_id, fields.recipe_version)
    if fields.exposure_id is not None:
        exposures.get(db, fields.exposure_id)


def _read(reader: Reader) -> PrintFields:
    word = reader.maybe("judgement", reader.text)
    if word is not None and word not in set(Judgement):
        raise Malformed(reader.place_of("judgement"), word, "one of " + ", ".join(Judgement))
    return reader.build(
        PrintFields,
        name=reader.text("name"),
        recipe_id=reader.identity("recipe_id"),
        recipe_version=reader.whole("recipe_version"),
        made_at_s=reader.number("made_at_s"),
        spot=reader.maybe("spot", reader.mapping),
        exposure_id=reader.maybe("exposure_id", reader.identity),
        dose_j_m2=reader.maybe("dose_j_m2", reader.number),
        dose_spread_stops=reader.maybe("dose_spread_stops", reader.number),
        light=reader.maybe("light", reader.mapping),
        wash_notes=reader.text("wash_notes"),
        rinse_notes=reader.text("rinse_notes"),
        judgement=None if word is None else Judgement(word),
        judgement_stops=reader.maybe("judgement_stops", reader.number),
        photo=reader.text("photo"),
        notes=reader.text("notes"),
        tags=reader.texts("tags"),
        film=reader.since("film", reader.text, ""),
    )


PRINTS: Shelf[PrintFields] = Shelf("print", PRINT_HEADS, PRINT_VERSIONS, _read, _columns, _check)
"""Every print; several may have one name."""


@dataclass(frozen=True)
class PrintSearch:
    """Which prints are wanted; everything given must hold.

    Every word of `text` must occur in name, notes, tags or film, in any case.  `from_s` <= made_at_s and
    made_at_s < `to_s`.  `judgements` empty means any or none; a print judged in stops counts under its word.
    `retired` None gives the living and the retired.
    """

    text: str = ""
    recipe_id: UUID | None = None
    from_s: float | None = None
    to_s: float | None = None
    judgements: tuple[Judgement, ...] = ()
    retired: bool | None = False

    def __post_init__(self) -> None:
        plain_text("text", self.text, LONGEST_TEXT)
        if len(self.words) > MOST_WORDS:
            raise OutOfDomain("text", len(self.words), f"at most {MOST_WORDS} words")
        for name in ("from_s", "to_s"):
            value = getattr(self, name)
            if value is not None:
                finite(name, value)

    @property
    def words(self) -> list[str]:
        """The words of `text`, as they are looked for."""
        return folded(self.text).split()


ALL = PrintSearch()


@dataclass(frozen=True)
class Cursor:
    """Where a page of prints ended."""

    made_at_s: float
    id: UUID

    @classmethod
    def after(cls, last: Saved[PrintFields]) -> "Cursor":
        """The place after the last print of a page."""
        return cls(last.fields.made_at_s, last.id)


def search(
    db: Connection, wanted: PrintSearch = ALL, *, before: Cursor | None = None, limit: int | None = 50
) -> tuple[Saved[PrintFields], ...]:
    """The newest version of each print that is wanted, by the moment of its making, newest first.

    With `before`, the page that follows on the one that ended there; `limit` None gives all at once.
    """
    made_at_s, identity = PRINT_HEADS.c.made_at_s, PRINT_HEADS.c.id
    question = PRINTS.newest_versions().where(*_conditions(db, wanted))
    if before is not None:
        earlier = sa.and_(made_at_s == before.made_at_s, identity < before.id)
        question = question.where(
            made_at_s <= before.made_at_s, sa.or_(made_at_s < before.made_at_s, earlier)
        )
    rows = db.execute(question.order_by(made_at_s.desc(), identity.desc()).limit(limit))
    return tuple(PRINTS.saved(row) for row in rows)


def count(db: Connection, wanted: PrintSearch = ALL) -> int:
    """How many prints are wanted."""
    number: int = db.execute(
        sa.select(sa.func.count()).select_from(PRINT_HEADS).where(*_conditions(db, wanted))
    ).scalar_one()
    return number


def _conditions(db: Connection, wanted: PrintSearch) -> list[sa.ColumnElement[bool]]:
    columns = PRINT_HEADS.c
    # LIKE minds or ignores case by the database; these two never do
    position = sa.func.instr if db.dialect.name == "sqlite" else sa.func.strpos
    conditions = [position(columns.search_text, word) > 0 for word in wanted.words]
    if wanted.recipe_id is not None:
        conditions.append(columns.recipe_id == wanted.recipe_id)
    if wanted.from_s is not None:
        conditions.append(columns.made_at_s >= wanted.from_s)
    if wanted.to_s is not None:
        conditions.append(columns.made_at_s < wanted.to_s)
    if wanted.judgements:
        conditions.append(columns.judged.in_([word.value for word in wanted.judgements]))
    if wanted.retired is not None:
        conditions.append(columns.retired == wanted.retired)
    return conditions
