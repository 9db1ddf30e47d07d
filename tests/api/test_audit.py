"""Every change is written down with it, and nothing else is."""

import pytest
from access_rig import RUN, Installation

from noonframe.store import audit, spots
from noonframe.store.actors import Actor, current_actor
from noonframe.store.audit import newest


@pytest.fixture
def place(tmp_path):
    made = Installation(tmp_path / "records")
    yield made
    made.close()


def changes(place, key=None):
    asked = place.by_owner if key is None else lambda *how, **more: place.ask(key, *how, **more)
    return asked("GET", "/v1/audit").json()["changes"]


def test_a_change_says_who_did_what_to_what_and_when(place):
    key = place.key("manage")
    spot = place.ask(
        key,
        "POST",
        "/v1/spots",
        json={"name": "yard bench", "place": "quayside-yard", "spot": {"kind": "open"}},
    )
    assert spot.status_code == 201, spot.text
    changed = place.ask(
        key, "PATCH", f"/v1/spots/{spot.json()['id']}", json={"name": "bench"}, headers={"If-Match": '"1"'}
    )
    assert changed.status_code == 200, changed.text
    newest_two = changes(place, key)[:2]
    assert [(one["method"], one["route"], one["record"]) for one in newest_two] == [
        ("PATCH", "/v1/spots/{spot_id}", spot.json()["id"]),
        ("POST", "/v1/spots", spot.json()["id"]),
    ]
    for one, response in zip(newest_two, (changed, spot), strict=True):
        assert one["key_id"] == key[3:13]
        assert one["who"] == "manage house"
        assert one["at"] == "2026-06-21T13:00:00Z"
        assert one["request_id"] == response.headers["X-Request-ID"]


def test_who_is_not_asked_for_a_key_is_written_down_as_that(place):
    run = place.ask(None, "POST", "/v1/runs", json=RUN).json()["id"]
    (one,) = changes(place)
    assert (one["key_id"], one["who"], one["record"]) == (None, "somebody without a key", run)
    place.by_owner("POST", f"/v1/runs/{run}/events", json={"kind": "sky", "sky": "overcast"})
    assert changes(place)[0]["who"] == "the command line on this machine"


def test_questions_and_refusals_and_repetitions_leave_nothing(place):
    headers = {"Idempotency-Key": "once"}
    for _ in range(3):
        place.ask(None, "POST", "/v1/runs", json=RUN, headers=headers)
    assert len(changes(place)) == 1
    place.ask(None, "POST", "/v1/exposure", json={"place": "quayside-yard", "start": "2026-06-21T12:00:00Z"})
    place.ask(None, "POST", "/v1/runs", json={**RUN, "target_j_m2": -1})
    place.ask(None, "POST", "/v1/tickets", json={})
    place.ask(None, "GET", "/v1/runs")
    assert len(changes(place)) == 1


def test_a_page_of_changes_goes_on_where_the_last_one_ended(place):
    for number in range(5):
        place.ask(None, "POST", "/v1/runs", json={**RUN, "name": f"kelp {number}"})
    first = place.by_owner("GET", "/v1/audit", params={"limit": 2}).json()["changes"]
    rest = place.by_owner("GET", "/v1/audit", params={"before": first[-1]["number"]}).json()["changes"]
    assert [one["number"] for one in first + rest] == [5, 4, 3, 2, 1]
    for bad in ({"limit": "0"}, {"limit": "501"}, {"before": "0"}, {"before": "x"}, {"page": "2"}):
        assert place.by_owner("GET", "/v1/audit", params=bad).status_code == 422


def test_a_studio_finds_its_own_keys_among_its_changes(place):
    place.studio("evening-class")
    manager = place.key("manage", "evening-class")
    made = place.ask(manager, "POST", "/v1/keys", json={"name": "pupil"}).json()["id"]
    place.ask(manager, "POST", f"/v1/keys/{made}/revoke")
    assert [(one["route"], one["record"]) for one in changes(place, manager)] == [
        ("/v1/keys/{key_id}/revoke", made),
        ("/v1/keys", made),
    ]


def test_a_change_and_its_row_stand_and_fall_together(place):
    store = place.owner.state.records.house()
    actor = Actor("abc", "phone", "POST", "/v1/spots", None, "r", 1.0)
    token = current_actor.set(actor)
    try:
        with pytest.raises(RuntimeError):
            change_and_fail(store)
        with store.read() as db:
            assert (newest(db), spots.SPOTS.newest(db)) == ((), ())
        with store.write() as db:
            spot_id = fill_spot(db)
    finally:
        current_actor.reset(token)
    with store.read() as db:
        (entry,) = newest(db)
        assert entry.record == str(spot_id)


def change_and_fail(store):
    with store.write() as db:
        fill_spot(db)
        raise RuntimeError


def fill_spot(db):
    import uuid

    fields = spots.SpotFields(name="bench", place="quayside-yard", spot={"kind": "open"})
    spot_id = uuid.uuid4()
    spots.SPOTS.create(db, spot_id, fields, now_s=1.0)
    return spot_id


def test_without_anybody_named_nothing_is_written_down(place):
    store = place.owner.state.records.house()
    with store.write() as db:
        fill_spot(db)
    with store.read() as db:
        assert audit.newest(db) == ()
