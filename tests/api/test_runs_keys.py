"""Requests that come twice have their effect once, on every kind of database."""

import json
from concurrent.futures import ThreadPoolExecutor

import pytest
from api.test_runs_support import SHEET, Clock, desk_on, errors, keyed
from databases import database_url

from noonframe.api.runs import RunDesk
from noonframe.store import idempotency

__all__ = ["database_url"]

THREADS = 8
DAY_S = 86400.0


@pytest.fixture
def desk(database_url):
    with desk_on(database_url) as made:
        yield made


def runs(desk):
    return desk.answer("/v1/runs", {})["runs"]


def test_a_start_that_comes_again_gets_the_same_answer_and_starts_nothing(desk):
    first = desk.post("/v1/runs", SHEET, headers=keyed("3f1c"))
    assert first.status_code == 201
    assert "idempotent-replay" not in first.headers
    desk.clock.now_s += 60
    again = desk.post("/v1/runs", SHEET, headers=keyed("3f1c"))
    assert (again.status_code, again.content) == (201, first.content)
    assert again.headers["idempotent-replay"] == "true"
    assert again.headers["content-type"] == first.headers["content-type"] == "application/json"
    assert len(runs(desk)) == 1


def test_a_key_is_the_same_quoted_and_plain(desk):
    first = desk.post("/v1/runs", SHEET, headers=keyed('"3f1c"'))
    assert desk.post("/v1/runs", SHEET, headers=keyed("3f1c")).content == first.content
    assert desk.post("/v1/runs", SHEET, headers=keyed(' "3f1c" ')).content == first.content
    assert len(runs(desk)) == 1


def test_an_event_that_comes_again_counts_once(desk):
    run = desk.start()
    desk.clock.now_s += 60
    first = desk.told(run, "covered", key="k")
    desk.clock.now_s += 60
    again = desk.told(run, "covered", key="k")
    assert (again.status_code, again.content) == (201, first.content)
    assert len(desk.events(run)) == 2
    assert desk.state(run)["dose_j_m2"] == first.json()["run"]["dose_j_m2"]


def test_the_same_content_in_another_order_is_the_same_request(desk):
    first = desk.post("/v1/runs", SHEET, headers=keyed("k"))
    turned = json.dumps(dict(reversed(SHEET.items())), indent=1).encode()
    assert desk.post("/v1/runs", turned, headers=keyed("k")).content == first.content


def test_a_key_for_another_request_is_refused_and_the_first_answer_stays(desk):
    first = desk.post("/v1/runs", SHEET, headers=keyed("k"))
    other = desk.post("/v1/runs", {**SHEET, "name": "kelp"}, headers=keyed("k"))
    assert errors(other, 422) == ["Idempotency-Key"]
    assert desk.post("/v1/runs", SHEET, headers=keyed("k")).content == first.content
    assert len(runs(desk)) == 1


def test_a_key_belongs_to_its_address(desk):
    run, other = desk.start(key="k"), desk.start(key="l")
    for each in (run, other):
        assert desk.told(each, "covered", key="k").status_code == 201
        assert len(desk.events(each)) == 2


def test_a_refused_request_uses_up_no_key(desk):
    run = desk.start()
    assert errors(desk.told(run, "sky", key="k", sky="plaid"), 422) == ["sky"]
    assert desk.told(run, "sky", key="k", sky="rain").status_code == 201


def test_a_key_is_forgotten_after_a_day(desk):
    desk.start(key="k")
    desk.clock.now_s += DAY_S + 1
    desk.start(key="k", name="another")
    assert len(runs(desk)) == 2


def test_answers_that_nobody_can_ask_for_again_are_dropped(desk):
    for number in range(5):
        desk.start(key=f"k{number}")
    desk.clock.now_s += DAY_S + 1
    desk.start()
    with desk.app.state.records.open().write() as db:
        assert idempotency.purge(db, desk.clock.now_s) == 0


def test_an_answered_request_is_answered_again_even_where_it_would_be_refused_by_now(desk, monkeypatch):
    first = desk.post("/v1/runs", SHEET, headers=keyed("k"))
    monkeypatch.setattr(RunDesk, "starting", lambda *_: desk_refuses())
    assert desk.post("/v1/runs", SHEET, headers=keyed("k")).content == first.content
    assert errors(desk.post("/v1/runs", SHEET, headers=keyed("l")), 422) == ["sensitizer"]


def desk_refuses():
    from noonframe.errors import UnknownName

    raise UnknownName("sensitizer", "citrate-classic", "a name in the catalogue")


@pytest.mark.parametrize("key", ["", '""', '"', 'a"b', '"a" "b"', "ü", "x" * 201, '"a";b=1', "a\tb"])
def test_a_key_that_is_none_is_refused(desk, key):
    response = desk.post("/v1/runs", SHEET, headers={"Idempotency-Key": key.encode()})
    assert errors(response, 422) == ["Idempotency-Key"]
    assert runs(desk) == []


def test_two_keys_are_refused(desk):
    headers = [("Idempotency-Key", "a"), ("Idempotency-Key", "b")]
    assert errors(desk.post("/v1/runs", SHEET, headers=headers), 422) == ["Idempotency-Key"]
    assert runs(desk) == []


def test_the_same_request_from_many_at_once_starts_one_exposure(desk, database_url):
    with (
        desk_on(database_url, Clock()) as other,
        ThreadPoolExecutor(THREADS) as pool,
    ):
        desk.answer("/v1/runs", {})
        asked = [
            pool.submit((desk, other)[turn % 2].post, "/v1/runs", SHEET, headers=keyed("k"))
            for turn in range(THREADS)
        ]
        answers = [one.result() for one in asked]
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.content for answer in answers}) == 1
    assert [answer.headers.get("idempotent-replay") for answer in answers].count("true") == THREADS - 1
    assert [run["id"] for run in runs(desk)] == [answers[0].json()["id"]]


def test_different_events_from_many_at_once_are_all_kept_in_one_order(desk, database_url):
    run = desk.start()
    with desk_on(database_url, Clock()) as other, ThreadPoolExecutor(THREADS) as pool:
        asked = [
            pool.submit((desk, other)[turn % 2].tell, run, "sky", sky="clear", vouched_s=turn)
            for turn in range(3 * THREADS)
        ]
        told = [one.result() for one in asked]
        assert other.state(run) == desk.state(run)
    assert sorted(one["last_sequence"] for one in told) == list(range(2, 3 * THREADS + 2))
    assert {event["payload"].get("vouched_s") for event in desk.events(run)[1:]} == set(range(3 * THREADS))


def test_a_change_that_breaks_off_leaves_nothing_and_comes_right_when_repeated(desk, monkeypatch):
    run = desk.start()
    desk.clock.now_s += 60
    before = desk.state(run)

    def broken(*_):
        raise KeyError("the last step")

    with monkeypatch.context() as patch:
        patch.setattr(idempotency, "finish", broken)
        assert desk.told(run, "covered", key="k").status_code == 500
        assert desk.post("/v1/runs", SHEET, headers=keyed("l")).status_code == 500
    assert desk.state(run) == before
    assert len(desk.events(run)) == len(runs(desk)) == 1
    told = desk.told(run, "covered", key="k")
    assert told.status_code == 201
    assert "idempotent-replay" not in told.headers
    assert desk.state(run)["status"] == "covered"


def test_what_broke_off_is_not_told_in_place_of_what_another_worker_kept(desk, database_url, monkeypatch):
    run = desk.start()
    desk.clock.now_s += 60
    version = desk.state(run)["version"]

    def broken(*_):
        raise KeyError("the last step")

    with monkeypatch.context() as patch:
        patch.setattr(idempotency, "finish", broken)
        desk.told(run, "covered", key="k")
    with desk_on(database_url, Clock(desk.clock.now_s)) as other:
        other.tell(run, "sky", sky="rain")
        told = desk.app.state.runs.followed_state(_uuid(run), version + 1, desk.clock.now_s)
        assert (told.status, told.sky.seen) == ("running", "rain")


def _uuid(run):
    from uuid import UUID

    return UUID(run["id"])
