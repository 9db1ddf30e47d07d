"""The bench itself: that it runs, and, when it is asked for, what it finds."""

import importlib.util
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="module")
def bench():
    kept = list(sys.path)
    path = Path(__file__).with_name("run.py")
    spec = importlib.util.spec_from_file_location("noonframe_bench", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # dataclasses look their own module up by name
    spec.loader.exec_module(module)
    yield module
    del sys.modules[spec.name]
    sys.path[:] = kept


def test_every_measurement_runs_in_its_smallest_form(bench):
    rows = bench.measure(bench.TINY)
    assert {row.unit for row in rows} <= {"x", "MB"}
    assert len(rows) >= 5
    assert all(row.ratio > 0 for row in rows)
    text = bench.table(rows)
    assert len(text.splitlines()) == len(rows) + 1
    assert all(row.name in text for row in rows)


def test_a_missed_target_is_called_missed(bench):
    slow = bench.Row("slow", "2 s", "1 s", 2.0, 1.5, more_is_better=False)
    assert not slow.met
    assert "MISSED" in bench.table([slow])
    assert bench.Row("fast", "1 s", "40 s", 40.0, 30.0, more_is_better=True).met


def test_both_sides_of_the_day_find_the_same_noon_light(bench):
    """Two models of the clear sky, 320-480 nm, level: within a fifth of each other, so neither side idles."""
    import datetime as dt

    import numpy as np

    day = dt.date(2026, 6, 21)
    theirs = bench.pvlib_day(day)
    band = (theirs["wavelength"] >= 320) & (theirs["wavelength"] <= 480)
    noon = 754
    their_noon = np.trapezoid(theirs["level"][band, noon], theirs["wavelength"][band])
    sheet = bench.scene()
    track = bench.sun_track(bench.PLACE, bench.minutes_from(day, 1))
    ours = bench.spectral_irradiance_on(sheet.sky.state, track, bench.OpenSpot(bench.TILT), 0.04)
    inside = (ours.wavelength_nm >= 320) & (ours.wavelength_nm <= 480)
    our_noon = np.trapezoid(ours.level[noon, inside], ours.wavelength_nm[inside])
    assert our_noon == pytest.approx(their_noon, rel=0.2)


def test_every_other_table_runs_in_its_smallest_form(bench, monkeypatch):
    monkeypatch.setattr(bench, "measure", lambda size: [])
    found = dict(bench.tables(tiny=True))
    assert len(found) == 4
    for rows in list(found.values())[1:]:
        assert len(rows) >= 5
        assert all(row.ratio > 0.0 for row in rows)
        assert len(bench.markdown(rows).splitlines()) == len(rows) + 2


def test_a_row_without_a_target_only_informs(bench):
    row = bench.Row("growth", "2 s", "1 s", 2.0)
    assert row.met
    assert row.cells[4:] == ("-", "")


def test_the_machine_is_named_with_its_cores_and_python(bench):
    import platform

    assert "cores" in bench.machine()
    assert platform.python_version() in bench.machine()


@pytest.mark.bench
def test_the_targets(bench, capsys):
    missed = []
    for heading, rows in bench.tables(tiny=False):
        with capsys.disabled():
            print(f"\n\n{heading}\n\n{bench.table(rows)}\n")
        missed += [row.name for row in rows if not row.met]
    assert missed == []
