"""Questions over a socket: how many in a second and how long each waits, against a route that does nothing.

The service runs as it is served, in a process of its own on loopback; this process asks over several
connections at once, each with its next question as soon as it has an answer.  The routes take turns with the
empty one.  Where the system tells it, the ratio is that of the processor time that one answer costs the
server: the share of the empty route's throughput that one core can sustain, which a busy machine disturbs
far less than the rates beside it.
"""

import asyncio
import os
import statistics
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")  # one processor for both sides
sys.path.insert(0, str(Path(__file__).parent))

import datetime as dt

from bench_kit import Row, table

CONNECTIONS = 8
YEAR = 2026
_SHEET = "&target_j_m2=24000&stack=float-glass-4mm,polyester-film"
_PLACE = "latitude_deg=41.15&longitude_deg=-8.61&elevation_m=80"
_WINDOW = (
    "&window_outward_azimuth_deg=135&window_width_m=1.2&window_sill_m=0.1&window_head_m=1.5"
    "&window_reveal_depth_m=0.2&frame_distance_m=0.6"
)


@dataclass(frozen=True)
class Asked:
    """Questions of one kind: `target` is the share of the empty route's throughput it shall reach."""

    name: str
    question: Callable[[int], str]
    target: float | None = None
    share: float = 1.0


def start_of(number: int) -> str:
    """Starts that all differ, as questions about now do."""
    begin = dt.datetime(YEAR, 6, 21, 10, 30, tzinfo=dt.UTC) + dt.timedelta(seconds=7 * (number % 900))
    return f"&start={begin.isoformat().replace('+00:00', 'Z')}"


def new_place(number: int) -> str:
    """A place nobody asked about before, all within an hour of the sun."""
    latitude, longitude = -30.0 + 0.0101 * (number % 6000), -15.0 + 0.0007 * (number % 20000)
    return f"latitude_deg={latitude:.4f}&longitude_deg={longitude:.4f}&elevation_m=80"


ASKED = (
    Asked("/v1/exposure", lambda k: f"/v1/exposure?{_PLACE}{_SHEET}{start_of(k)}", 0.5),
    Asked(
        "/v1/exposure, four sheets and places in turn",
        lambda k: f"/v1/exposure?latitude_deg={41 + k % 4}&longitude_deg=-8.61{_SHEET}{start_of(k)}",
        0.5,
    ),
    Asked("/v1/exposure, a new place each time", lambda k: (
        f"/v1/exposure?{new_place(k)}{_SHEET}{start_of(k)}"), None, 0.1),
    Asked("/v1/say", lambda k: f"/v1/say?{_PLACE}{_SHEET}{start_of(k)}", 0.5),
    Asked("/v1/light, an hour by the minute", lambda k: (
        f"/v1/light?{_PLACE}&step_s=60{start_of(k)}&end={YEAR}-06-21T13:30:00Z"), None, 0.3),
    Asked("/v1/moves, in the yard", lambda k: f"/v1/moves?{_PLACE}{_SHEET}{start_of(k)}", None, 0.02),
    Asked("/v1/moves, inside a window", lambda k: (
        f"/v1/moves?{_PLACE}{_SHEET}{_WINDOW}{start_of(k)}"), None, 0.005),
)  # fmt: skip


class _Asking(asyncio.Protocol):
    """One connection that asks one question after another and notes how long each took."""

    def __init__(self, questions: "list[bytes]", taken_s: list[float], done: asyncio.Future[None]) -> None:
        self._questions, self._taken_s, self._done = questions, taken_s, done
        self._received = b""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        self._next()

    def _next(self) -> None:
        if not self._questions:
            self._transport.close()
            if not self._done.done():
                self._done.set_result(None)
            return
        self._received, self._began = b"", time.perf_counter()
        self._transport.write(self._questions.pop())

    def data_received(self, data: bytes) -> None:
        self._received += data
        head, blank, body = self._received.partition(b"\r\n\r\n")
        if not blank:
            return
        if not head.startswith(b"HTTP/1.1 200"):
            self._fail(RuntimeError(self._received[:500]))
            return
        told = next(line for line in head.split(b"\r\n") if line.lower().startswith(b"content-length:"))
        if len(body) >= int(told.partition(b":")[2]):
            self._taken_s.append(time.perf_counter() - self._began)
            self._next()

    def connection_lost(self, problem: Exception | None) -> None:
        if not self._done.done():
            self._fail(problem or ConnectionError("the server hung up"))

    def _fail(self, problem: Exception) -> None:
        if not self._done.done():
            self._done.set_exception(problem)
        self._transport.close()


async def ask_all(port: int, targets: Sequence[str]) -> tuple[float, list[float]]:
    """Seconds for all questions over `CONNECTIONS` connections, and the seconds that each took."""
    waiting = [f"GET {target} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode() for target in reversed(targets)]
    taken_s: list[float] = []
    loop = asyncio.get_running_loop()
    began = time.perf_counter()
    done = []
    for _ in range(CONNECTIONS):
        future: asyncio.Future[None] = loop.create_future()
        done.append(future)
        await loop.create_connection(lambda f=future: _Asking(waiting, taken_s, f), "127.0.0.1", port)
    await asyncio.gather(*done)
    return time.perf_counter() - began, taken_s


def processor_of(pid: int) -> float:
    """Processor seconds that a process has used; 0 where the system does not tell."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True)
class Measured:
    """One kind of question, answered: the best rate of the takes, with that take's waits."""

    per_s: float
    p50_s: float
    p99_s: float
    processor_s: float

    @property
    def words(self) -> str:
        """As a cell of the table."""
        text = f"{self.per_s:.0f}/s, p50 {self.p50_s * 1e3:.3g} ms, p99 {self.p99_s * 1e3:.3g} ms"
        return f"{text}, {self.processor_s * 1e6:.0f} us CPU" if self.processor_s else text


def measure(port: int, pid: int, targets: Sequence[str]) -> Measured:
    """Ask all questions once."""
    before_s = processor_of(pid)
    seconds, taken_s = asyncio.run(ask_all(port, targets))
    used_s = (processor_of(pid) - before_s) / len(targets)
    ordered = sorted(taken_s)
    share = [ordered[min(int(part * len(ordered)), len(ordered) - 1)] for part in (0.5, 0.99)]
    return Measured(len(targets) / seconds, share[0], share[1], used_s)


def settled(takes: Sequence[Measured]) -> Measured:
    """The best take, with the mean processor time of all: the system counts that in hundredths of seconds."""
    best = max(takes, key=lambda one: one.per_s)
    return replace(best, processor_s=statistics.fmean(one.processor_s for one in takes))


def rows(takes: int, count: int) -> list[Row]:
    """Every kind of question against the empty route, `count` of each or fewer of the slow ones."""
    from run import served

    found = []
    with (
        served("run.create_app(run.Settings())") as (ours, our_pid),
        served("run.empty_app()") as (empty, empty_pid),
    ):
        nothing = [f"/v1/exposure?{_PLACE}{_SHEET}{start_of(k)}" for k in range(count)]
        measure(empty, empty_pid, nothing)
        for asked in ASKED:
            number = max(round(count * asked.share), CONNECTIONS)
            asking = iter(range(10**9))
            measure(ours, our_pid, [asked.question(next(asking)) for _ in range(max(number // 4, 1))])
            mine, theirs = [], []
            for _ in range(takes):
                theirs.append(measure(empty, empty_pid, nothing))
                mine.append(measure(ours, our_pid, [asked.question(next(asking)) for _ in range(number)]))
            best, base = (settled(several) for several in (mine, theirs))
            baseline = f"{base.words} (empty route)"
            told = min(best.processor_s, base.processor_s) > 0.0
            ratio = base.processor_s / best.processor_s if told else best.per_s / base.per_s
            found.append(Row(asked.name, best.words, baseline, ratio, asked.target, True))
    return found


if __name__ == "__main__":
    print(f"{CONNECTIONS} connections at once")
    print(table(rows(1, 40) if "--tiny" in sys.argv[1:] else rows(3, 2000)))
