"""What was acknowledged is still there after the service was killed, and nothing half-done is."""

import itertools
import os
import random
import socket
import subprocess
import sys
import threading
import time
import uuid
from contextlib import contextmanager

import httpx
import sqlalchemy as sa
from api.test_runs_support import SHEET
from databases import database_url

from noonframe.store.engine import open_store
from noonframe.store.tables import EXPOSURE_EVENTS, EXPOSURES, IDEMPOTENCY_RECORDS

__all__ = ["database_url"]

SERVICE = """
import socket, sys, uvicorn
from noonframe.api.app import create_app
from noonframe.settings import Settings

app = create_app(Settings(database_url=sys.argv[1]))
config = uvicorn.Config(app, log_level="critical", access_log=False, ws="none")
uvicorn.Server(config).run([socket.socket(fileno=int(sys.argv[2]))])
"""
RUNS = 100
WRITERS = 4
LEAST_ROUNDS = 6
MOST_S = 40.0
KINDS = (("covered", {}), ("uncovered", {}), ("sky", {"sky": "thin-cloud"}), ("sky", {"sky": "sun-out"}))


class Service:
    """The service as a process of its own."""

    def __init__(self, url):
        with socket.create_server(("127.0.0.1", 0), backlog=64) as listener:
            os.set_inheritable(listener.fileno(), True)
            self.url = f"http://127.0.0.1:{listener.getsockname()[1]}"
            command = [sys.executable, "-c", SERVICE, url, str(listener.fileno())]
            environment = {**os.environ, "OMP_NUM_THREADS": "1"}
            self.process = subprocess.Popen(command, pass_fds=[listener.fileno()], env=environment)

    def kill(self):
        self.process.kill()
        self.process.wait()


@contextmanager
def asking(service):
    with httpx.Client(base_url=service.url, trust_env=False, timeout=20) as client:
        yield client


class Book:
    """What was asked under each key, and what was acknowledged."""

    def __init__(self, dice):
        self.dice = dice
        self.lock = threading.Lock()
        self.asked = {}  # key -> (path, body)
        self.answers = {}  # key -> bytes of the acknowledged answer
        self.started = []
        self.numbers = itertools.count()

    def next(self):
        """The next thing to ask, under a new key: starts first, and ever more events in between."""
        with self.lock:
            number = next(self.numbers)
            key = f"key-{number}"
            starts = sum(1 for path, _ in self.asked.values() if path == "/v1/runs")
            if starts < RUNS and (not self.started or self.dice.random() < 0.5):
                self.asked[key] = ("/v1/runs", {**SHEET, "name": f"sheet {starts}", "sky": "clear"})
            else:
                kind, fields = self.dice.choice(KINDS)
                event = {"kind": kind, "event_id": str(uuid.UUID(int=number + 1)), **fields}
                self.asked[key] = (f"/v1/runs/{self.dice.choice(self.started)}/events", event)
            return key

    def ask(self, client, key):
        """Ask, and note the answer once it is whole."""
        path, body = self.asked[key]
        response = client.post(path, json=body, headers={"Idempotency-Key": key})
        assert response.status_code == 201, response.text
        with self.lock:
            known = self.answers.setdefault(key, response.content)
            assert known == response.content, "another answer to the same request"
            if path == "/v1/runs" and response.json()["id"] not in self.started:
                self.started.append(response.json()["id"])

    def unanswered(self):
        with self.lock:
            return [key for key in self.asked if key not in self.answers]


def write_until_it_dies(book, service, killed):
    with asking(service) as client:
        while not killed.is_set():
            try:
                book.ask(client, book.next())
            except httpx.TransportError:
                if not killed.wait(0.01):
                    continue
                return


def one_round(book, service, alive_s):
    """Let the writers write for so long, then kill the service in the middle of it."""
    killed = threading.Event()
    faults = []

    def write():
        try:
            write_until_it_dies(book, service, killed)
        except BaseException as fault:
            faults.append(fault)
            raise

    writers = [threading.Thread(target=write) for _ in range(WRITERS)]
    for writer in writers:
        writer.start()
    time.sleep(alive_s)
    killed.set()
    service.kill()
    for writer in writers:
        writer.join(60)
    assert faults == []


def test_no_acknowledged_event_is_lost_when_the_service_is_killed(database_url, capsys):
    seed = int.from_bytes(os.urandom(4), "big")
    book, began_s, rounds, known = Book(random.Random(seed)), time.monotonic(), 0, 0
    with capsys.disabled():
        print(f"\n  killed at random moments, seed {seed}", end="", flush=True)
    waiting = Service(database_url)
    try:
        while rounds < LEAST_ROUNDS or (len(book.started) < RUNS and time.monotonic() < began_s + MOST_S):
            service, waiting = waiting, Service(database_url)
            with asking(service) as client:
                assert client.get("/healthz").status_code == 200  # waits in its queue until it is up
                if rounds:
                    # what was cut off comes again, and then every answer is known
                    for key in book.unanswered():
                        book.ask(client, key)
            one_round(book, service, book.dice.uniform(0.2, 2.0))
            rounds += 1
        with asking(waiting) as client:
            known = len(book.answers)
            for key in list(book.asked):
                book.ask(client, key)  # which checks that it is the same answer
            check(client, book)
    finally:
        waiting.kill()
    with capsys.disabled():
        print(f": {rounds} rounds, {len(book.started)} exposures, {known} of {len(book.asked)} acknowledged")
    assert known > LEAST_ROUNDS * WRITERS
    check_records(database_url, book)


def check(client, book):
    """Every event once, in the order of telling, and the exposure as its events make it."""
    told = {}
    for path, body in book.asked.values():
        if path != "/v1/runs":
            told.setdefault(path.split("/")[3], set()).add(body["event_id"])
    listed = client.get("/v1/runs", params={"limit": 200}).json()["runs"]
    assert sorted(run["id"] for run in listed) == sorted(book.started)
    assert len({run["name"] for run in listed}) == len(listed)
    for run in listed:
        events = client.get(f"/v1/runs/{run['id']}/events").json()["events"]
        assert [event["sequence"] for event in events] == list(range(1, len(events) + 1))
        assert events[0]["kind"] == "started"
        assert {event["event_id"] for event in events[1:]} == told.get(run["id"], set())
        assert len(events) - 1 == len(told.get(run["id"], set()))
        state = client.get(f"/v1/runs/{run['id']}").json()
        covering = [event["kind"] for event in events if event["kind"] in ("covered", "uncovered")]
        assert state["status"] == ("covered" if covering[-1:] == ["covered"] else "running") == run["status"]
        assert (state["last_sequence"], state["version"]) == (len(events), len(events) + 1)


def check_records(url, book):
    """No row too many, and the file as sound as before."""
    store = open_store(url)
    try:
        with store.read() as db:
            count = sa.select(sa.func.count())
            events = len(book.asked) - len(book.started)
            assert db.execute(count.select_from(EXPOSURES)).scalar_one() == len(book.started)
            assert db.execute(count.select_from(EXPOSURE_EVENTS)).scalar_one() == len(book.asked)
            assert events > 0
            keys = db.execute(sa.select(IDEMPOTENCY_RECORDS.c.key, IDEMPOTENCY_RECORDS.c.status_code)).all()
            assert {tuple(row) for row in keys} == {(key, 201) for key in book.asked}
            if store.is_sqlite:
                assert db.exec_driver_sql("PRAGMA integrity_check").scalars().all() == ["ok"]
                assert db.exec_driver_sql("PRAGMA foreign_key_check").all() == []
    finally:
        store.close()
