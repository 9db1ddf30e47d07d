"""Exposures and their events.

The events of an exposure are only ever added.  Each carries its own time, `at_s`, which may lie before those
of events already there: sort by it to integrate.  `sequence` counts an exposure's events from 1 in the order
in which they were acknowledged, without gaps, so a reader that has seen `n` asks for those after `n`.

Every function works inside the transaction it is given (`Store.read` or `Store.write`).
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy import Connection, Row

from noonframe.errors import OutOfDomain, UnknownName
from noonframe.store.checks import finite, plain_json, plain_text
from noonframe.store.errors import Conflict
from noonframe.store.tables import EXPOSURE_EVENTS, EXPOSURES
from noonframe.store.upsert import insert, took_effect

LONGEST_NAME = 200
LONGEST_KIND = 40


class ExposureStatus(StrEnum):
    """Where an exposure stands."""

    RUNNING = "running"
    COVERED = "covered"
    FINISHED = "finished"
    DISCARDED = "discarded"


@dataclass(frozen=True)
class Exposure:
    """One print in the light.

    `scene` is the question as it was asked (place, spot, stack, sensitizer, sky ...).  `version` grows by one
    with every change and with every event; `last_sequence` is that of the newest event, 0 before the first.
    """

    id: UUID
    created_s: float
    name: str
    scene: Mapping[str, Any] = field(repr=False)
    target_j_m2: float
    status: ExposureStatus
    version: int
    last_sequence: int


@dataclass(frozen=True)
class ExposureEvent:
    """Something that happened to an exposure at `at_s` and was told at `received_s` (unix seconds)."""

    exposure_id: UUID
    sequence: int
    event_id: UUID
    kind: str
    at_s: float
    received_s: float
    payload: Mapping[str, Any] = field(repr=False)


def create(
    db: Connection,
    *,
    exposure_id: UUID,
    created_s: float,
    name: str,
    scene: Mapping[str, Any],
    target_j_m2: float,
    status: ExposureStatus = ExposureStatus.RUNNING,
) -> Exposure:
    """A new exposure, version 1, without events; `Conflict` when the id is taken."""
    if not target_j_m2 > 0.0:
        raise OutOfDomain("target_j_m2", target_j_m2, "greater than 0")
    new = Exposure(
        id=exposure_id,
        created_s=finite("created_s", created_s),
        name=plain_text("name", name, LONGEST_NAME),
        scene=plain_json("scene", scene),
        target_j_m2=finite("target_j_m2", target_j_m2),
        status=status,
        version=1,
        last_sequence=0,
    )
    if not took_effect(db, insert(db, EXPOSURES).values(_columns(new)).on_conflict_do_nothing()):
        raise Conflict("exposure_id", str(exposure_id), "an exposure has it already")
    return new


def get(db: Connection, exposure_id: UUID, *, lock: bool = False) -> Exposure:
    """The exposure; raises `UnknownName`.  With `lock`, nobody else changes it until the change is over."""
    question = sa.select(EXPOSURES).where(EXPOSURES.c.id == exposure_id)
    row = db.execute(question.with_for_update() if lock else question).one_or_none()
    if row is None:
        raise UnknownName("exposure_id", str(exposure_id), "the id of an exposure")
    return _exposure(row)


def newest(
    db: Connection,
    *,
    statuses: Collection[ExposureStatus] = tuple(ExposureStatus),
    before: Exposure | None = None,
    limit: int = 100,
) -> tuple[Exposure, ...]:
    """Exposures with one of these statuses, newest first; the page after the one that ends with `before`."""
    question = sa.select(EXPOSURES).where(EXPOSURES.c.status.in_([s.value for s in statuses]))
    if before is not None:
        question = question.where(
            sa.or_(
                EXPOSURES.c.created_s < before.created_s,
                sa.and_(EXPOSURES.c.created_s == before.created_s, EXPOSURES.c.id < before.id),
            )
        )
    order = (EXPOSURES.c.created_s.desc(), EXPOSURES.c.id.desc())
    return tuple(_exposure(row) for row in db.execute(question.order_by(*order).limit(limit)))


def change(
    db: Connection,
    exposure_id: UUID,
    *,
    version: int,
    name: str | None = None,
    target_j_m2: float | None = None,
    status: ExposureStatus | None = None,
) -> Exposure:
    """Change what is given, if `version` is still the current one; else `Conflict`, or `UnknownName`."""
    now = get(db, exposure_id, lock=True)
    if now.version != version:
        raise Conflict("version", version, f"the exposure is at {now.version} by now")
    values: dict[str, Any] = {"version": version + 1}
    if name is not None:
        values["name"] = plain_text("name", name, LONGEST_NAME)
    if target_j_m2 is not None:
        if not target_j_m2 > 0.0:
            raise OutOfDomain("target_j_m2", target_j_m2, "greater than 0")
        values["target_j_m2"] = finite("target_j_m2", target_j_m2)
    if status is not None:
        values["status"] = status.value
    return _exposure(db.execute(_update(exposure_id, values)).one())


def append(
    db: Connection,
    exposure_id: UUID,
    *,
    event_id: UUID,
    kind: str,
    at_s: float,
    received_s: float,
    payload: Mapping[str, Any],
    status: ExposureStatus | None = None,
) -> ExposureEvent:
    """Add an event, and set the exposure's `status` where one is given.

    An event that is there already (same id and content, whenever received) is returned as it is and changes
    nothing; another one under the same id is a `Conflict`.  Raises `UnknownName` without the exposure.
    """
    said = (
        exposure_id,
        plain_text("kind", kind, LONGEST_KIND),
        finite("at_s", at_s),
        plain_json("payload", payload),
    )
    now = get(db, exposure_id, lock=True)
    row = db.execute(sa.select(EXPOSURE_EVENTS).where(EXPOSURE_EVENTS.c.event_id == event_id)).one_or_none()
    if row is not None:
        old = _event(row)
        if (old.exposure_id, old.kind, old.at_s, old.payload) != said:
            raise Conflict("event_id", str(event_id), "another event has it already")
        return old
    values: dict[str, Any] = {"version": now.version + 1, "last_sequence": now.last_sequence + 1}
    if status is not None:
        values["status"] = status.value
    db.execute(_update(exposure_id, values))
    new = ExposureEvent(
        exposure_id=exposure_id,
        sequence=now.last_sequence + 1,
        event_id=event_id,
        kind=kind,
        at_s=said[2],
        received_s=finite("received_s", received_s),
        payload=said[3],
    )
    db.execute(EXPOSURE_EVENTS.insert(), _columns(new))
    return new


def events_after(
    db: Connection, exposure_id: UUID, sequence: int = 0, limit: int | None = None
) -> tuple[ExposureEvent, ...]:
    """The events after the one numbered `sequence`, in the order of telling; at most `limit`."""
    question = (
        sa.select(EXPOSURE_EVENTS)
        .where(EXPOSURE_EVENTS.c.exposure_id == exposure_id, EXPOSURE_EVENTS.c.sequence > sequence)
        .order_by(EXPOSURE_EVENTS.c.sequence)
        .limit(limit)
    )
    return tuple(_event(row) for row in db.execute(question))


def events_in_time(db: Connection, exposure_id: UUID) -> tuple[ExposureEvent, ...]:
    """All events in the order in which they happened; those of one moment in the order of telling."""
    return tuple(sorted(events_after(db, exposure_id), key=lambda event: (event.at_s, event.sequence)))


def versions(db: Connection, exposure_ids: Collection[UUID]) -> dict[UUID, tuple[int, int]]:
    """(version, last sequence) of each exposure that exists: one cheap question for all that are watched."""
    columns = (EXPOSURES.c.id, EXPOSURES.c.version, EXPOSURES.c.last_sequence)
    rows = db.execute(sa.select(*columns).where(EXPOSURES.c.id.in_(list(exposure_ids))))
    return {row.id: (row.version, row.last_sequence) for row in rows}


def _update(exposure_id: UUID, values: dict[str, Any]) -> sa.sql.dml.ReturningUpdate[Any]:
    return EXPOSURES.update().where(EXPOSURES.c.id == exposure_id).values(values).returning(EXPOSURES)


def _columns(record: Exposure | ExposureEvent) -> dict[str, Any]:
    return {name: getattr(record, name) for name in record.__dataclass_fields__}


def _exposure(row: Row[Any]) -> Exposure:
    fields = dict(row._mapping)
    return Exposure(**fields | {"status": ExposureStatus(fields["status"])})


def _event(row: Row[Any]) -> ExposureEvent:
    return ExposureEvent(**row._mapping)
