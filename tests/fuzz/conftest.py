"""How many cases: few in the ordinary run, as many as asked for with --fuzz-cases."""

import pytest

CASES, SEED = 1200, 20


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("fuzz", "a longer fuzzing: pytest tests/fuzz --fuzz-cases 20000")
    group.addoption("--fuzz-cases", type=int, default=CASES, help=f"requests to send (usually {CASES})")
    group.addoption("--fuzz-seed", type=int, default=SEED, help=f"where they start from (usually {SEED})")


@pytest.fixture
def cases(request: pytest.FixtureRequest) -> int:
    return int(request.config.getoption("--fuzz-cases", CASES))


@pytest.fixture
def first_seed(request: pytest.FixtureRequest) -> int:
    return int(request.config.getoption("--fuzz-seed", SEED))
