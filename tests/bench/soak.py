"""A long steady load on the service as it is really started: is memory flat, does it fail, how slow is it?

    python tests/bench/soak.py [--minutes 60] [--rate 50] [--streams 100] [--database-url postgresql://...]

Requests leave on a timetable whether or not the ones before were answered, and their time counts from when
they were due, so a stall is seen in full.  The last line is JSON; the exit code is 1 after any error, or when
memory grew by more than 5 % between the end of the warming up and the end.
"""

import argparse
import asyncio
import json
import os
import random
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import numpy as np

YARD = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
WARMING_SHARE = 0.25
"""Of the time, before memory is looked at: caches fill, and a day's tables are worked out."""

SAMPLE_S = 5.0
MOST_GROWTH = 0.05
LONG_TARGET_J_M2 = 1e8
"""No sheet is done before the load is over, so every stream stays open."""

START = "from noonframe_terminal.main import run; run()"


@dataclass
class Seen:
    """What came of it."""

    took_s: list[float] = field(default_factory=list)
    errors: Counter[str] = field(default_factory=Counter)
    states: int = 0
    memory: list[tuple[float, float]] = field(default_factory=list)


def resident_mb(pid: int) -> float:
    """Resident memory of a process."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS")) / 1024.0


def next_request(dice: random.Random, runs: list[str]) -> tuple[str, str, dict[str, Any]]:
    """One request of the mixture: mostly questions, some looks at records, a few changes."""
    place = {**YARD, "latitude_deg": round(dice.uniform(-60, 60), 2)}
    sheet = {**place, "target_j_m2": dice.randrange(5000, 40000)}
    run = f"/v1/runs/{dice.choice(runs)}"
    seen = {"kind": "sky", "sky": dice.choice(("clear", "thin-cloud", "overcast"))}
    mixture: dict[tuple[str, str], tuple[float, dict[str, Any]]] = {
        ("GET", "/v1/exposure"): (45, {"params": sheet}),
        ("GET", "/v1/say"): (20, {"params": sheet}),
        ("GET", run): (10, {}),
        ("GET", "/v1/materials"): (10, {}),
        ("GET", "/v1/places"): (5, {"params": {"name": "Porto"}}),
        ("GET", "/v1/slots"): (4, {"params": {**sheet, "date": "2026-06-21"}}),
        ("GET", "/v1/runs"): (2, {"params": {"limit": 20}}),
        ("POST", f"{run}/events"): (2, {"json": seen}),
        ("POST", "/v1/saved-places"): (2, {"json": {"name": f"yard {dice.getrandbits(60):x}", **YARD}}),
    }
    (chosen,) = dice.choices(list(mixture), [weight for weight, _ in mixture.values()])
    return (*chosen, mixture[chosen][1])


async def ask(
    client: httpx.AsyncClient, due_s: float, request: tuple[str, str, dict[str, Any]], seen: Seen
) -> None:
    """One request; its time counts from when it was due."""
    method, path, how = request
    try:
        response = await client.request(method, path, **how)
    except httpx.HTTPError as error:
        seen.errors[f"{method} {path.partition('?')[0][:20]} {type(error).__name__}"] += 1
        return
    seen.took_s.append(time.perf_counter() - due_s)
    if response.status_code >= 400:
        seen.errors[f"{method} {path[:20]} {response.status_code} {response.text[:200]}"] += 1


async def follow(client: httpx.AsyncClient, run_id: str, seen: Seen, over: asyncio.Event) -> None:
    """A stream that must stay open to the end."""
    try:
        async with client.stream("GET", f"/v1/runs/{run_id}/stream", timeout=60) as response:
            if response.status_code != 200:
                seen.errors[f"stream {response.status_code}"] += 1
                return
            async for line in response.aiter_lines():
                seen.states += line == "event: state"
                if over.is_set():
                    return
        if not over.is_set():
            seen.errors["stream ended"] += 1
    except httpx.HTTPError as error:
        if not over.is_set():
            seen.errors[f"stream {type(error).__name__}"] += 1


async def load(url: str, pid: int, minutes: float, rate: float, streams: int) -> Seen:
    """The load, from the first exposure started to the last answer."""
    seen, dice, over = Seen(), random.Random(5), asyncio.Event()
    limits = httpx.Limits(max_connections=None, max_keepalive_connections=64)
    async with (
        httpx.AsyncClient(base_url=url, trust_env=False, timeout=30, limits=limits) as client,
        httpx.AsyncClient(
            base_url=url, trust_env=False, timeout=60, limits=httpx.Limits(max_connections=None)
        ) as far,
    ):
        runs = []
        for number in range(streams):
            place = {**YARD, "latitude_deg": round(30 + number % 20, 2)}
            body = {**place, "target_j_m2": LONG_TARGET_J_M2, "sky": "clear", "name": f"sheet {number}"}
            response = await client.post("/v1/runs", json=body)
            response.raise_for_status()
            runs.append(response.json()["id"])
        followers = [asyncio.create_task(follow(far, run_id, seen, over)) for run_id in runs]
        began_s = time.perf_counter()
        end_s, sampled_s, pending = began_s + 60.0 * minutes, began_s, set[asyncio.Task[None]]()
        for number in range(round(60.0 * minutes * rate)):
            due_s = began_s + number / rate
            wait_s = due_s - time.perf_counter()
            if wait_s > 0.0:
                await asyncio.sleep(wait_s)
            task = asyncio.create_task(ask(client, due_s, next_request(dice, runs), seen))
            pending.add(task)
            task.add_done_callback(pending.discard)
            if due_s >= sampled_s:
                seen.memory.append((due_s - began_s, resident_mb(pid)))
                sampled_s += SAMPLE_S
        await asyncio.gather(*pending)
        seen.memory.append((max(end_s, time.perf_counter()) - began_s, resident_mb(pid)))
        over.set()
        for task in followers:
            task.cancel()
        await asyncio.gather(*followers, return_exceptions=True)
    return seen


def report(seen: Seen, minutes: float, rate: float, streams: int) -> dict[str, Any]:
    """The figures; memory by a straight line through its samples after the warming up."""
    time_s, memory_mb = (np.array(column) for column in zip(*seen.memory, strict=True))
    warm = time_s >= WARMING_SHARE * time_s[-1]
    slope_mb_s, level_mb = np.polyfit(time_s[warm], memory_mb[warm], 1)
    first_mb, last_mb = (slope_mb_s * at_s + level_mb for at_s in (time_s[warm][0], time_s[-1]))
    took_ms = 1e3 * np.array(seen.took_s)
    return {
        "minutes": minutes,
        "requests_per_s": rate,
        "streams": streams,
        "answers": len(seen.took_s),
        "states_streamed": seen.states,
        "errors": dict(seen.errors),
        "p50_ms": round(float(np.percentile(took_ms, 50)), 1),
        "p99_ms": round(float(np.percentile(took_ms, 99)), 1),
        "slowest_ms": round(float(took_ms.max()), 1),
        "memory_first_mb": round(float(memory_mb[0]), 1),
        "memory_warm_mb": round(float(first_mb), 1),
        "memory_last_mb": round(float(last_mb), 1),
        "memory_mb_per_hour": round(float(slope_mb_s) * 3600.0, 2),
        "memory_growth": round(float(last_mb / first_mb - 1.0), 4),
    }


def main() -> int:
    """Start a service of its own, load it, tell the figures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--rate", type=float, default=50.0, help="requests per second")
    parser.add_argument("--streams", type=int, default=100)
    parser.add_argument("--database-url", default=None, help="instead of a file of its own")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
        free.close()
        environment = {k: v for k, v in os.environ.items() if not k.startswith("NOONFRAME_")}
        environment |= {"OMP_NUM_THREADS": "1", "NOONFRAME_STATE_DIR": folder}
        if given.database_url:
            environment["NOONFRAME_DATABASE_URL"] = given.database_url
        command = [sys.executable, "-c", START, "serve", "--port", str(port)]
        with subprocess.Popen(command, env=environment) as process:
            try:
                url = f"http://127.0.0.1:{port}"
                for _ in range(600):
                    try:
                        httpx.get(f"{url}/readyz", trust_env=False).raise_for_status()
                        break
                    except httpx.HTTPError:
                        time.sleep(0.1)
                seen = asyncio.run(load(url, process.pid, given.minutes, given.rate, given.streams))
            finally:
                process.terminate()
                ended = process.wait(30)
    figures = report(seen, given.minutes, given.rate, given.streams) | {"exit_code_of_service": ended}
    print(json.dumps(figures))
    return 1 if seen.errors or figures["memory_growth"] > MOST_GROWTH else 0


if __name__ == "__main__":
    sys.exit(main())
