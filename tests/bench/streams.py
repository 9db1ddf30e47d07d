"""What it costs to follow two hundred exposures at once: a share of a core, memory, and time for an event.

Run it as a script, or take `rows()` into another table.  A service process of its own is followed over as
many sockets as there are exposures, ten at each place, under a forecast and without one.
"""

import datetime as dt
import json
import os
import selectors
import socket
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

import httpx
from run import FULL, TINY, YEAR, Row, Size, milliseconds, served, table

from noonframe.weather.rehearsal import RehearsalServer
from noonframe.weather.rehearsal_sky import quayside_sky

NOON_S = dt.datetime(YEAR, 6, 21, 12, 40, tzinfo=dt.UTC).timestamp()
STREAMS, FEW_STREAMS = 200, 5
SETTLE_S, MEASURE_S = 8.0, 66.0  # what lies ahead is worked out anew every full minute: one of them is within
BRIEF_S = 2.0
TOLD = 40
MOST_PERCENT, MOST_MB, MOST_TELL_MS = 30.0, 600.0, 100.0
PLACES, PLACES_APART_DEG = 20, 0.05
TARGET_J_M2 = 400_000
PROVIDER = "open-meteo"


def service(url: str, offset_s: float, weather_url: str) -> Any:
    """The app that is measured, with a clock that is ahead of the system's."""
    from noonframe.api.app import create_app
    from noonframe.settings import Settings

    providers = (PROVIDER,) if weather_url else ()
    more = {"weather_open_meteo_url": weather_url} if weather_url else {}
    settings = Settings(database_url=url, weather_providers=providers, **more)
    return create_app(settings, clock=lambda: time.time() + offset_s)


class Readers:
    """Sockets that stay open on one stream each, and count the states that come."""

    def __init__(self, port: int, paths: list[str]) -> None:
        self._selector = selectors.DefaultSelector()
        self._sockets = [socket.create_connection(("127.0.0.1", port), timeout=60) for _ in paths]
        self.states = 0
        for reader, path in zip(self._sockets, paths, strict=True):
            reader.sendall(f"GET {path}/stream HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
            reader.setblocking(False)
            self._selector.register(reader, selectors.EVENT_READ)

    def read_for(self, seconds: float) -> int:
        """How many states come in so many seconds."""
        before, last_s = self.states, time.monotonic() + seconds
        while (left_s := last_s - time.monotonic()) > 0.0:
            self.read_once(left_s)
        return self.states - before

    def read_once(self, wait_s: float) -> None:
        """Take what has come."""
        for key, _ in self._selector.select(wait_s):
            received = key.fileobj.recv(1 << 20)  # type: ignore[union-attr]
            if not received:
                raise RuntimeError("a stream ended")
            self.states += received.count(b"event: state")

    def close(self) -> None:
        """Leave."""
        self._selector.close()
        for reader in self._sockets:
            reader.close()


def cpu_s(pid: int) -> float:
    """Seconds of processor that a process has used."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident_mb(pid: int) -> float:
    """Resident memory of a process."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS")) / 1024.0


@contextmanager
def followed(count: int, *, weather: bool) -> Iterator[tuple[httpx.Client, int, list[str], Readers]]:
    """A service with so many exposures under way, each with its stream open; also its process id."""
    offset_s = NOON_S - time.time()
    with ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory())
        provider = None
        if weather:
            sky = quayside_sky(NOON_S)
            provider = stack.enter_context(RehearsalServer(sky, lambda: time.time() + offset_s))
        sys_path = f"__import__('sys').path.insert(0, {str(Path(__file__).parent)!r})"
        arguments = json.dumps([f"sqlite:///{folder}/records.db", offset_s, provider.url if provider else ""])
        maker = f"({sys_path}, __import__('streams'))[1].service(*{arguments})"
        port, pid = stack.enter_context(served(maker))
        client = stack.enter_context(
            httpx.Client(base_url=f"http://127.0.0.1:{port}", trust_env=False, timeout=60)
        )
        paths = [f"/v1/runs/{start(client, number)}" for number in range(count)]
        readers = Readers(port, paths)
        stack.callback(readers.close)
        yield client, pid, paths, readers


def start(client: httpx.Client, number: int) -> str:
    """Start an exposure; its id."""
    body = {
        "latitude_deg": 41.15 + PLACES_APART_DEG * (number % PLACES),
        "longitude_deg": -8.61,
        "elevation_m": 80,
        "target_j_m2": TARGET_J_M2,
        "stack": "float-glass-4mm,polyester-film",
        "name": f"sheet {number}",
    }
    response = client.post("/v1/runs", json=body)
    if response.status_code != 201:
        raise RuntimeError(response.text)
    return str(response.json()["id"])


def tell_s(client: httpx.Client, readers: Readers, path: str, turn: int) -> float:
    """Seconds until an event is acknowledged, with all streams open."""
    body = {"kind": "sky", "sky": ("covered", "sun-out")[turn % 2]}
    began = time.perf_counter()
    response = client.post(f"{path}/events", json=body)
    took = time.perf_counter() - began
    if response.status_code != 201:
        raise RuntimeError(response.text)
    readers.read_for(0.1)
    return took


def rows(size: Size) -> list[Row]:
    """Processor, memory and latency of a worker that is followed by many."""
    if not Path("/proc/self/stat").exists():
        return []
    tiny = size == TINY
    count = FEW_STREAMS if tiny else STREAMS
    found = []
    for weather, words in ((False, "without a forecast"), (True, "under a forecast")):
        with followed(count, weather=weather) as (client, pid, paths, readers):
            readers.read_for(BRIEF_S if tiny else SETTLE_S)
            began, used = time.monotonic(), cpu_s(pid)
            states = readers.read_for(BRIEF_S if tiny else MEASURE_S)
            length_s = time.monotonic() - began
            percent = 100.0 * (cpu_s(pid) - used) / length_s
            memory = resident_mb(pid)
            turns = 2 if tiny else TOLD
            took = [tell_s(client, readers, paths[turn * 7 % count], turn) for turn in range(turns)]
        name = f"{count} streams {words}, a state each 5 s"
        told = f"{percent:.1f} %, {states / length_s:.0f} states/s"
        median, worst = 1e3 * statistics.median(took), max(took)
        found += [
            Row(name, told, "-", percent, MOST_PERCENT, False, "% of a core"),
            Row("the same, resident memory", f"{memory:.0f} MB", "-", memory, MOST_MB, False, "MB"),
            Row(
                "the same, an event until it is kept",
                f"{median:.0f} ms (worst {milliseconds(worst)})",
                "-",
                median,
                MOST_TELL_MS,
                False,
                "ms",
            ),
        ]
    return found


if __name__ == "__main__":
    found = rows(TINY if "--tiny" in sys.argv[1:] else FULL)
    print(table(found))
    sys.exit(0 if all(row.met for row in found) else 1)
