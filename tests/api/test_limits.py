"""Requests are counted, by all workers together, and the count is told."""

import asyncio
import re

import pytest
from access_rig import NOON_S, Clock, Installation, ask
from databases import KINDS, empty_database

from noonframe.api.access_errors import Refusal
from noonframe.api.app import create_app
from noonframe.api.limits import Limits, OpenStreams
from noonframe.api.records import Records
from noonframe.settings import Settings

QUOTA = "https://iana.org/assignments/http-problem-types#quota-exceeded"


def test_what_is_left_is_told_with_every_answer_and_at_the_end_when_to_come_back(tmp_path):
    clock = Clock(NOON_S + 15.0)  # a quarter into its minute
    place = Installation(tmp_path, clock, requests_per_minute=12)
    key = place.key("read")
    left = []
    for _ in range(12):
        answer = place.ask(key, "GET", "/v1/materials")
        assert answer.status_code == 200
        assert answer.headers["RateLimit-Policy"] == '"requests";q=12;w=60'
        found = re.fullmatch(r'"requests";r=(\d+);t=45', answer.headers["RateLimit"])
        assert found
        left.append(int(found[1]))
    assert left == list(range(11, -1, -1))
    refused = place.ask(key, "GET", "/v1/materials")
    assert refused.status_code == 429
    assert refused.headers["Retry-After"] == "45"
    assert refused.headers["RateLimit"] == '"requests";r=0;t=45'
    problem = refused.json()
    assert (problem["type"], problem["violated-policies"]) == (QUOTA, ["requests"])
    assert refused.headers["content-type"] == "application/problem+json"
    clock.now_s += 45.0
    assert place.ask(key, "GET", "/v1/materials").status_code == 200
    place.close()


@pytest.mark.parametrize("kind", KINDS)
def test_two_workers_grant_together_what_one_would(tmp_path, kind):
    with empty_database(kind, tmp_path) as url:
        place = Installation(tmp_path / "state", requests_per_minute=100, database_url=url)
        key = place.key("read")
        workers = (place.app, place.another_worker())
        statuses = [ask(workers[n % 2], "GET", "/v1/materials", key=key).status_code for n in range(140)]
        assert statuses.count(200) == 100
        assert set(statuses) == {200, 429}
        workers[1].state.records.close()
        place.close()


def test_each_caller_has_a_count_of_its_own(tmp_path):
    place = Installation(tmp_path, requests_per_minute=3)
    one, two = place.key("read"), place.key("read")
    assert [place.ask(one, "GET", "/v1/materials").status_code for _ in range(4)] == [200] * 3 + [429]
    assert place.ask(two, "GET", "/v1/materials").status_code == 200
    place.close()


def test_few_of_many_requests_touch_the_records(tmp_path):
    place = Installation(tmp_path, requests_per_minute=600)
    limits = Limits(place.owner.state.records, place.clock, 600)
    asked = []
    real = limits._take
    limits._take = lambda *told: asked.append(told) or real(*told)  # type: ignore[method-assign]

    async def many():
        for _ in range(600):
            await limits.count("key:x")

    asyncio.run(many())
    assert len(asked) < 60
    place.close()


def test_a_burst_takes_one_batch_after_the_other(tmp_path):
    records = Records(Settings(state_dir=tmp_path), Clock())
    limits = Limits(records, Clock(), 50)

    async def burst():
        return await asyncio.gather(*(limits.count("key:x") for _ in range(80)), return_exceptions=True)

    told = asyncio.run(burst())
    assert sum(isinstance(one, str) for one in told) == 50
    assert sum(isinstance(one, Refusal) for one in told) == 30
    records.close()


def test_a_worker_counts_alone_while_the_records_are_away(tmp_path):
    (tmp_path / "noonframe.db").mkdir()
    limits = Limits(Records(Settings(state_dir=tmp_path), Clock()), Clock(), 20)

    async def many():
        return [await outcome(limits.count("key:x")) for _ in range(30)]

    assert asyncio.run(many()) == [True] * 20 + [False] * 10


async def outcome(counting):
    try:
        await counting
    except Refusal:
        return False
    return True


def test_counts_of_past_minutes_are_dropped(tmp_path):
    from sqlalchemy import select

    from noonframe.store.tables import RATE_WINDOWS

    clock = Clock()
    place = Installation(tmp_path, clock, requests_per_minute=5)
    key = place.key("read")
    for _ in range(5):
        assert place.ask(key, "GET", "/v1/materials").status_code == 200
        clock.now_s += 60.0
    with place.owner.state.records.house().read() as db:
        rows = db.execute(select(RATE_WINDOWS)).all()
    assert len(rows) <= 2
    assert all(row.who == f"key:{key[3:13]}" for row in rows)
    place.close()


def test_who_has_no_key_is_counted_by_a_hash_of_the_address_where_others_can_come(tmp_path):
    from sqlalchemy import select

    from noonframe.store.tables import RATE_WINDOWS

    app = create_app(Settings(state_dir=tmp_path, host="0.0.0.0", access="open"), clock=Clock())
    answer = ask(app, "GET", "/v1/materials")
    assert answer.headers["RateLimit-Policy"] == '"requests";q=600;w=60'
    with app.state.records.house().read() as db:
        (row,) = db.execute(select(RATE_WINDOWS)).all()
    assert re.fullmatch(r"address:[0-9a-f]{24}", row.who)
    assert "127.0.0.1" not in row.who
    app.state.records.close()


@pytest.mark.parametrize(
    ("settings", "limited"),
    [({}, False), ({"requests_per_minute": 7}, True), ({"requests_per_minute": 0}, False)],
)
def test_on_loopback_without_keys_nobody_is_counted_unless_that_is_wished(tmp_path, settings, limited):
    app = create_app(Settings(state_dir=tmp_path, **settings), clock=Clock())
    assert ("RateLimit" in ask(app, "GET", "/v1/materials").headers) is limited
    if not limited:
        assert not (tmp_path / "noonframe.db").exists()  # and a question still makes no records
    app.state.records.close()


def test_public_addresses_are_not_counted_but_calendars_are(tmp_path):
    place = Installation(tmp_path, requests_per_minute=2)
    assert [place.ask(None, "GET", "/healthz").status_code for _ in range(5)] == [200] * 5
    path = f"/v1/calendars/{'A' * 43}.ics"
    assert [place.ask(None, "GET", path).status_code for _ in range(3)] == [404, 404, 429]
    place.close()


def test_streams_are_counted_while_they_are_open():
    streams = OpenStreams(2)
    streams.begin("a")
    streams.begin("a")
    streams.begin("b")
    with pytest.raises(Refusal) as refused:
        streams.begin("a")
    assert refused.value.status == 429
    assert refused.value.more == {"violated-policies": ["streams"]}
    assert refused.value.headers["RateLimit-Policy"] == '"streams";q=2;qu="concurrent-requests"'
    assert streams.total == 3
    streams.end("a")
    streams.begin("a")
    for who in ("a", "a", "b"):
        streams.end(who)
    assert streams.total == 0


def test_a_table_of_limits_is_in_order():
    for bad in (-1, 10_000_000):
        with pytest.raises(ValueError, match="requests_per_minute"):
            Settings(requests_per_minute=bad)
