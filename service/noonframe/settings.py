"""What a run can be told from outside: environment variables `NOONFRAME_...`, passed in, never global."""

import ipaddress
import os
import re
import sys
from pathlib import Path
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from pydantic import Field, SecretStr, ValidationError, ValidationInfo, field_validator
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

from noonframe.errors import Malformed

PREFIX = "NOONFRAME_"
WEATHER_PROVIDERS = ("open-meteo", "open-meteo-ensemble", "met-norway")
CONTACT_DEMANDED = frozenset({"met-norway"})
_HOST_NAME = re.compile(r"[A-Za-z0-9_](?:[A-Za-z0-9_.-]{0,251}[A-Za-z0-9_.])?", re.ASCII)


def is_loopback(host: str) -> bool:
    """Whether `host` names this machine itself."""
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return host.lower() == "localhost"


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
    page_dir: Path | None = Field(None, description="folder of the phone page, instead of its own")
    max_body_bytes: int = Field(65536, ge=1024, le=16_777_216, description="longest request body")
    max_light_steps: int = Field(20000, ge=1, le=1_000_000, description="most time steps in one answer")
    max_span_days: int = Field(366, ge=1, le=3660, description="longest span of time in one question")
    database_url: SecretStr | None = Field(
        None, description="address of the records, sqlite:///... or postgresql://...; else in state_dir"
    )
    database_wait_s: float = Field(10.0, gt=0, le=300, description="longest wait for others at the records")

    access: Literal["when-made", "always", "open"] = Field(
        "when-made",
        description="who needs a key: on loopback everybody once a key was made, elsewhere always; always;"
        " or nobody",
    )
    key_pepper: SecretStr | None = Field(
        None, min_length=16, description="secret mixed into what is kept of new keys; without it they fail"
    )
    hosts: Annotated[tuple[str, ...], NoDecode] = Field(
        (), description="names that this service is reached by, parted by commas; * for any"
    )
    requests_per_minute: int | None = Field(
        None,
        ge=0,
        le=1_000_000,
        description="most requests of one caller in a minute; 0 for any number; else 600, or any number where"
        " no key is needed on loopback",
    )
    most_streams: int = Field(200, ge=1, le=10_000, description="most open streams of one caller in a worker")
    log: Literal["plain", "json"] = Field(
        "plain", description="plain: faults alone; json: faults and every request, one JSON object a line"
    )

    weather_providers: Annotated[tuple[str, ...], NoDecode] = Field(
        (),
        description="forecast providers in the order they are asked, parted by commas; none: weather is off",
    )
    weather_contact: str | None = Field(
        None,
        validate_default=True,
        description="mail or web address of whoever runs this service, told to the providers",
    )
    weather_open_meteo_url: str = Field(
        "https://api.open-meteo.com", description="base address of open-meteo"
    )
    weather_ensemble_url: str = Field(
        "https://ensemble-api.open-meteo.com", description="base address of open-meteo-ensemble"
    )
    weather_met_norway_url: str = Field(
        "https://api.met.no/weatherapi", description="base address of met-norway"
    )
    weather_open_meteo_key: SecretStr | None = Field(None, description="key for a paid open-meteo address")
    weather_ensemble_model: str = Field(
        "icon_seamless_eps",
        pattern="^[a-z0-9_]{1,60}$",
        description="model that open-meteo-ensemble asks for",
    )
    weather_stale_s: float = Field(
        21600.0, ge=0, le=86400, description="greatest age of a forecast used while its provider is away"
    )
    weather_hold_s: float = Field(
        900.0, ge=60, le=21600, description="how long a forecast is kept when its provider tells no expiry"
    )
    weather_budget_s: float = Field(
        5.0, ge=0.05, le=6, description="longest wait for the weather in one answer"
    )
    weather_request_s: float = Field(
        10.0, ge=0.05, le=60, description="longest request; one that outlasts an answer still fills the cache"
    )

    @field_validator("host")
    @classmethod
    def _host_is_a_name(cls, host: str) -> str:
        if any(c.isspace() or not c.isprintable() or c in "/@?#" for c in host):
            raise ValueError("must be a host name or an address, without scheme, path or blanks")
        return host

    @field_validator("state_dir", "spectra_dir", "page_dir")
    @classmethod
    def _folder(cls, folder: Path | None) -> Path | None:
        return None if folder is None else folder.expanduser().absolute()

    @field_validator("spectra_dir", "page_dir")
    @classmethod
    def _folder_exists(cls, folder: Path | None) -> Path | None:
        if folder is not None and not folder.is_dir():
            raise ValueError("must be an existing folder")
        return folder

    @field_validator("weather_providers", mode="before")
    @classmethod
    def _split_providers(cls, providers: object) -> object:
        if isinstance(providers, str):
            return tuple(name.strip() for name in providers.split(",") if name.strip())
        return providers

    @field_validator("hosts", mode="before")
    @classmethod
    def _split_hosts(cls, hosts: object) -> object:
        if isinstance(hosts, str):
            return tuple(name.strip() for name in hosts.split(",") if name.strip())
        return hosts

    @field_validator("hosts")
    @classmethod
    def _hosts_are_names(cls, hosts: tuple[str, ...]) -> tuple[str, ...]:
        if any(name != "*" and not _HOST_NAME.fullmatch(name) for name in hosts):
            raise ValueError("must be host names without scheme, port or path, or *")
        return tuple(name.lower().rstrip(".") for name in hosts)

    @field_validator("weather_providers")
    @classmethod
    def _known_providers(cls, providers: tuple[str, ...]) -> tuple[str, ...]:
        if not set(providers) <= set(WEATHER_PROVIDERS) or len(set(providers)) != len(providers):
            raise ValueError(f"must be different names out of {', '.join(WEATHER_PROVIDERS)}")
        return providers

    @field_validator("weather_contact")
    @classmethod
    def _contact_is_an_address(cls, contact: str | None, info: ValidationInfo) -> str | None:
        if contact is None:
            demanded = CONTACT_DEMANDED & set(info.data.get("weather_providers", ()))
            if demanded:
                raise ValueError(f"must be set, because {', '.join(sorted(demanded))} asks who is calling")
            return None
        # it goes into a header as it stands
        if not 5 <= len(contact) <= 200 or not all("!" <= c <= "~" for c in contact):
            raise ValueError("must be 5 to 200 plain characters without blanks")
        if "." not in contact.strip(".") and "@" not in contact.strip("@"):
            raise ValueError("must be a mail address or a web address")
        return contact

    @field_validator("weather_open_meteo_url", "weather_ensemble_url", "weather_met_norway_url")
    @classmethod
    def _base_address(cls, url: str) -> str:
        parts = urlsplit(url)
        host = parts.hostname or ""
        plain = all("!" <= c <= "~" for c in url) and not (parts.query or parts.fragment)
        guarded = parts.scheme == "https" or (parts.scheme == "http" and is_loopback(host))
        parts.port  # noqa: B018 - raises ValueError for a port that is none
        if not host or not plain or not guarded or "@" in parts.netloc:
            raise ValueError("must be an https address without query (http only on this machine itself)")
        return url.rstrip("/")


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
