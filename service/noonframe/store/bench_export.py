"""Taking everything of the bench out of the store."""

from collections import defaultdict
from collections.abc import Collection, Iterator
from itertools import islice
from typing import Any, TypeVar
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy import Connection

from noonframe.store.bench_document import BenchDocument, History, KeptExposure, KeptLight, as_json
from noonframe.store.evidence_records import EvidenceRecord, record_of
from noonframe.store.exposures import Exposure, ExposureEvent, ExposureStatus
from noonframe.store.film_printers import FILM_PRINTERS
from noonframe.store.lamps import LAMPS
from noonframe.store.places_saved import PLACES
from noonframe.store.prints import PRINTS
from noonframe.store.recipes import RECIPES
from noonframe.store.sessions import SESSIONS
from noonframe.store.spots import SPOTS
from noonframe.store.tables import EVIDENCE, EXPOSURE_EVENTS, EXPOSURE_LIGHT, EXPOSURES
from noonframe.store.versioned import Saved, Shelf

F = TypeVar("F")
Item = TypeVar("Item")

_AT_ONCE = 500  # either database takes some ten thousand


def export_bench(db: Connection) -> dict[str, Any]:
    """The whole bench as plain JSON (see `bench_document`); the same records always give the same."""
    return as_json(bench_of(db))


def bench_of(db: Connection) -> BenchDocument:
    """The whole bench: every version of every record, retired ones too, the oldest record first."""
    prints = _histories(db, PRINTS)
    rows = db.execute(sa.select(EVIDENCE).order_by(EVIDENCE.c.recorded_s, EVIDENCE.c.id))
    evidence = tuple(record_of(row) for row in rows)
    return BenchDocument(
        recipes=_histories(db, RECIPES),
        spots=_histories(db, SPOTS),
        places=_histories(db, PLACES),
        exposures=_exposures(db, prints, evidence),
        prints=prints,
        evidence=evidence,
        film_printers=_histories(db, FILM_PRINTERS),
        lamps=_histories(db, LAMPS),
        sessions=_histories(db, SESSIONS),
    )


def _histories(db: Connection, shelf: Shelf[F]) -> tuple[History[F], ...]:
    order = (shelf.heads.c.created_s, shelf.heads.c.id, shelf.versions.c.version)
    found: dict[UUID, list[Saved[F]]] = defaultdict(list)
    for row in db.execute(shelf.every_version().order_by(*order)):
        found[row.id].append(shelf.saved(row))
    return tuple(tuple(versions) for versions in found.values())


def _exposures(
    db: Connection, prints: tuple[History[Any], ...], evidence: tuple[EvidenceRecord, ...]
) -> tuple[KeptExposure, ...]:
    # also those that only an older version of a print refers to
    named = {version.fields.exposure_id for history in prints for version in history}
    named |= {record.exposure_id for record in evidence}
    found = kept_exposures(db, {identity for identity in named if identity is not None}).values()
    return tuple(sorted(found, key=lambda kept: (kept.exposure.created_s, kept.exposure.id)))


def kept_exposures(db: Connection, ids: Collection[UUID], *, lock: bool = False) -> dict[UUID, KeptExposure]:
    """Those of the exposures that are there; with `lock`, nobody else changes them meanwhile."""
    found: dict[UUID, KeptExposure] = {}
    for part in parts(ids):
        question = sa.select(EXPOSURES).where(EXPOSURES.c.id.in_(part)).order_by(EXPOSURES.c.id)
        rows = db.execute(question.with_for_update() if lock else question).all()
        events: dict[UUID, list[ExposureEvent]] = defaultdict(list)
        told = sa.select(EXPOSURE_EVENTS).where(EXPOSURE_EVENTS.c.exposure_id.in_(part))
        for row in db.execute(told.order_by(EXPOSURE_EVENTS.c.sequence)):
            events[row.exposure_id].append(ExposureEvent(**row._mapping))
        columns = (EXPOSURE_LIGHT.c.exposure_id, EXPOSURE_LIGHT.c.kept_s, EXPOSURE_LIGHT.c.course)
        kept = db.execute(sa.select(*columns).where(EXPOSURE_LIGHT.c.exposure_id.in_(part)))
        light = {row.exposure_id: KeptLight(row.kept_s, row.course) for row in kept}
        for row in rows:
            exposure = Exposure(**dict(row._mapping) | {"status": ExposureStatus(row.status)})
            found[row.id] = KeptExposure(exposure, tuple(events[row.id]), light.get(row.id))
    return found


def parts(items: Collection[Item]) -> Iterator[list[Item]]:
    """The items by the hundreds, as many as one question can name."""
    left = iter(items)
    while part := list(islice(left, _AT_ONCE)):
        yield part
