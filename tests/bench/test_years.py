"""The bench of years: that it runs in its smallest form."""

import importlib.util
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="module")
def years():
    folder = Path(__file__).parent
    names = {"run": folder / "run.py", "noonframe_bench_years": folder / "years.py"}
    before = {name: sys.modules.get(name) for name in names}
    path = list(sys.path)
    for name, file in names.items():
        spec = importlib.util.spec_from_file_location(name, file)
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    yield module
    sys.path[:] = path
    for name, known in before.items():
        if known is None:
            del sys.modules[name]
        else:
            sys.modules[name] = known


def test_every_kind_of_spot_is_measured_against_a_day(years):
    rows = years.rows(years.TINY)
    assert [row.unit for row in rows] == ["ms", "x"] * 6
    assert all(row.ratio > 0.0 for row in rows)
    assert len(years.table(rows).splitlines()) == len(rows) + 1
