"""A made-up day at the Quayside Print Room: the app, a clock to turn, and the light that truly came.

Everything a program that shows noonframe needs besides the HTTP contract.  The forecast is served on this
machine in a provider's format and tells of broken cloud.  The true sky goes cloud by cloud, and their depths
are not those behind the words for a sky: whoever follows it has something to miss.
"""

import datetime as dt
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from fastapi import FastAPI

from noonframe.api.app import create_app
from noonframe.api.ask import understand
from noonframe.api.inputs_runs import RunBody
from noonframe.dose.integrate import crossing_time_s, cumulative_dose
from noonframe.errors import OutOfDomain
from noonframe.settings import Settings, load_settings
from noonframe.sky.evidence_broadband import depth_of, node_factors
from noonframe.sky.words import CloudPart
from noonframe.types import FloatArray
from noonframe.weather.rehearsal import RehearsalServer
from noonframe.weather.rehearsal_sky import ScriptedSky, Spell

DAY_S = dt.datetime(2026, 6, 21, tzinfo=dt.UTC).timestamp()
PLACE: Mapping[str, object] = {"place": "quayside-yard"}
_HOUR_S, _MINUTE_S = 3600.0, 60.0
_ELEVATION_M = 80.0
_MOST_HOURS = 12.0


@dataclass(frozen=True)
class Change:
    """The sky turns at `at_s` (unix seconds) to what somebody beside the frame would call `sky`."""

    at_s: float
    sky: str


class HandClock:
    """Unix seconds that pass only when told; never backward."""

    def __init__(self, now_s: float) -> None:
        self.now_s = now_s

    def __call__(self) -> float:
        """Unix seconds now."""
        return self.now_s

    def turn_to(self, now_s: float) -> None:
        """Let the time pass until `now_s`."""
        if not now_s >= self.now_s:
            raise OutOfDomain("now_s", now_s, f"not before {self.now_s:.3f}: time does not go back")
        self.now_s = now_s


@dataclass(frozen=True, eq=False)
class Demo:
    """The made-up day.

    `app` is not started yet.  `morning_s` is when a printer looks at the day, `ready_s` when the sheet is
    ready; `changes` is the sky from then on, its first entry what it is at that time.
    """

    app: FastAPI
    clock: HandClock
    morning_s: float
    ready_s: float
    changes: tuple[Change, ...]
    settings: Settings
    sky: ScriptedSky

    def true_dose_j_m2(self, run: Mapping[str, Any], from_s: float, to_s: float) -> float:
        """What a sheet that lies as `run` says (the body that starts one) truly gets between two moments."""
        if not from_s <= to_s <= from_s + _MOST_HOURS * _HOUR_S:
            raise OutOfDomain("to_s", to_s, f"between from_s and {_MOST_HOURS:g} hours later")
        return float(self._course(run, from_s, to_s)[2][-1])

    def true_end_s(self, run: Mapping[str, Any], from_s: float, target_j_m2: float) -> float | None:
        """When it truly has `target_j_m2`; None when it does not get there within twelve hours."""
        return crossing_time_s(*self._course(run, from_s, from_s + _MOST_HOURS * _HOUR_S), target_j_m2)

    def _course(
        self, run: Mapping[str, Any], from_s: float, to_s: float
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Times, rates and doses (n,), second by second, with both sides of every change of the sky."""
        body = RunBody.model_validate(run)
        moment = dt.datetime.fromtimestamp(from_s, dt.UTC)
        scene = understand(body, moment, self.settings, body.spot).scene
        starts = [spell.start_s for spell in self.sky.spells if from_s < spell.start_s < to_s]
        times, rates = [], []
        for begin_s, end_s in zip([from_s, *starts], [*starts, to_s], strict=True):
            time_s = np.append(np.arange(begin_s, end_s, 1.0), end_s)
            middle_s = np.array([0.5 * (begin_s + end_s)])
            nodes = node_factors(scene.track(middle_s).zenith_deg)
            depth = float(depth_of(self.sky.at(middle_s)["clear_sky_index"], nodes)[0])
            times.append(time_s)
            rates.append(scene.under(CloudPart(1.0, depth)).rate(time_s))
        time, rate = np.concatenate(times), np.concatenate(rates)
        return time, rate, cumulative_dose(time, rate)


@contextmanager
def open_demo() -> Iterator[Demo]:
    """The made-up day; its records and its weather server, on the loopback address, go away afterwards."""
    changes, spells = _true_sky()
    clock = HandClock(DAY_S + 7.0 * _HOUR_S)
    with (
        TemporaryDirectory(prefix="noonframe-demo-", ignore_cleanup_errors=True) as folder,
        RehearsalServer(_forecast_sky(), clock) as weather,
    ):
        settings = load_settings(
            state_dir=Path(folder),
            database_url=None,
            spectra_dir=None,
            weather_providers=("open-meteo",),
            weather_open_meteo_url=weather.url,
            weather_open_meteo_key=None,
            weather_contact=None,
        )
        yield Demo(
            create_app(settings, clock),
            clock,
            morning_s=clock.now_s,
            ready_s=changes[0].at_s,
            changes=changes,
            settings=settings,
            sky=ScriptedSky(spells, _ELEVATION_M),
        )


def _forecast_sky() -> ScriptedSky:
    """What the forecast tells: mist, a clear hour, broken cloud, a shower, a clear evening.  Made up."""
    rows = (
        # UTC hours, clear-sky index, low, mid and high cloud, fog, rain in mm/h
        (0.0, 0.45, 0.9, 0.0, 0.0, 0.6, 0.0),
        (8.5, 0.97, 0.05, 0.0, 0.1, 0.0, 0.0),
        (9.75, 0.87, 0.25, 0.0, 0.1, 0.0, 0.0),
        (12.0, 0.72, 0.50, 0.1, 0.2, 0.0, 0.0),
        (14.5, 0.20, 1.0, 0.8, 0.5, 0.0, 2.0),
        (15.5, 0.98, 0.05, 0.0, 0.1, 0.0, 0.0),
    )
    spells = tuple(Spell(DAY_S + _HOUR_S * hour, *sky) for hour, *sky in rows)
    return ScriptedSky(spells, _ELEVATION_M)


def _true_sky() -> tuple[tuple[Change, ...], tuple[Spell, ...]]:
    """The sky as it is from 11:02 at the place on, by minutes and clear-sky index.  Made up."""
    begin_s = DAY_S + 10.0 * _HOUR_S + 2.0 * _MINUTE_S
    rows = (
        (0.0, "sun-out", 1.0),
        (5.25, "covered", 0.46),
        (9.5, "sun-out", 1.0),
        (14.0, "thin-cloud", 0.90),
        (17.5, "covered", 0.56),
        (22.75, "sun-out", 1.0),
        (40.0, "covered", 0.54),
    )
    changes = tuple(Change(begin_s + _MINUTE_S * minute, sky) for minute, sky, _ in rows)
    return changes, tuple(
        Spell(change.at_s, index) for change, (_, _, index) in zip(changes, rows, strict=True)
    )
