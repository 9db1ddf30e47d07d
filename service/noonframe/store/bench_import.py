"""Bringing a document of the bench into the store, whole or not at all.

Records only ever grow: what a document holds of a record is the same as what is here, less of it, more of it,
or something else.  The same and less change nothing, more is carried on, something else is a `Conflict`.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, TypeVar
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy import Connection

from noonframe.store.bench_document import NAMED, BenchDocument, History, KeptExposure, KeptLight
from noonframe.store.bench_export import kept_exposures, parts
from noonframe.store.errors import Conflict
from noonframe.store.evidence_records import EvidenceRecord, record_of, row_of, said
from noonframe.store.exposures import Exposure, ExposureEvent
from noonframe.store.prints import PRINTS
from noonframe.store.tables import EVIDENCE, EXPOSURE_EVENTS, EXPOSURE_LIGHT, EXPOSURES
from noonframe.store.versioned import Saved, Shelf

F = TypeVar("F")


class _Fate(StrEnum):
    ADDED = "added"
    EXTENDED = "extended"
    UNCHANGED = "unchanged"


@dataclass(frozen=True)
class ImportCounts:
    """How many records of each kind were new, were carried on, or were here already."""

    added: Mapping[str, int]
    extended: Mapping[str, int]
    unchanged: Mapping[str, int]


def import_bench(db: Connection, document: BenchDocument) -> ImportCounts:
    """Bring in all of `document`, with its ids; nothing of it after an error.

    `Conflict` names the record that is another one here, or the name that another living record has.
    """
    with db.begin_nested():
        # in the order in which they refer to each other
        fates = {
            **{name: _bring_histories(db, shelf, getattr(document, name)) for name, shelf in NAMED.items()},
            "exposures": _bring_exposures(db, document.exposures),
            "prints": _bring_histories(db, PRINTS, document.prints),
            "evidence": _bring_evidence(db, document.evidence),
        }
    by_fate = {fate: {kind: counter[fate] for kind, counter in fates.items()} for fate in _Fate}
    return ImportCounts(by_fate[_Fate.ADDED], by_fate[_Fate.EXTENDED], by_fate[_Fate.UNCHANGED])


# --- versioned records -----------------------------------------------------------------------------------


def _bring_histories(db: Connection, shelf: Shelf[F], histories: Sequence[History[F]]) -> Counter[_Fate]:
    here = _histories_here(db, shelf, [history[0].id for history in histories])
    fates: Counter[_Fate] = Counter()
    grown: list[Saved[F]] = []
    new: list[Saved[F]] = []
    versions: list[Saved[F]] = []
    for number, history in enumerate(histories):
        old = here.get(history[0].id, ())
        for ours, theirs in zip(old, history, strict=False):
            if ours != theirs:
                limit = f"version {ours.version} of the {shelf.what} {ours.id} is another one here"
                raise Conflict(f"{shelf.heads.name}[{number}]", _name(history[-1]), limit)
        missing = history[len(old) :]
        fate = _Fate.UNCHANGED if not missing else _Fate.EXTENDED if old else _Fate.ADDED
        fates[fate] += 1
        if missing:
            (grown if old else new).append(history[-1])
            versions += missing
    if "living_name" in shelf.heads.c:
        changing = {saved.id for saved in (*new, *grown)}
        _refuse_taken_names(db, shelf, histories, changing)
        # two records may have exchanged their names
        for ids in parts([saved.id for saved in grown]):
            db.execute(shelf.heads.update().where(shelf.heads.c.id.in_(ids)).values(living_name=None))
    for saved in grown:
        db.execute(shelf.heads.update().where(shelf.heads.c.id == saved.id).values(shelf.head_row(saved)))
    _insert(db, shelf.heads, [shelf.head_row(saved) for saved in new])
    _insert(db, shelf.versions, [shelf.version_row(saved) for saved in versions])
    return fates


def _histories_here(db: Connection, shelf: Shelf[F], ids: Collection[UUID]) -> dict[UUID, History[F]]:
    found: dict[UUID, list[Saved[F]]] = defaultdict(list)
    for part in parts(ids):
        these = shelf.heads.c.id.in_(part)
        db.execute(sa.select(shelf.heads.c.id).where(these).order_by(shelf.heads.c.id).with_for_update())
        rows = db.execute(shelf.every_version().where(these).order_by(shelf.versions.c.version))
        for row in rows:
            found[row.id].append(shelf.saved(row))
    return {identity: tuple(versions) for identity, versions in found.items()}


def _refuse_taken_names(
    db: Connection, shelf: Shelf[Any], histories: Sequence[History[Any]], changing: Collection[UUID]
) -> None:
    wanted = {
        shelf.head_row(history[-1])["living_name"]: number
        for number, history in enumerate(histories)
        if history[-1].id in changing and not history[-1].retired
    }
    heads = shelf.heads.c
    for names in parts(wanted):
        for row in db.execute(sa.select(heads.id, heads.living_name).where(heads.living_name.in_(names))):
            if row.id not in changing:
                number = wanted[row.living_name]
                where = f"{shelf.heads.name}[{number}].versions[{len(histories[number]) - 1}].fields.name"
                limit = f"another {shelf.what} here ({row.id}) has it; rename one of the two"
                raise Conflict(where, _name(histories[number][-1]), limit)


def _name(saved: Saved[Any]) -> str:
    return str(saved.fields.name)


# --- exposures -------------------------------------------------------------------------------------------


def _bring_exposures(db: Connection, documented: Sequence[KeptExposure]) -> Counter[_Fate]:
    here = kept_exposures(db, [kept.exposure.id for kept in documented], lock=True)
    fates: Counter[_Fate] = Counter()
    for number, kept in enumerate(documented):
        old = here.get(kept.exposure.id)
        if old is not None:
            difference = _difference(old, kept)
            if difference:
                limit = f"{difference} of the exposure {kept.exposure.id} is another one here"
                raise Conflict(f"exposures[{number}]", kept.exposure.name, limit)
        fates[_bring_exposure(db, old, kept, number)] += 1
    return fates


def _difference(ours: KeptExposure, theirs: KeptExposure) -> str | None:
    """What of an exposure cannot have grown from one into the other, whichever is the older."""
    one, other = ours.exposure, theirs.exposure
    if (one.created_s, one.scene) != (other.created_s, other.scene):
        return "the scene or the start"
    for event, their_event in zip(ours.events, theirs.events, strict=False):
        if event != their_event:
            return f"event {event.sequence}"
    if one.version == other.version and one != other:
        return f"version {one.version}"
    if (one.version < other.version and one.last_sequence > other.last_sequence) or (
        one.version > other.version and one.last_sequence < other.last_sequence
    ):
        return f"event {min(one.last_sequence, other.last_sequence) + 1}"
    light, their_light = ours.light, theirs.light
    if light and their_light and light.kept_s == their_light.kept_s and light != their_light:
        return "the light"
    return None


def _bring_exposure(db: Connection, old: KeptExposure | None, kept: KeptExposure, number: int) -> _Fate:
    fate = _Fate.UNCHANGED
    one = kept.exposure
    if old is None:
        fate = _Fate.ADDED
        db.execute(EXPOSURES.insert(), _columns(one))
    elif one.version > old.exposure.version:
        fate = _Fate.EXTENDED
        db.execute(EXPOSURES.update().where(EXPOSURES.c.id == one.id).values(_columns(one)))
    events = kept.events[old.exposure.last_sequence :] if old else kept.events
    for part in parts([event.event_id for event in events]):
        taken = sa.select(EXPOSURE_EVENTS.c.event_id).where(EXPOSURE_EVENTS.c.event_id.in_(part))
        if (event_id := db.execute(taken).scalars().first()) is not None:
            limit = f"another exposure here has the event {event_id}"
            raise Conflict(f"exposures[{number}]", one.name, limit)
    _insert(db, EXPOSURE_EVENTS, [_columns(event) for event in events])
    ours = None if old is None else old.light
    if kept.light is not None and (ours is None or kept.light.kept_s > ours.kept_s):
        db.execute(EXPOSURE_LIGHT.delete().where(EXPOSURE_LIGHT.c.exposure_id == one.id))
        db.execute(EXPOSURE_LIGHT.insert(), {"exposure_id": one.id} | _columns(kept.light))
        fate = _Fate.EXTENDED if fate is _Fate.UNCHANGED else fate
    return fate


# --- evidence --------------------------------------------------------------------------------------------


def _bring_evidence(db: Connection, documented: Sequence[EvidenceRecord]) -> Counter[_Fate]:
    here: dict[UUID, EvidenceRecord] = {}
    for part in parts([record.id for record in documented]):
        rows = db.execute(sa.select(EVIDENCE).where(EVIDENCE.c.id.in_(part)).with_for_update())
        here |= {row.id: record_of(row) for row in rows}
    fates: Counter[_Fate] = Counter()
    new = []
    for number, record in enumerate(documented):
        old = here.get(record.id)
        if old is None:
            new.append(row_of(record))
            fates[_Fate.ADDED] += 1
            continue
        marks = (record.withdrawn_s, record.withdrawn_reason)
        was_marked, is_marked = old.withdrawn_s is not None, record.withdrawn_s is not None
        other_mark = was_marked and is_marked and marks != (old.withdrawn_s, old.withdrawn_reason)
        if other_mark or (said(old), old.recorded_s) != (said(record), record.recorded_s):
            raise Conflict(
                f"evidence[{number}]", str(record.id), "the evidence of that id is another one here"
            )
        if is_marked and not was_marked:
            mark = EVIDENCE.update().where(EVIDENCE.c.id == record.id)
            db.execute(mark.values(withdrawn_s=marks[0], withdrawn_reason=marks[1]))
            fates[_Fate.EXTENDED] += 1
        else:
            fates[_Fate.UNCHANGED] += 1
    _insert(db, EVIDENCE, new)
    return fates


def _columns(record: Exposure | ExposureEvent | KeptLight) -> dict[str, Any]:
    return {name: getattr(record, name) for name in record.__dataclass_fields__}


def _insert(db: Connection, table: sa.Table, rows: list[dict[str, Any]]) -> None:
    if rows:
        db.execute(table.insert(), rows)
