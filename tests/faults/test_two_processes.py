"""Two processes behind a proxy with one database: nobody can tell them from one."""

import json
import threading
import time
import uuid
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack

import httpx
import pytest
from databases import database_url, empty_database
from faults.fault_rig import PATIENCE_S, SHEET, Process, check_refusals, running
from faults.round_robin import RoundRobin

__all__ = ["database_url"]
QUOTA = 60
OFTEN = 200


class Pair:
    """Two services, the proxy before them, and a client of it."""

    def __init__(self, stack, url, **settings):
        how = {"database_url": url, "database_wait_s": 10.0, **settings}
        first = stack.enter_context(running(**how))  # makes the tables before the other looks for them
        self.services = [first, stack.enter_context(running(**how))]
        self.proxy = RoundRobin([service.port for service in self.services])
        stack.callback(self.proxy.close)
        self.client = stack.enter_context(
            httpx.Client(base_url=self.proxy.url, trust_env=False, timeout=PATIENCE_S)
        )

    def start(self, name="sheet", key=None):
        headers = {} if key is None else {"Idempotency-Key": key}
        return self.client.post("/v1/runs", json={**SHEET, "sky": "clear", "name": name}, headers=headers)


@pytest.fixture
def server(tmp_path):
    """An empty PostgreSQL database: what several machines share."""
    with empty_database("postgresql", tmp_path) as url:
        yield url


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    """Shared by the tests that leave both processes as they were."""
    with empty_database("postgresql", tmp_path_factory.mktemp("pair")) as url, ExitStack() as stack:
        yield Pair(stack, url)


class Stream:
    """Somebody who follows an exposure through the proxy, in a thread."""

    def __init__(self, client, run_id):
        self.told, self.states, self.ended = [], 0, threading.Event()
        self.first = threading.Event()
        self._thread = threading.Thread(target=self._read, args=(client, run_id), daemon=True)
        self._thread.start()

    def _read(self, client, run_id):
        with client.stream("GET", f"/v1/runs/{run_id}/stream") as response:
            assert response.status_code == 200
            kind = None
            for line in response.iter_lines():
                name, _, value = line.partition(": ")
                if name == "event":
                    kind = value
                elif name == "data" and kind == "told":
                    self.told.append(json.loads(value))
                elif name == "data":
                    self.states += 1
                    self.first.set()
        self.ended.set()


def test_events_told_anywhere_reach_every_stream_once_and_in_order(pair):
    run = pair.start().json()
    streams = [Stream(pair.client, run["id"]) for _ in range(4)]  # two at each process
    assert all(stream.first.wait(PATIENCE_S) for stream in streams)
    told = [str(uuid.uuid4()) for _ in range(10)]
    for number, event_id in enumerate(told):
        body = {"kind": ("covered", "uncovered")[number % 2], "event_id": event_id}
        answer = pair.client.post(f"/v1/runs/{run['id']}/events", json=body)
        assert answer.status_code == 201, answer.text
        assert answer.json()["run"]["last_sequence"] == number + 2
        seen = pair.client.get(f"/v1/runs/{run['id']}").json()  # the other process knows it at once
        assert seen["last_sequence"] == number + 2
    assert pair.client.post(f"/v1/runs/{run['id']}/events", json={"kind": "finished"}).status_code == 201
    for stream in streams:
        assert stream.ended.wait(PATIENCE_S)
        ids = [event["event_id"] for event in stream.told if event["kind"] in ("covered", "uncovered")]
        assert ids == told
    assert len(pair.proxy.sent) == 2
    assert min(pair.proxy.sent.values()) >= 0.4 * sum(pair.proxy.sent.values())


def test_one_key_starts_one_exposure_whichever_process_is_asked(pair):
    def start(number):
        return pair.start(f"copy {number % 5}", key=f"key-{number % 5}")

    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(start, range(40)))
    made = {}
    for number, answer in enumerate(answers):
        if answer.status_code == 409:  # the first one is still at it
            assert answer.json()["type"] == "urn:noonframe:problem:in-progress"
            continue
        assert answer.status_code == 201, answer.text
        assert made.setdefault(number % 5, answer.content) == answer.content
    assert len(made) == 5
    listed = pair.client.get("/v1/runs", params={"limit": 200}).json()["runs"]
    assert len([run for run in listed if run["name"].startswith("copy")]) == 5
    check_refusals([a for a in answers if a.status_code != 201], 409)


def test_both_processes_count_the_same_callers_requests_together(server):
    with ExitStack() as stack:
        pair = Pair(stack, server, requests_per_minute=QUOTA)
        began_s = time.time()
        with ThreadPoolExecutor(4) as pool:
            answers = list(pool.map(lambda _: pair.client.get("/v1/materials"), range(OFTEN)))
        minutes = int(time.time() // 60.0) - int(began_s // 60.0) + 1
    good = [answer for answer in answers if answer.status_code == 200]
    check_refusals([answer for answer in answers if answer.status_code != 200], 429)
    # what a process has taken in advance and not used is lost to the other: a tenth of the rest at most
    assert 0.7 * QUOTA <= len(good) <= QUOTA * minutes
    assert all(1 <= int(a.headers["Retry-After"]) <= 60 for a in answers if a.status_code == 429)


def test_one_process_may_fall_and_the_other_goes_on_with_all_that_was_acknowledged(server):
    with ExitStack() as stack:
        _one_falls(Pair(stack, server))


def _one_falls(pair):
    made = [pair.start(f"sheet {number}", key=f"key-{number}").json()["id"] for number in range(6)]
    fallen: Process = pair.services[0]
    fallen.kill()
    left = httpx.Client(base_url=pair.services[1].url, trust_env=False, timeout=PATIENCE_S)
    with left:
        assert sorted(run["id"] for run in left.get("/v1/runs").json()["runs"]) == sorted(made)
        again = left.post(
            "/v1/runs",
            json={**SHEET, "sky": "clear", "name": "sheet 0"},
            headers={"Idempotency-Key": "key-0"},
        )
        assert (again.status_code, again.json()["id"]) == (201, made[0])


def test_a_service_that_is_told_to_stop_ends_its_streams_and_finishes_what_it_is_at(database_url):
    with running(by_command=True, database_url=database_url) as service:
        run = service.client.post("/v1/runs", json={**SHEET, "name": "sheet"}).json()
        with httpx.Client(base_url=service.url, trust_env=False, timeout=PATIENCE_S) as other:
            stream = Stream(other, run["id"])
            assert stream.first.wait(PATIENCE_S)
            told = service.client.post(f"/v1/runs/{run['id']}/events", json={"kind": "covered"})
            assert told.status_code == 201
            service.stop()
            assert stream.ended.wait(PATIENCE_S)
    with running(database_url=database_url) as service:
        events = service.client.get(f"/v1/runs/{run['id']}/events").json()["events"]
        assert [event["kind"] for event in events] == ["started", "covered"]
