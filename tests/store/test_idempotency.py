"""A request that is repeated has its effect once, whenever and wherever the repetition comes."""

import threading
import uuid
from concurrent.futures import ThreadPoolExecutor

import pytest

from noonframe.errors import Malformed, OutOfDomain
from noonframe.store import exposures, idempotency
from noonframe.store.errors import Conflict, StoreBusy
from noonframe.store.idempotency import ClaimState, StoredReply

REPLY = StoredReply(201, "application/json", b'{"id":"\x00\xff"}')


def claim(store, key="key", route="POST /v1/exposures", payload_hash="hash", **given):
    with store.write() as db:
        return idempotency.claim(db, key, route, payload_hash, **{"now_s": 1000.0} | given)


def finish(store, claimed, reply=REPLY):
    with store.write() as db:
        idempotency.finish(db, claimed, reply)


def effect(db, exposure_id):
    exposures.create(db, exposure_id=exposure_id, created_s=0.0, name="", scene={}, target_j_m2=1.0)


def test_a_repetition_gets_the_first_answer(store):
    first = claim(store)
    assert first.state is ClaimState.NEW
    finish(store, first)
    again = claim(store, now_s=2000.0)
    assert (again.state, again.reply, again.expires_s) == (ClaimState.DONE, REPLY, first.expires_s)


def test_the_same_key_with_other_content_is_a_mismatch_while_it_runs_and_after(store):
    first = claim(store)
    assert claim(store, payload_hash="other").state is ClaimState.MISMATCH
    finish(store, first)
    assert claim(store, payload_hash="other").state is ClaimState.MISMATCH


def test_the_same_key_on_another_route_is_another_request(store):
    finish(store, claim(store))
    assert claim(store, route="POST /v1/strips").state is ClaimState.NEW


def test_a_request_that_still_runs_is_called_so_until_its_time_is_over(store):
    first = claim(store, hold_s=60.0)
    assert claim(store, now_s=1059.0).state is ClaimState.RUNNING
    second = claim(store, now_s=1060.0)
    assert second.state is ClaimState.NEW
    assert second.holder != first.holder


def test_whoever_was_too_slow_cannot_finish_and_its_effect_is_undone(store):
    first = claim(store)
    second = claim(store, now_s=1060.0)
    slow, quick = uuid.uuid4(), uuid.uuid4()

    def work(claimed, exposure_id):
        with store.write() as db:
            effect(db, exposure_id)
            idempotency.finish(db, claimed, REPLY)

    with pytest.raises(Conflict, match="took it on"):
        work(first, slow)
    work(second, quick)
    with pytest.raises(Conflict):
        work(second, slow)
    with store.read() as db:
        assert [one.id for one in exposures.newest(db)] == [quick]


def test_a_claim_given_back_can_be_taken_again(store):
    first = claim(store)
    with store.write() as db:
        idempotency.release(db, first)
    second = claim(store)
    assert second.state is ClaimState.NEW
    with store.write() as db:
        idempotency.release(db, first)  # no longer its own
    assert claim(store).state is ClaimState.RUNNING


def test_an_answer_is_not_given_back(store):
    first = claim(store)
    finish(store, first)
    with store.write() as db:
        idempotency.release(db, first)
    assert claim(store).state is ClaimState.DONE


def test_an_old_answer_counts_as_none_and_can_be_dropped(store):
    for key in ("old", "young"):
        finish(store, claim(store, key, lifetime_s=100.0 if key == "old" else 1000.0))
    assert claim(store, "old", now_s=1099.9).state is ClaimState.DONE
    with store.write() as db:
        assert idempotency.purge(db, 1099.9) == 0
        assert idempotency.purge(db, 1100.0) == 1
    assert claim(store, "young", now_s=1100.0).state is ClaimState.DONE


def test_an_expired_record_that_is_still_there_makes_way(store):
    finish(store, claim(store, lifetime_s=100.0))
    again = claim(store, payload_hash="other", now_s=1100.0)
    assert again.state is ClaimState.NEW
    assert claim(store, payload_hash="other", now_s=1101.0).state is ClaimState.RUNNING


def test_of_many_at_once_one_has_the_effect_and_all_get_its_answer(store):
    start = threading.Barrier(8)

    def request(number):
        start.wait()
        with store.write() as db:
            claimed = idempotency.claim(db, "key", "route", "hash", now_s=float(number))
            if claimed.state is not ClaimState.NEW:
                return claimed.state, claimed.reply
            exposure_id = uuid.uuid4()
            effect(db, exposure_id)
            reply = StoredReply(201, "text/plain", exposure_id.bytes)
            idempotency.finish(db, claimed, reply)
            return claimed.state, reply

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(request, range(8)))
    with store.read() as db:
        (made,) = exposures.newest(db)
    assert sorted(state for state, _ in answers) == [ClaimState.DONE] * 7 + [ClaimState.NEW]
    assert {reply.body for _, reply in answers} == {made.id.bytes}


def test_a_request_that_fails_half_way_leaves_nothing_and_can_be_repeated(store):
    def fail():
        with store.write() as db:
            idempotency.claim(db, "key", "route", "hash", now_s=0.0)
            effect(db, uuid.uuid4())
            raise KeyError("any")

    with pytest.raises(KeyError):
        fail()
    with store.read() as db:
        assert exposures.newest(db) == ()
    assert claim(store, route="route").state is ClaimState.NEW


def test_one_who_waits_for_a_request_that_fails_takes_it_on(store):
    claimed, may_end = threading.Event(), threading.Event()

    def fail():
        with store.write() as db:
            idempotency.claim(db, "key", "route", "hash", now_s=0.0)
            claimed.set()
            may_end.wait(30)
            raise KeyError("any")

    with ThreadPoolExecutor(2) as pool:
        first = pool.submit(fail)
        assert claimed.wait(30)
        second = pool.submit(claim, store, route="route")
        may_end.set()
        assert isinstance(first.exception(), KeyError)
        assert second.result().state is ClaimState.NEW


def test_one_who_waits_too_long_is_told_so(store, database_url):
    from noonframe.store.engine import open_store

    impatient = open_store(database_url, wait_s=0.2)
    with store.write() as db:
        idempotency.claim(db, "key", "route", "hash", now_s=0.0)
        with pytest.raises(StoreBusy):
            claim(impatient, route="route")
    assert claim(impatient, route="route", now_s=1.0).state is ClaimState.RUNNING
    impatient.close()


@pytest.mark.parametrize(
    ("given", "error", "field"),
    [
        ({"key": "k" * 201}, OutOfDomain, "idempotency_key"),
        ({"key": "a\0"}, Malformed, "idempotency_key"),
        ({"now_s": float("nan")}, OutOfDomain, "now_s"),
    ],
)
def test_a_key_that_could_not_be_kept_is_refused(store, given, error, field):
    with pytest.raises(error) as caught:
        claim(store, **given)
    assert caught.value.field == field
