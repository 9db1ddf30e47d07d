"""What was read from strips, wedges and finished prints, recipe by recipe; only ever added.

Evidence that turns out wrong is marked as withdrawn, with the reason, and stays.  Every function works inside
the transaction it is given.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy import Connection, Row

from noonframe.bench.evidence import Conditions, Evidence, EvidenceKind, Reading
from noonframe.errors import Malformed, UnknownName
from noonframe.store import exposures
from noonframe.store.checks import finite, plain_text
from noonframe.store.errors import Conflict
from noonframe.store.prints import PRINTS
from noonframe.store.recipes import RECIPES, check_reference
from noonframe.store.strict import Reader, bounded_json
from noonframe.store.tables import EVIDENCE
from noonframe.store.upsert import insert, took_effect
from noonframe.store.versioned import moment, plain

FORM = 1
"""Of the payload."""

LONGEST_TOLD = 20_000
LONGEST_REASON = 1000
LONGEST_OCCASION = 200

_NOTHING: Mapping[str, Any] = MappingProxyType({})


def evidence_payload(evidence: Evidence) -> dict[str, Any]:
    """Evidence as plain JSON, every number in full."""
    payload: dict[str, Any] = {"form": FORM} | plain(evidence)
    return payload | {"kind": evidence.kind.value}


def evidence_from(payload: Mapping[str, Any]) -> Evidence:
    """Exactly the evidence of a payload; `Malformed` or `OutOfDomain` name the field at fault."""
    return read_evidence(Reader(payload, ""))


def read_evidence(reader: Reader) -> Evidence:
    """The same, of a payload that lies inside something else."""
    form = reader.whole("form")
    if form != FORM:
        raise Malformed(reader.place_of("form"), form, f"this version of noonframe reads form {FORM}")
    kind = reader.text("kind")
    if kind not in set(EvidenceKind):
        raise Malformed(reader.place_of("kind"), kind, "must be one of " + ", ".join(EvidenceKind))
    readings = tuple(
        one.build(
            Reading,
            low_j_m2=one.maybe("low_j_m2", one.number),
            high_j_m2=one.maybe("high_j_m2", one.number),
            spread_stops=one.number("spread_stops"),
        )
        for one in reader.inners("readings")
    )
    conditions = reader.inner("conditions")
    names = ("coat_age_h", "relative_humidity_percent", "air_temperature_c")
    found = {name: conditions.maybe(name, conditions.number) for name in names}
    return reader.build(
        Evidence,
        kind=EvidenceKind(kind),
        readings=readings,
        light_spread_stops=reader.number("light_spread_stops"),
        blunder_share=reader.number("blunder_share"),
        conditions=conditions.build(Conditions, **found),
        occasion=reader.text("occasion"),
        shared_spread_stops=reader.number("shared_spread_stops"),
    )


@dataclass(frozen=True)
class EvidenceRecord:
    """One exposure and what was read from it, under the recipe it was made with.

    `made_at_s` is when the sheet was exposed, `recorded_s` when that was told; `told` is what the user said
    (steps, the step read, a word), to be shown again.  `exposure_id` is the exposure followed, `print_id` the
    finished print whose judgement this is.
    """

    id: UUID
    recipe_id: UUID
    recipe_version: int
    made_at_s: float
    recorded_s: float
    evidence: Evidence
    told: Mapping[str, Any] = field(default_factory=dict, repr=False)
    exposure_id: UUID | None = None
    print_id: UUID | None = None
    withdrawn_s: float | None = None
    withdrawn_reason: str | None = None

    def __post_init__(self) -> None:
        moment("made_at_s", self.made_at_s)
        finite("recorded_s", self.recorded_s)
        plain_text("occasion", self.evidence.occasion, LONGEST_OCCASION)
        object.__setattr__(self, "told", bounded_json("told", self.told, LONGEST_TOLD))
        if (self.withdrawn_s is None) is not (self.withdrawn_reason is None):
            raise Malformed("withdrawn_reason", self.withdrawn_reason, "goes with withdrawn_s")
        if self.withdrawn_s is not None and self.withdrawn_reason is not None:
            finite("withdrawn_s", self.withdrawn_s)
            if not self.withdrawn_reason.strip():
                raise Malformed("withdrawn_reason", self.withdrawn_reason, "must say something")
            plain_text("withdrawn_reason", self.withdrawn_reason, LONGEST_REASON)

    @property
    def kind(self) -> EvidenceKind:
        """What was exposed."""
        return self.evidence.kind


@dataclass(frozen=True)
class EvidenceCounts:
    """How much was ever told of a recipe, and how much of it withdrawn.

    Both only grow, so what is believed of the target can have changed only when they have.
    """

    told: int
    withdrawn: int


def append(
    db: Connection,
    *,
    evidence_id: UUID,
    recipe_id: UUID,
    recipe_version: int,
    made_at_s: float,
    recorded_s: float,
    evidence: Evidence,
    told: Mapping[str, Any] = _NOTHING,
    exposure_id: UUID | None = None,
    print_id: UUID | None = None,
) -> EvidenceRecord:
    """Add evidence.

    What is there already (same id and content, whenever told, also if withdrawn since) is returned as it is;
    other content under the same id is a `Conflict`.  `UnknownName` for what it refers to and is not there.
    """
    new = EvidenceRecord(
        evidence_id, recipe_id, recipe_version, made_at_s, recorded_s, evidence, told, exposure_id, print_id
    )
    check_reference(db, recipe_id, recipe_version)
    if exposure_id is not None:
        exposures.get(db, exposure_id)
    if print_id is not None:
        PRINTS.get(db, print_id)
    if took_effect(db, insert(db, EVIDENCE).values(row_of(new)).on_conflict_do_nothing()):
        return new
    old = get(db, evidence_id)
    if said(old) != said(new):
        raise Conflict("evidence_id", str(evidence_id), "other evidence has it already")
    return old


def get(db: Connection, evidence_id: UUID) -> EvidenceRecord:
    """The evidence of that id, also when withdrawn; raises `UnknownName`."""
    row = db.execute(sa.select(EVIDENCE).where(EVIDENCE.c.id == evidence_id)).one_or_none()
    if row is None:
        raise UnknownName("evidence_id", str(evidence_id), "the id of evidence")
    return record_of(row)


def of_recipe(db: Connection, recipe_id: UUID, *, withdrawn: bool = True) -> tuple[EvidenceRecord, ...]:
    """All evidence of a recipe in the order of its making; without `withdrawn`, only what still counts."""
    RECIPES.get(db, recipe_id)
    question = sa.select(EVIDENCE).where(EVIDENCE.c.recipe_id == recipe_id)
    if not withdrawn:
        question = question.where(EVIDENCE.c.withdrawn_s.is_(None))
    return tuple(record_of(row) for row in db.execute(_in_order(question)))


def of_print(db: Connection, print_id: UUID) -> tuple[EvidenceRecord, ...]:
    """All evidence that is the judgement of a print, withdrawn or not, in the order of its making."""
    question = sa.select(EVIDENCE).where(EVIDENCE.c.print_id == print_id)
    return tuple(record_of(row) for row in db.execute(_in_order(question)))


def withdraw(db: Connection, evidence_id: UUID, *, reason: str, now_s: float) -> EvidenceRecord:
    """Mark evidence as not to be counted, for good.

    What is withdrawn for that reason already is returned as it is; for another one it is a `Conflict`.
    """
    now = get(db, evidence_id)
    marked = EvidenceRecord(**_parts(now) | {"withdrawn_s": now_s, "withdrawn_reason": reason})
    unmarked = sa.and_(EVIDENCE.c.id == evidence_id, EVIDENCE.c.withdrawn_s.is_(None))
    mark = EVIDENCE.update().where(unmarked).values(withdrawn_s=now_s, withdrawn_reason=reason)
    if db.execute(mark).rowcount:
        return marked
    now = get(db, evidence_id)
    if now.withdrawn_reason != reason:
        raise Conflict("evidence_id", str(evidence_id), "is withdrawn already, for another reason")
    return now


def counts(db: Connection, recipe_id: UUID) -> EvidenceCounts:
    """How much evidence there is of a recipe; 0 for one that is not there."""
    columns = (sa.func.count(), sa.func.count(EVIDENCE.c.withdrawn_s))
    row = db.execute(sa.select(*columns).where(EVIDENCE.c.recipe_id == recipe_id)).one()
    return EvidenceCounts(row[0], row[1])


def row_of(record: EvidenceRecord) -> dict[str, Any]:
    """The row of a record."""
    parts = _parts(record)
    evidence = parts.pop("evidence")
    return parts | {"kind": evidence.kind.value, "payload": evidence_payload(evidence)}


def record_of(row: Row[Any]) -> EvidenceRecord:
    """The record of a row."""
    parts = dict(row._mapping)
    payload = Reader(parts.pop("payload"), f"evidence {row.id}")
    del parts["kind"]  # stands in the payload, too
    return EvidenceRecord(evidence=read_evidence(payload), **parts)


def said(record: EvidenceRecord) -> dict[str, Any]:
    """What a record says that never changes afterwards."""
    later = {"recorded_s", "withdrawn_s", "withdrawn_reason"}
    return {name: value for name, value in _parts(record).items() if name not in later}


def _parts(record: EvidenceRecord) -> dict[str, Any]:
    return {name: getattr(record, name) for name in record.__dataclass_fields__}


def _in_order(question: sa.Select[Any]) -> sa.Select[Any]:
    return question.order_by(EVIDENCE.c.made_at_s, EVIDENCE.c.id)
