"""The service on this machine's loopback, with uvicorn."""

import datetime as dt
import gc
import logging
import socket
import sys
import traceback
from collections.abc import Awaitable, Callable
from types import TracebackType
from typing import Any

from noonframe.settings import Settings, load_settings
from noonframe_terminal.contract import Answer, Service, converse_with
from noonframe_terminal.hosts import is_loopback
from noonframe_terminal.trouble import ANSWERED, SERVICE_FAILED, Failed, Refused, refusal

_OPTIONS = {"host": "--host", "port": "--port", "log": "--log"}
_LONGEST_STOP_S = 10  # for whoever is still being answered; streams are let go at once


def settings_or_refuse(**given: Any) -> Settings:
    """This run's settings; a bad one is the user's to mend."""
    try:
        return load_settings(**given)
    except Exception as problem:
        field = getattr(problem, "field", None)
        if field is None:
            raise
        raise Refused(str(problem).replace(str(field), _OPTIONS.get(field, str(field)), 1)) from None


def serve(
    host: str | None,
    port: str | None,
    allow_unauthenticated: bool,
    make_key: str | None = None,
    log: str | None = None,
) -> int:
    """Serve until told to stop; the exit code."""
    typed = {"host": host, "port": port, "log": log, "access": "open" if allow_unauthenticated else None}
    settings = settings_or_refuse(**{name: value for name, value in typed.items() if value is not None})
    if allow_unauthenticated and make_key is not None:
        raise refusal("--make-key", make_key, "left out with --allow-unauthenticated: nobody would be asked")
    if make_key is not None:
        _make_key(settings, make_key)
    _refuse_without_keys(settings, "--host" if host is not None else "NOONFRAME_HOST")
    listener = _listen(settings.host, settings.port)
    gc.enable()

    import uvicorn

    from noonframe.api.app import create_app

    app = create_app(settings)

    class Server(uvicorn.Server):
        """Says where it listens once it does."""

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            if self.started:
                sys.stderr.write(
                    f"noonframe: serving on {_address(listener)}, {_page(settings.host)} (Ctrl-C ends it)\n"
                )
                sys.stderr.flush()

        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            await app.state.watcher.stop()  # else every open stream would be waited for
            await super().shutdown(sockets)

    config = uvicorn.Config(
        app,
        access_log=False,  # its lines would hold the coordinates asked about
        log_config=_JSON_LOGGING if settings.log == "json" else _LOGGING,
        lifespan="on",
        server_header=False,
        timeout_graceful_shutdown=_LONGEST_STOP_S,
    )
    server = Server(config)
    with listener:
        server.run([listener])
    return ANSWERED if server.started else SERVICE_FAILED


def _make_key(settings: Settings, name: str) -> None:
    """A key that manages, shown once, where output is read by whoever starts the service."""
    body = {"name": name, "scope": "manage"}
    made = _converse(settings, lambda service: service.post("/v1/keys", body, {"name": "--make-key"})).says
    sys.stderr.write(
        f"noonframe: made the key {made['name']}; it is not shown again, so keep it now:\n"
        f"noonframe:   {made['key']}\n"
    )
    sys.stderr.flush()


def _refuse_without_keys(settings: Settings, named: str) -> None:
    """Refuse an address that others can reach while there is no key they could be asked for."""
    if is_loopback(settings.host) or settings.access == "open":
        return
    found = _converse(settings, lambda service: service.get("/v1/keys", {"limit": "500"}, {})).says
    now = dt.datetime.now(dt.UTC)
    for key in found["keys"]:
        ends = key["expires"]
        if key["revoked"] is None and (ends is None or dt.datetime.fromisoformat(ends) > now):
            return
    raise Refused(
        f"{named} {settings.host}: others could reach the service there, and no key was made that they could"
        " be asked for",
        "make one (noonframe keys add NAME), or have one made on the spot (--make-key NAME)",
        "--allow-unauthenticated serves without asking anybody who they are, if that is what you want",
    )


def _converse(settings: Settings, talk: Callable[[Service], Awaitable[Answer]]) -> Answer:
    """Ask the application in this process, as whoever owns its records."""
    from noonframe.api.app import create_app

    return converse_with(create_app(settings, operator=True), talk)


def _listen(host: str, port: int) -> socket.socket:
    try:
        family, _, _, _, address = socket.getaddrinfo(host.strip("[]"), port, type=socket.SOCK_STREAM)[0]
    except socket.gaierror:
        raise refusal("--host", host, "a host name or address of this machine") from None
    try:
        return socket.create_server(address[:2], family=family, backlog=2048)
    except OSError as problem:
        raise Failed(f"cannot listen on {host} port {port}: {problem.strerror or problem}") from None


def _address(listener: socket.socket) -> str:
    host, port = listener.getsockname()[:2]
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def _page(host: str) -> str:
    """What a browser finds there."""
    if is_loopback(host):
        return "the page for browsers too"
    return "the page for phones too; over plain http that lacks what needs a secure address"


class FramesOnly(logging.Formatter):
    """Tracebacks without the error's text, which may quote a place someone asked about."""

    def formatException(
        self,
        ei: tuple[type[BaseException], BaseException, TracebackType | None] | tuple[None, None, None],
    ) -> str:
        """Frames and the kind of the error."""
        kind = ei[0].__name__ if ei[0] is not None else "no error"
        return "".join(traceback.format_tb(ei[2])) + kind


_LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"frames-only": {"()": FramesOnly, "format": "noonframe: %(levelname)s: %(message)s"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "frames-only"}},
    "loggers": {"uvicorn": {"handlers": ["stderr"], "level": "WARNING", "propagate": False}},
}

_JSON_LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"json": {"()": "noonframe.api.logs.JsonLines"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "json"}},
    "loggers": {
        "uvicorn": {"handlers": ["stderr"], "level": "WARNING", "propagate": False},
        "noonframe": {"handlers": ["stderr"], "level": "INFO", "propagate": False},
    },
}
