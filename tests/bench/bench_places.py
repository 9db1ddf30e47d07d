"""Many places at once: light and exposures for a batch, against one place after another."""

import datetime as dt
import json
import os
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")  # one processor for both sides
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from bench_kit import Row, milliseconds, processor_s, table

from noonframe.api.routes.batch import answered
from noonframe.dose.batch import batch_light
from noonframe.dose.batch_exposure import batch_exposure
from noonframe.dose.batch_places import BatchPlaces
from noonframe.dose.batch_sky import BatchSheet
from noonframe.dose.scene import Scene, Target
from noonframe.settings import Settings
from noonframe.sky.assume import assume_sky
from noonframe.spot.plane import OpenSpot
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.place import Place

START = dt.datetime(2026, 6, 21, 11, tzinfo=dt.UTC)
TARGET = Target(24000.0, 0.25, "given")
ALBEDO = 0.04
LIGHT_TARGET, EXPOSURE_TARGET = 1_000_000.0, 100_000.0
SINGLES = 24


def globe(count: int, *, high: bool = False, given: bool = False) -> BatchPlaces:
    """Places spread evenly over the globe: at sea level, at any height, or with air of their own as well."""
    rng = np.random.default_rng(20260621)
    return BatchPlaces.checked(
        np.degrees(np.arcsin(rng.uniform(-1.0, 1.0, count))),
        rng.uniform(-180.0, 180.0, count),
        rng.uniform(0.0, 4000.0, count) if high else 0.0,
        rng.uniform(220.0, 450.0, count) if given else None,
        rng.uniform(0.02, 0.8, count) if given else None,
    )


def sheet() -> BatchSheet:
    """A coat under glass and film, a clear sky."""
    sky = assume_sky(Place(0.0, 0.0), START.date()).state
    stack = parse_stack("float-glass-4mm,polyester-film")
    return BatchSheet(sky.cloud, ALBEDO, stack, find_sensitizer("citrate-classic"))


def light_of(places: BatchPlaces) -> Callable[[], object]:
    """The light of all places, as a task."""
    return lambda: batch_light(sheet(), places, START.timestamp())


def exposures_of(places: BatchPlaces) -> Callable[[], object]:
    """The exposures at all places, as a task."""
    return lambda: batch_exposure(sheet(), places, START.timestamp(), TARGET, light_spread_stops=0.2)


def one_by_one(places: BatchPlaces, *, expose: bool) -> Callable[[], object]:
    """The first places as single questions would have them, every one with curves of its own."""
    one = sheet()
    start_s = START.timestamp()

    def run() -> None:
        for latitude, longitude in zip(
            places.latitude_deg[:SINGLES].tolist(), places.longitude_deg[:SINGLES].tolist(), strict=True
        ):
            place = Place(latitude, longitude)
            sky = assume_sky(place, START.date())
            scene = Scene(place, sky, OpenSpot(), one.stack, one.sensitizer, ALBEDO)
            if expose:
                scene.course(start_s).dose.expose(start_s, TARGET.target_j_m2, 0.3)
            else:
                scene.light(np.array([start_s]))

    from run import forget

    def afresh() -> None:
        forget()
        run()

    return afresh


def body_of(places: BatchPlaces) -> bytes:
    """A body for /v1/batch."""
    return json.dumps(
        {
            "latitude_deg": np.round(places.latitude_deg, 4).tolist(),
            "longitude_deg": np.round(places.longitude_deg, 4).tolist(),
            "start": START.isoformat(),
            "target_j_m2": TARGET.target_j_m2,
            "stack": "float-glass-4mm,polyester-film",
        }
    ).encode()


def rate(per_s: float) -> str:
    """A rate as text."""
    return f"{per_s / 1e6:.2f} M/s" if per_s >= 1e6 else f"{per_s / 1e3:.3g} k/s"


def rows(takes: int, count: int) -> list[Row]:
    """Rates of processor time in one process, each against single questions in the same run."""
    found = []
    sea = globe(count)
    singles = {
        expose: processor_s(one_by_one(sea, expose=expose), takes) / SINGLES for expose in (False, True)
    }
    for words, places in (
        ("sea level", sea),
        ("any height", globe(count, high=True)),
        ("own ozone, aerosol, height", globe(count, high=True, given=True)),
    ):
        for what, task, target, expose in (
            ("light", light_of(places), LIGHT_TARGET, False),
            ("exposures", exposures_of(places), EXPOSURE_TARGET, True),
        ):
            per_s = count / processor_s(task, takes)
            name = f"{what} at {count} places, {words}"
            promised = f"{rate(target)} (promised)"
            found.append(Row(name, rate(per_s), promised, per_s / target, 1.0, True))
            if places is sea:
                alone = f"{rate(1.0 / singles[expose])} (one by one, curves of their own)"
                found.append(Row("the same", rate(per_s), alone, per_s * singles[expose]))
    few = replace(sea, latitude_deg=sea.latitude_deg[:100_000], longitude_deg=sea.longitude_deg[:100_000])
    body, settings = body_of(few), Settings()
    in_json = processor_s(lambda: answered(body, settings, 0.0), takes)
    engine = processor_s(light_of(few), takes) + processor_s(exposures_of(few), takes)
    name = f"/v1/batch, light and exposures of {few.count}, JSON to JSON"
    ours = f"{milliseconds(in_json)}, {rate(few.count / in_json)}"
    found.append(Row(name, ours, f"{milliseconds(engine)} (the engine's part)", in_json / engine))
    return found


if __name__ == "__main__":
    print(table(rows(1, 20_000) if "--tiny" in sys.argv[1:] else rows(3, 1_000_000)))
