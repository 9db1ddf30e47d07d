"""The bench of session plans: that it runs in its smallest form."""

import importlib.util
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="module")
def sessions():
    folder = Path(__file__).parent
    names = {"run": folder / "run.py", "noonframe_bench_sessions": folder / "sessions.py"}
    before = {name: sys.modules.get(name) for name in names}
    for name, path in names.items():
        spec = importlib.util.spec_from_file_location(name, path)
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    yield sys.modules["noonframe_bench_sessions"]
    for name, module in before.items():
        if module is None:
            del sys.modules[name]
        else:
            sys.modules[name] = module


def test_a_session_is_planned_near_to_the_best_and_before_the_order_asked_for(sessions):
    found = list(sessions.rows(sessions.TINY))
    assert [row.unit for row in found] == ["s", "%"]
    assert found[1].met
    assert len(sessions.table(found).splitlines()) == len(found) + 1
    _, session, cost_s, _ = sessions.planned(next(iter(sessions.DAYS.values())))
    fits, simple_s = sessions.in_order_s(session)
    assert fits == 12
    assert simple_s > cost_s
