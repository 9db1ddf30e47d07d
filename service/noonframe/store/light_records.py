"""The cloud that exposures were followed under, so that an ended one keeps its dose.

Forecasts are forgotten after some hours; what an exposure was followed under is not.  Every function works
inside the transaction it is given.
"""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy import Connection

from noonframe.store.checks import finite, plain_json
from noonframe.store.tables import EXPOSURE_LIGHT
from noonframe.store.upsert import insert


def keep(db: Connection, exposure_id: UUID, course: Mapping[str, Any], kept_s: float) -> None:
    """Keep `course` for an exposure in place of the one kept before."""
    values = {"course": plain_json("course", course), "kept_s": finite("kept_s", kept_s)}
    new = insert(db, EXPOSURE_LIGHT).values(exposure_id=exposure_id, **values)
    db.execute(new.on_conflict_do_update(index_elements=["exposure_id"], set_=values))


def get(db: Connection, exposure_id: UUID) -> Mapping[str, Any] | None:
    """The course kept for an exposure, or None."""
    question = sa.select(EXPOSURE_LIGHT.c.course).where(EXPOSURE_LIGHT.c.exposure_id == exposure_id)
    found: Mapping[str, Any] | None = db.execute(question).scalar_one_or_none()
    return found
