"""Exposures and their events, as every database keeps them."""

import math
import random
import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest

from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.store import exposures
from noonframe.store.errors import Conflict
from noonframe.store.exposures import ExposureStatus

SCENE = {
    "place": {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80},
    "sky": None,
    "note": 'ü ☀ \0 \ud83d \\ "quoted"',
    "numbers": [0.1, 1e-300, 2**70, -0.0, True],
}
NOON_S = 1_782_041_523.123456


@pytest.fixture
def exposure(store):
    with store.write() as db:
        return create(db)


def create(db, **given):
    fields = {
        "exposure_id": uuid.uuid4(),
        "created_s": NOON_S,
        "name": "kelp fronds",
        "scene": SCENE,
        "target_j_m2": 21_000.0,
    }
    return exposures.create(db, **fields | given)


def append(store, exposure, **given):
    fields = {
        "event_id": uuid.uuid4(),
        "kind": "sky",
        "at_s": NOON_S,
        "received_s": NOON_S + 1.0,
        "payload": {"seen": "sun out"},
    }
    with store.write() as db:
        return exposures.append(db, exposure.id, **fields | given)


def test_an_exposure_comes_back_as_it_was_given(store, exposure):
    with store.read() as db:
        read = exposures.get(db, exposure.id)
    assert read == exposure
    assert read.scene == SCENE
    assert isinstance(read.scene["numbers"][2], int)
    assert read.created_s == NOON_S
    assert (read.status, read.version, read.last_sequence) == (ExposureStatus.RUNNING, 1, 0)


def test_an_unknown_exposure_is_called_so(store):
    nobody = uuid.uuid4()
    for ask in (exposures.get, lambda db, i: exposures.change(db, i, version=1)):
        with pytest.raises(UnknownName) as caught, store.write() as db:
            ask(db, nobody)
        assert (caught.value.field, caught.value.value) == ("exposure_id", str(nobody))


def test_an_id_is_used_once(store, exposure):
    with pytest.raises(Conflict, match="already"), store.write() as db:
        create(db, exposure_id=exposure.id, name="another")
    with store.read() as db:
        assert exposures.get(db, exposure.id).name == "kelp fronds"


@pytest.mark.parametrize(
    ("given", "error", "field"),
    [
        ({"created_s": math.nan}, OutOfDomain, "created_s"),
        ({"created_s": math.inf}, OutOfDomain, "created_s"),
        ({"target_j_m2": 0.0}, OutOfDomain, "target_j_m2"),
        ({"target_j_m2": math.nan}, OutOfDomain, "target_j_m2"),
        ({"target_j_m2": math.inf}, OutOfDomain, "target_j_m2"),
        ({"name": "x" * 201}, OutOfDomain, "name"),
        ({"name": "a\0b"}, Malformed, "name"),
        ({"name": "half \ud83d"}, Malformed, "name"),
        ({"scene": {"a": math.nan}}, Malformed, "scene"),
        ({"scene": {"a": object()}}, Malformed, "scene"),
    ],
)
def test_what_a_database_could_not_keep_is_refused(store, given, error, field):
    with pytest.raises(error) as caught, store.write() as db:
        create(db, **given)
    assert caught.value.field == field


def test_a_change_needs_the_current_version(store, exposure):
    with store.write() as db:
        changed = exposures.change(db, exposure.id, version=1, name="a ferry ticket", target_j_m2=5.0)
    assert (changed.name, changed.target_j_m2, changed.version) == ("a ferry ticket", 5.0, 2)
    with pytest.raises(Conflict, match="at 2 by now"), store.write() as db:
        exposures.change(db, exposure.id, version=1, status=ExposureStatus.FINISHED)
    with store.read() as db:
        assert exposures.get(db, exposure.id) == changed


def test_of_two_changes_to_one_version_exactly_one_is_made(store, exposure):
    def change(name):
        try:
            with store.write() as db:
                return exposures.change(db, exposure.id, version=1, name=name).name
        except Conflict:
            return None

    with ThreadPoolExecutor(6) as pool:
        made = [name for name in pool.map(change, "abcdef") if name]
    with store.read() as db:
        now = exposures.get(db, exposure.id)
    assert made == [now.name]
    assert now.version == 2


def test_an_event_comes_back_as_it_was_given(store, exposure):
    event = append(store, exposure, payload=SCENE, status=ExposureStatus.COVERED)
    with store.read() as db:
        assert exposures.events_after(db, exposure.id) == (event,)
        now = exposures.get(db, exposure.id)
    assert event.payload == SCENE
    assert (now.status, now.version, now.last_sequence) == (ExposureStatus.COVERED, 2, 1)


def test_late_events_are_listed_in_the_order_of_telling_and_sorted_in_the_order_of_happening(store, exposure):
    times = [NOON_S + 60.0 * step for step in range(12)] + [NOON_S] * 3
    random.Random(4).shuffle(times)
    told = [append(store, exposure, at_s=at_s) for at_s in times]
    with store.read() as db:
        assert exposures.events_after(db, exposure.id) == tuple(told)
        happened = exposures.events_in_time(db, exposure.id)
    assert happened == tuple(sorted(told, key=lambda event: (event.at_s, event.sequence)))
    assert [event.sequence for event in told] == list(range(1, 16))


def test_a_reader_goes_on_where_it_stopped(store, exposure):
    told = [append(store, exposure) for _ in range(7)]
    with store.read() as db:
        seen = exposures.events_after(db, exposure.id, limit=3)
        rest = exposures.events_after(db, exposure.id, seen[-1].sequence)
        assert exposures.events_after(db, exposure.id, 7) == ()
        assert exposures.versions(db, [exposure.id, uuid.uuid4()]) == {exposure.id: (8, 7)}
        assert exposures.versions(db, []) == {}
    assert [*seen, *rest] == told


def test_a_reader_following_many_writers_misses_nothing(store, exposure):
    seen = []

    def follow():
        with store.read() as db:
            seen.extend(exposures.events_after(db, exposure.id, len(seen)))

    with ThreadPoolExecutor(4) as pool:
        writing = [pool.submit(append, store, exposure) for _ in range(60)]
        while not all(job.done() for job in writing):
            follow()
        follow()
    assert [event.sequence for event in seen] == list(range(1, 61))
    assert {event.event_id for event in seen} == {job.result().event_id for job in writing}


def test_an_event_told_twice_is_kept_once(store, exposure):
    first = append(store, exposure)
    again = append(store, exposure, event_id=first.event_id, received_s=NOON_S + 99.0)
    assert again == first
    with store.read() as db:
        assert exposures.events_after(db, exposure.id) == (first,)
        assert exposures.get(db, exposure.id).version == 2


@pytest.mark.parametrize("given", [{"kind": "rain"}, {"at_s": NOON_S + 1.0}, {"payload": {}}])
def test_another_event_under_the_same_id_is_refused(store, exposure, given):
    first = append(store, exposure)
    with pytest.raises(Conflict, match="another event"):
        append(store, exposure, event_id=first.event_id, **given)


def test_an_event_id_belongs_to_one_exposure(store, exposure):
    first = append(store, exposure)
    with store.write() as db:
        other = create(db)
    with pytest.raises(Conflict, match="another event"):
        append(store, other, event_id=first.event_id)
    with store.read() as db:
        assert exposures.get(db, other.id).last_sequence == 0


def test_an_event_told_at_the_same_moment_by_many_is_kept_once(store, exposure):
    event_id = uuid.uuid4()
    with ThreadPoolExecutor(6) as pool:
        told = set(pool.map(lambda _: append(store, exposure, event_id=event_id).sequence, range(12)))
    assert told == {1}
    with store.read() as db:
        assert len(exposures.events_after(db, exposure.id)) == 1


@pytest.mark.parametrize(
    ("given", "error", "field"),
    [
        ({"at_s": math.nan}, OutOfDomain, "at_s"),
        ({"received_s": math.inf}, OutOfDomain, "received_s"),
        ({"kind": "k" * 41}, OutOfDomain, "kind"),
        ({"kind": "\0"}, Malformed, "kind"),
        ({"payload": {"reading": math.inf}}, Malformed, "payload"),
    ],
)
def test_an_event_that_could_not_be_kept_changes_nothing(store, exposure, given, error, field):
    with pytest.raises(error) as caught:
        append(store, exposure, **given)
    assert caught.value.field == field
    with store.read() as db:
        assert exposures.get(db, exposure.id) == exposure
        assert exposures.events_after(db, exposure.id) == ()


def test_an_event_needs_its_exposure(store):
    with pytest.raises(UnknownName), store.write() as db:
        exposures.append(
            db, uuid.uuid4(), event_id=uuid.uuid4(), kind="sky", at_s=0.0, received_s=0.0, payload={}
        )


def test_exposures_are_listed_page_by_page_newest_first(store):
    with store.write() as db:
        made = [create(db, created_s=NOON_S + step // 3, name=str(step)) for step in range(10)]
        done = create(db, created_s=NOON_S + 99.0, status=ExposureStatus.DISCARDED)
    with store.read() as db:
        listed = []
        before = None
        while page := exposures.newest(db, statuses=[ExposureStatus.RUNNING], before=before, limit=4):
            listed += page
            before = page[-1]
        assert exposures.newest(db, limit=1) == (done,)
        assert exposures.newest(db, statuses=[]) == ()
    assert sorted(listed, key=lambda one: int(one.name)) == made
    assert [one.created_s for one in listed] == sorted((one.created_s for one in made), reverse=True)
