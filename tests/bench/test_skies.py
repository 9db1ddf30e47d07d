"""The bench of sampled skies: that it runs in its smallest form."""

import importlib.util
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="module")
def skies():
    folder = Path(__file__).parent
    names = {"run": folder / "run.py", "noonframe_bench_skies": folder / "skies.py"}
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


def test_sampled_skies_cost_something_and_are_compared_with_one_sky(skies):
    rows = skies.rows(skies.TINY)
    assert [row.unit for row in rows] == ["ms", "x"] * 2
    assert all(row.ratio > 1.0 for row in rows[1::2])
    assert len(skies.table(rows).splitlines()) == len(rows) + 1
