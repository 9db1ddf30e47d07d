"""What every test may ask for."""

from pathlib import Path

import pytest

from noonframe.settings import PREFIX, Settings


@pytest.fixture(autouse=True)
def plain_environment(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No test depends on, or writes to, what the person who runs it has set up."""
    import os

    for name in list(os.environ):
        if name.upper().startswith(PREFIX):
            monkeypatch.delenv(name)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Settings whose records lie in the test's own folder."""
    return Settings(state_dir=tmp_path / "noonframe")


@pytest.fixture(scope="session")
def checkout() -> Path:
    """The folder that holds README.md, service/, data/ and run.py."""
    return Path(__file__).resolve().parents[1]
