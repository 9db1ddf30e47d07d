"""The cloud kept for exposures, on every kind of database."""

import uuid

import pytest
import sqlalchemy as sa

from noonframe.errors import Malformed, OutOfDomain
from noonframe.store import exposures, light_records
from noonframe.store.errors import Conflict
from noonframe.store.tables import EXPOSURE_LIGHT

COURSE = {
    "edges_s": [1782043200.1, 1782044100.0],
    "cover": [0.1 + 0.2],
    "says": "ü",
    "basis": {"age_s": None},
}


@pytest.fixture
def exposure_id(store):
    ident = uuid.uuid4()
    with store.write() as db:
        exposures.create(db, exposure_id=ident, created_s=0.0, name="", scene={}, target_j_m2=1.0)
    return ident


def test_nothing_is_kept_at_first(store, exposure_id):
    with store.read() as db:
        assert light_records.get(db, exposure_id) is None
        assert light_records.get(db, uuid.uuid4()) is None


def test_what_is_kept_comes_back_to_the_last_digit(store, exposure_id):
    with store.write() as db:
        light_records.keep(db, exposure_id, COURSE, 5.0)
    with store.read() as db:
        assert light_records.get(db, exposure_id) == COURSE


def test_the_newest_takes_the_place_of_the_one_before(store, exposure_id):
    with store.write() as db:
        light_records.keep(db, exposure_id, COURSE, 5.0)
        light_records.keep(db, exposure_id, {"cover": []}, 6.0)
    with store.read() as db:
        assert light_records.get(db, exposure_id) == {"cover": []}
        assert db.execute(sa.select(EXPOSURE_LIGHT.c.kept_s)).scalars().all() == [6.0]


def test_what_was_kept_in_a_change_that_failed_is_gone(store, exposure_id):
    def fail():
        with store.write() as db:
            light_records.keep(db, exposure_id, COURSE, 5.0)
            raise KeyError("any")

    with pytest.raises(KeyError):
        fail()
    with store.read() as db:
        assert light_records.get(db, exposure_id) is None


def test_cloud_without_its_exposure_is_not_kept(store):
    with pytest.raises(Conflict), store.write() as db:
        light_records.keep(db, uuid.uuid4(), COURSE, 5.0)


@pytest.mark.parametrize(
    ("given", "field"),
    [
        (({"cover": [float("nan")]}, 5.0), "course"),
        (({"cover": {1, 2}}, 5.0), "course"),
        ((COURSE, float("inf")), "kept_s"),
    ],
)
def test_what_cannot_be_kept_as_it_is_is_refused(store, exposure_id, given, field):
    with pytest.raises((Malformed, OutOfDomain)) as caught, store.write() as db:
        light_records.keep(db, exposure_id, *given)
    assert caught.value.field == field
    with store.read() as db:
        assert light_records.get(db, exposure_id) is None
