"""How fast the engine and the service are, each against a baseline measured in the same run.

Run it with `python3 run.py bench`, or as a script.  Every figure is the best of several takes that alternate
with the baseline's, so that a busy machine disturbs both alike.
"""

import argparse
import asyncio
import datetime as dt
import os
import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")  # one processor for both sides
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from bench_kit import Row, best_of, machine, markdown, milliseconds, processor_s, table
from fastapi import FastAPI

from noonframe.api.app import create_app
from noonframe.api.outputs import ExposureAnswer
from noonframe.dose.plan import LONGEST_PLAN_S, choices_for, plan_for
from noonframe.dose.scene import Scene
from noonframe.settings import Settings
from noonframe.sky.assume import assume_sky
from noonframe.sky.spectrum import spectral_curves
from noonframe.spot.indoors import WindowSpot, sheet_view, sheets_view
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.sheet import Frame
from noonframe.spot.skyline import Skyline
from noonframe.spot.window import Window
from noonframe.stack.curves import light_curves
from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.stack.indoors import sky_through_pane
from noonframe.stack.light import effective_on
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.stack.spectral import spectral_irradiance_on
from noonframe.sun.place import Place
from noonframe.sun.position import sun_track

DAY_S = 86400.0
PLACE = Place(41.15, -8.61, 80.0)
TILT = Aim(35.0, 180.0)
GROUND_ALBEDO = 0.04
YEAR = 2026
AT_ONCE = 16384
QUERY = (
    "latitude_deg=41.15&longitude_deg=-8.61&elevation_m=80&target_j_m2=24000"
    "&stack=float-glass-4mm,polyester-film&start="
)
MIXED = (
    "/v1/exposure?" + QUERY + "2026-06-21T12:00:00Z",
    "/v1/say?" + QUERY + "2026-12-21T17:00:00Z",
    "/v1/slots?latitude_deg=-45.87&longitude_deg=170.5&date=2026-0{month}-15&target_j_m2=24000",
    "/v1/light?latitude_deg=41.15&longitude_deg=-8.61&start=2026-0{month}-01T00:00:00Z"
    "&end=2026-0{month}-02T00:00:00Z&step_s=60&tilt_deg=30&cloud_optical_depth={turn}",
    "/v1/places?name=Porto",
    "/v1/materials",
)


@dataclass(frozen=True)
class Size:
    """How much to measure."""

    takes: int
    days: int
    calls: int
    socket_calls: int
    starts: int
    mixed: int


FULL = Size(takes=15, days=12, calls=400, socket_calls=1500, starts=5, mixed=200)
TINY = Size(takes=1, days=1, calls=3, socket_calls=3, starts=1, mixed=7)


# The engine


def scene() -> Scene:
    """A bare sheet on level ground under a clear summer sky."""
    return Scene(
        place=PLACE,
        sky=assume_sky(PLACE, dt.date(YEAR, 6, 21)),
        spot=OpenSpot(),
        stack=parse_stack("none"),
        sensitizer=find_sensitizer("citrate-classic"),
        near_ground_albedo=GROUND_ALBEDO,
    )


def minutes_from(day: dt.date, days: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Unix seconds of every minute of some days."""
    start_s = dt.datetime.combine(day, dt.time(), tzinfo=dt.UTC).timestamp()
    return start_s + 60.0 * np.arange(days * 1440.0)


def pvlib_day(day: dt.date) -> dict[str, Any]:
    """A day at one-minute steps through pvlib: position, spectra, light on level and tilted planes."""
    import pandas as pd
    from pvlib import atmosphere, irradiance, solarposition, spectrum

    times = pd.date_range(day.isoformat(), periods=1440, freq="1min", tz="UTC")
    sun = solarposition.get_solarposition(
        times, PLACE.latitude_deg, PLACE.longitude_deg, PLACE.elevation_m, method="nrel_numpy"
    )
    zenith = sun["apparent_zenith"].to_numpy()
    aoi = irradiance.aoi(TILT.tilt_deg, TILT.aim_azimuth_deg, sun["apparent_zenith"], sun["azimuth"])
    airmass = atmosphere.get_relative_airmass(zenith, model="kastenyoung1989")
    with np.errstate(invalid="ignore"):
        spectra: dict[str, Any] = spectrum.spectrl2(
            apparent_zenith=zenith,
            aoi=aoi.to_numpy(),
            surface_tilt=TILT.tilt_deg,
            ground_albedo=GROUND_ALBEDO,
            surface_pressure=PLACE.pressure_hpa * 100.0,
            relative_airmass=airmass,
            precipitable_water=1.5,
            ozone=0.33,
            aerosol_turbidity_500nm=0.12,
            dayofyear=times.day_of_year.to_numpy(),
        )
    spectra["level"] = spectra["dhi"] + spectra["dni"] * np.maximum(np.cos(np.radians(zenith)), 0.0)
    return spectra


def pvlib_effective_day(day: dt.date) -> tuple[Any, Any]:
    """The same day weighed by the coat's action, on level ground and tilted."""
    spectra = pvlib_day(day)
    wavelength_nm = spectra["wavelength"]
    action = np.interp(wavelength_nm, WAVELENGTH_NM, scene().sensitizer.action, left=0.0, right=0.0)
    weight = action * np.gradient(wavelength_nm)
    return weight @ np.nan_to_num(spectra["level"]), weight @ np.nan_to_num(spectra["poa_global"])


def measure_day(size: Size) -> Row:
    """All spectra of a day."""
    sheet, day = scene(), dt.date(YEAR, 6, 21)
    time_s, spot = minutes_from(day, 1), OpenSpot(TILT)

    def ours() -> object:
        return spectral_irradiance_on(sheet.sky.state, sun_track(PLACE, time_s), spot, GROUND_ALBEDO)

    mine, theirs = best_of(size.takes, ours, lambda: pvlib_day(day))
    name = "a day of minutes, every wavelength, level and tilted"
    return Row(name, milliseconds(mine), f"{milliseconds(theirs)} (pvlib)", theirs / mine, 30.0, True)


def measure_year(size: Size) -> Iterator[Row]:
    """The effective light of a year, level and tilted; pvlib runs on days spread over it and is scaled up."""
    level = scene()
    tilted = replace(level, spot=OpenSpot(TILT))
    time_s = minutes_from(dt.date(YEAR, 1, 1), 365)
    days = [
        dt.date(YEAR, 1, 1) + dt.timedelta(days=round((k + 0.5) * 365 / size.days)) for k in range(size.days)
    ]

    def ours() -> object:
        parts = []
        for first in range(0, time_s.size, AT_ONCE):
            track = sun_track(PLACE, time_s[first : first + AT_ONCE])
            parts.append([effective_on(s.curves, track, s.spot, GROUND_ALBEDO) for s in (level, tilted)])
        return parts

    def theirs() -> object:
        return [pvlib_effective_day(day) for day in days]

    def afresh() -> object:
        light_curves.cache_clear()
        spectral_curves.cache_clear()
        return light_curves(level.sky.state, level.stack, level.sensitizer)

    mine, sample, curves = best_of(max(size.takes // 3, 1), ours, theirs, afresh)
    year = sample / size.days * 365
    baseline = f"{milliseconds(year)} (pvlib, {size.days} days x {365 / size.days:.3g})"
    name = "a year of minutes, effective, level and tilted"
    yield Row(name, milliseconds(mine), baseline, year / mine, 300.0, True)
    name = "the same with the sky's curves worked out anew"
    yield Row(name, milliseconds(mine + curves), baseline, year / (mine + curves), 150.0, True)


# Inside a window


WINDOW = Window(135.0, 1.2, 0.1, 1.5, 0.2)
INSIDE = WindowSpot(WINDOW, Frame(0.6, 0.0, 0.3, 0.4), grid=(5, 5))
PANE = "float-glass-4mm"
SHEET = "float-glass-4mm,polyester-film"
PLACES = 60
EVENNESS_STOPS = 0.5
TARGET_J_M2 = 60000.0
OPEN_DAY = "the day on open ground, uncached"


def inside(spot: WindowSpot = INSIDE, pane: str = "none") -> Scene:
    """A frame under glass and film inside a window, under a clear summer sky."""
    glazed = WindowSpot(replace(spot.window, pane=pane), spot.frame, spot.grid)
    return replace(scene(), spot=glazed, stack=parse_stack(SHEET), pane=parse_stack(pane))


def forget() -> None:
    """Every kept curve and view, so that each take works them out as for a first request."""
    light_curves.cache_clear()
    spectral_curves.cache_clear()
    sheet_view.cache_clear()
    sheets_view.cache_clear()
    sky_through_pane.cache_clear()


def measure_window(size: Size) -> Iterator[Row]:
    """A day of minutes inside a window, and plans of moves, against the same day on open ground.

    Both sides begin with nothing kept: sky, curves and views of the sky are worked out in every take, as for
    a sky and a room never asked about before.  The day is that of `Scene.light`: UVA, blue, effective
    light, UV index.
    """
    day = dt.date(YEAR, 6, 21)
    time_s = minutes_from(day, 1)
    level = replace(scene(), stack=parse_stack(SHEET))

    def afresh(task: Callable[[], object]) -> Callable[[], object]:
        def run() -> object:
            forget()
            return task()

        return run

    def light_of(sheet: Scene) -> Callable[[], object]:
        # A copy, since a scene keeps its own curves.
        return afresh(lambda: replace(sheet).light(time_s))

    def plan(sheet: Scene, tolerance_stops: float | None) -> Callable[[], object]:
        def run() -> object:
            copy = replace(sheet)
            found = plan_for(
                copy,
                choices_for(copy, most_places=PLACES),
                time_s[0] + 7.5 * 3600.0,
                TARGET_J_M2,
                move_cost_s=30.0,
                max_moves=4,
                tolerance_stops=tolerance_stops,
                start_anywhere=True,
            )
            if found.looked_until_s - found.start_s < LONGEST_PLAN_S:
                raise RuntimeError("the plan did not look over its eight hours")
            return found

        return afresh(run)

    narrow = inside(WindowSpot(replace(WINDOW, width_m=0.5, head_m=0.9), INSIDE.frame))
    tasks = [
        light_of(level),
        light_of(inside()),
        light_of(inside(pane=PANE)),
        plan(inside(), None),
        plan(inside(), EVENNESS_STOPS),
        plan(inside(pane=PANE), EVENNESS_STOPS),
        plan(narrow, EVENNESS_STOPS),
    ]
    open_s, *window_s = best_of(size.takes, *tasks)
    baseline = f"{milliseconds(open_s)} ({OPEN_DAY})"
    names = (
        ("a day of minutes inside an open window, 5x5 points", 5.0),
        ("the same behind a pane", 5.0),
        (f"a plan of moves, 8 hours, {PLACES} places, open window", 10.0),
        ("the same, even to half a stop", 10.0),
        ("the same, even to half a stop, behind a pane", 10.0),
        # Here evenness binds, and the search for the best even plan runs to its limit of work: the target
        # is that limit, two seconds on one core.
        ("the same, narrow window: a search to its limit", 1000.0),
    )
    for (name, target), seconds in zip(names, window_s, strict=True):
        yield Row(name, milliseconds(seconds), baseline, seconds / open_s, target, False)


# The service


def empty_app() -> FastAPI:
    """A route that returns one ready answer of the same schema."""
    app = FastAPI()
    ready = asyncio.run(call(create_app(Settings()), exposure_queries(1)[0]))
    answer = ExposureAnswer.model_validate_json(ready)

    @app.get("/v1/exposure")
    async def exposure() -> ExposureAnswer:
        return answer

    return app


def exposure_queries(count: int) -> list[str]:
    """Queries that all differ in their start, as questions about now do."""
    begin = dt.datetime(YEAR, 6, 21, 11, tzinfo=dt.UTC)
    return [
        QUERY + (begin + dt.timedelta(seconds=7 * k)).isoformat().replace("+00:00", "Z") for k in range(count)
    ]


async def call(app: FastAPI, query: str) -> bytes:
    """One GET of /v1/exposure straight through ASGI."""
    sent: list[Any] = []
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "path": "/v1/exposure",
        "raw_path": b"/v1/exposure",
        "query_string": query.encode(),
        "root_path": "",
        "headers": [(b"host", b"localhost")],
        "client": ("127.0.0.1", 50000),
        "server": ("127.0.0.1", 80),
    }

    async def receive() -> Any:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Any) -> None:
        sent.append(message)

    await app(scope, receive, send)
    if sent[0]["status"] != 200:
        raise RuntimeError(sent)
    return b"".join(message.get("body", b"") for message in sent[1:])


def measure_in_process(size: Size) -> Row:
    """The exposure route against the empty one."""
    queries = exposure_queries(size.calls)

    def runner(app: FastAPI) -> Callable[[], object]:
        async def run() -> None:
            for query in queries:
                await call(app, query)

        return lambda: asyncio.run(run())

    mine, theirs = best_of(size.takes, runner(create_app(Settings())), runner(empty_app()))
    ours, baseline = (f"{seconds / size.calls * 1e6:.0f} us" for seconds in (mine, theirs))
    return Row("/v1/exposure in process", ours, f"{baseline} (empty route)", mine / theirs, 3.0, False)


@contextmanager
def served(maker: str) -> Iterator[tuple[int, int]]:
    """A server process for the app that `maker` makes; gives its port and its process id."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    program = (
        f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); import uvicorn, run\n"
        f"uvicorn.run({maker}, port={port}, log_level='error', access_log=False)"
    )
    with subprocess.Popen([sys.executable, "-c", program]) as process:
        try:
            for _ in range(600):
                try:
                    socket.create_connection(("127.0.0.1", port), timeout=1).close()
                    break
                except OSError:
                    time.sleep(0.05)
            yield port, process.pid
        finally:
            process.terminate()


def ask(connection: socket.socket, target: str) -> bytes:
    """One GET on an open connection; the answer, headers and all."""
    connection.sendall(f"GET {target} HTTP/1.1\r\nHost: localhost\r\n\r\n".encode())
    received = b""
    while b"\r\n\r\n" not in received:
        received += connection.recv(65536)
    head, _, body = received.partition(b"\r\n\r\n")
    if not head.startswith(b"HTTP/1.1 200"):
        raise RuntimeError(received[:500])
    length = next(
        int(line.partition(b":")[2])
        for line in head.split(b"\r\n")
        if line.lower().startswith(b"content-length")
    )
    while len(body) < length:
        body += connection.recv(65536)
    return head + body


def measure_over_a_socket(size: Size) -> Row:
    """Requests per second of the exposure route and of the empty one, on one connection each."""
    targets = [f"/v1/exposure?{query}" for query in exposure_queries(size.socket_calls)]

    def runner(port: int) -> Callable[[], object]:
        def run() -> None:
            with socket.create_connection(("127.0.0.1", port)) as connection:
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                for target in targets:
                    ask(connection, target)

        return run

    with served("run.create_app(run.Settings())") as (ours, _), served("run.empty_app()") as (empty, _):
        mine, theirs = best_of(max(size.takes // 3, 1), runner(ours), runner(empty))
    rates = [f"{size.socket_calls / seconds:.0f}/s" for seconds in (mine, theirs)]
    return Row("/v1/exposure over a socket", rates[0], f"{rates[1]} (empty route)", mine / theirs, 3.0, False)


def measure_targets(size: Size) -> Iterator[Row]:
    """What a year of minutes costs on one core, and what memory it takes, as promised."""
    from bench_growth import AROUND

    level = replace(scene(), stack=parse_stack(SHEET))
    yard = replace(level, spot=OpenSpot(TILT, Skyline.from_pairs(AROUND)))
    time_s = minutes_from(dt.date(YEAR, 1, 1), 365)
    takes = max(size.takes // 3, 1)
    for name, sheet, promised_s in (("level", level, 0.1), ("tilted, with a skyline", yard, 0.4)):

        def year(sheet: Scene = sheet) -> object:
            forget()
            return replace(sheet).rate(time_s)

        seconds = processor_s(year, takes)
        promised = f"{milliseconds(promised_s)} (promised)"
        yield Row(f"a year of minutes, {name}", milliseconds(seconds), promised, seconds / promised_s, 1.0)
    if sys.platform == "linux":
        program = (
            f"import sys; sys.path[:0] = {[str(Path(__file__).parent), str(Path(__file__).parents[1])]!r}\n"
            "import datetime as dt, own_memory, run, bench_growth as g\n"
            "spot = run.OpenSpot(run.TILT, run.Skyline.from_pairs(g.AROUND))\n"
            "run.replace(run.scene(), spot=spot).rate(run.minutes_from(dt.date(run.YEAR, 1, 1), 365))\n"
            "print(own_memory.peak_mb())"
        )
        told = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
        peak = float(told.stdout)
        yield Row("memory of that year, all in", f"{peak:.0f} MB", "-", peak, 300.0, False, "MB")


def measure_memory(size: Size) -> Row | None:
    """Resident memory of the service after mixed requests."""
    if not Path("/proc/self/status").exists():
        return None
    with (
        served("run.create_app(run.Settings())") as (port, pid),
        socket.create_connection(("127.0.0.1", port)) as connection,
    ):
        for turn in range(size.mixed):
            ask(connection, MIXED[turn % len(MIXED)].format(month=1 + turn % 9, turn=turn % 128))
        status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    resident = next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS")) / 1024.0
    name = f"resident memory after {size.mixed} mixed requests"
    return Row(name, f"{resident:.0f} MB", "-", resident, 250.0, False, "MB")


def measure_cold_start(size: Size) -> Row | None:
    """The command from nothing to an answer, against the mere import of its largest libraries."""
    command = Path(sys.executable).with_name("noonframe.exe" if os.name == "nt" else "noonframe")
    question = [str(command), "now", "--place", "quayside-yard"]
    if not command.exists() or subprocess.run(question, capture_output=True, check=False).returncode not in (
        0,
        1,
    ):
        return None

    def median(arguments: list[str]) -> float:
        taken = []
        for _ in range(size.starts):
            began = time.perf_counter()
            subprocess.run(arguments, capture_output=True, check=False)
            taken.append(time.perf_counter() - began)
        return statistics.median(taken)

    mine = median(question)
    theirs = median([sys.executable, "-c", "import pvlib, fastapi"])
    baseline = f"{milliseconds(theirs)} (import pvlib, fastapi)"
    return Row("the command from cold", milliseconds(mine), baseline, mine / theirs, 1.5, False)


OTHERS = (
    "skies.py",
    "bench_records.py",
    "streams.py",
    "sessions.py",
    "negative_film.py",
    "negative_preview.py",
    "years.py",
)


def measure(size: Size) -> list[Row]:
    """Every row of the first table that can be measured here."""
    rows: list[Row | None] = [
        measure_day(size),
        *measure_year(size),
        *measure_targets(size),
        *measure_window(size),
        measure_in_process(size),
        measure_over_a_socket(size),
        measure_cold_start(size),
        measure_memory(size),
    ]
    return [row for row in rows if row is not None]


def tables(*, tiny: bool) -> Iterator[tuple[str, list[Row]]]:
    """The tables of one run, each under its heading."""
    import bench_growth
    import bench_http
    import bench_places

    yield "Engine, answers and starts", measure(TINY if tiny else FULL)
    heading = f"Questions over a socket, {bench_http.CONNECTIONS} connections at once"
    yield heading, bench_http.rows(1, 40) if tiny else bench_http.rows(5, 1500)
    yield "Many places at once", bench_places.rows(1, 20_000) if tiny else bench_places.rows(3, 1_000_000)
    yield "Growth", bench_growth.rows(1, tiny=True) if tiny else bench_growth.rows(3)


def main() -> int:
    """Measure and print; 1 when a target is missed."""
    parser = argparse.ArgumentParser(description="Speed of noonframe, as ratios against baselines.")
    parser.add_argument("--tiny", action="store_true", help="one take of everything, to see that it runs")
    parser.add_argument("--all", action="store_true", help="sampled skies, streams and records too")
    parser.add_argument("--markdown", action="store_true", help="tables for a page in Markdown")
    given = parser.parse_args()
    print(f"Measured on: {machine()}.", flush=True)
    missed = False
    for heading, rows in tables(tiny=given.tiny):
        shown = f"### {heading}\n\n{markdown(rows)}" if given.markdown else f"{heading}\n\n{table(rows)}"
        print(f"\n{shown}", flush=True)
        missed |= not all(row.met for row in rows)
    for name in OTHERS if given.all else ():
        print(flush=True)
        command = [sys.executable, str(Path(__file__).with_name(name))]
        missed |= subprocess.run(command, check=False).returncode != 0
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
