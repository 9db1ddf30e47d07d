"""What a run can be told from outside: environment variables `NOONFRAME_...`, passed in, never global."""

import os
import sys
from pathlib import Path
from typing import Any

from pydantic import Field, ValidationError, field_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

from noonframe.errors import Malformed

PREFIX = "NOONFRAME_"


def user_state_folder() -> Path:
    """Where the user's own records live by the platform's custom; nothing is created."""
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or str(Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = str(Path.home() / "Library" / "Application Support")
    else:
        # the XDG base directory rules say that a relative path is to be ignored
        named = os.environ.get("XDG_STATE_HOME", "")
        base = named if Path(named).is_absolute() else str(Path.home() / ".local" / "state")
    return Path(base) / "noonframe"


class Settings(BaseSettings):
    """Limits and places of one run; frozen.  `load_settings` reads it with plain error messages."""

    model_config = SettingsConfigDict(
        env_prefix=PREFIX, frozen=True, extra="forbid", env_ignore_empty=True, hide_input_in_errors=True
    )

    host: str = Field("127.0.0.1", min_length=1, max_length=253, description="address the service listens on")
    port: int = Field(8765, ge=0, le=65535, description="its port; 0 lets the system choose one")
    state_dir: Path = Field(default_factory=user_state_folder, description="folder of the user's records")
    spectra_dir: Path | None = Field(None, description="folder of the user's own material spectra")
    max_body_bytes: int = Field(65536, ge=1024, le=16_777_216, description="longest request body")
    max_light_steps: int = Field(20000, ge=1, le=1_000_000, description="most time steps in one answer")
    max_span_days: int = Field(366, ge=1, le=3660, description="longest span of time in one question")

    @field_validator("host")
    @classmethod
    def _host_is_a_name(cls, host: str) -> str:
        if any(c.isspace() or not c.isprintable() or c in "/@?#" for c in host):
            raise ValueError("must be a host name or an address, without scheme, path or blanks")
        return host

    @field_validator("state_dir", "spectra_dir")
    @classmethod
    def _folder(cls, folder: Path | None) -> Path | None:
        return None if folder is None else folder.expanduser().absolute()

    @field_validator("spectra_dir")
    @classmethod
    def _spectra_exist(cls, folder: Path | None) -> Path | None:
        if folder is not None and not folder.is_dir():
            raise ValueError("must be an existing folder")
        return folder


def load_settings(**given: Any) -> Settings:
    """Settings from the environment, `given` values first.

    Raises `Malformed` for the first bad value, named as its environment variable unless it was given.
    """
    try:
        return Settings(**given)
    except ValidationError as problem:
        first = problem.errors(include_url=False)[0]
        name = str(first["loc"][0]) if first["loc"] else "settings"
        field = name if name in given else f"{PREFIX}{name.upper()}"
        limit = first["msg"].removeprefix("Value error, ")
        raise Malformed(field, first["input"], limit[:1].lower() + limit[1:]) from None
