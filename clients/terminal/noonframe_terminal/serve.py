"""The service on this machine's loopback, with uvicorn."""

import gc
import logging
import socket
import sys
import traceback
from types import TracebackType
from typing import Any

from noonframe.settings import Settings, load_settings
from noonframe_terminal.hosts import is_loopback
from noonframe_terminal.trouble import ANSWERED, SERVICE_FAILED, Failed, Refused, refusal

_OPTIONS = {"host": "--host", "port": "--port"}
_LONGEST_STOP_S = 3  # for whoever is still being answered


def settings_or_refuse(**given: Any) -> Settings:
    """This run's settings; a bad one is the user's to mend."""
    try:
        return load_settings(**given)
    except Exception as problem:
        field = getattr(problem, "field", None)
        if field is None:
            raise
        raise Refused(str(problem).replace(str(field), _OPTIONS.get(field, str(field)), 1)) from None


def serve(host: str | None, port: str | None, allow_unauthenticated: bool) -> int:
    """Serve until told to stop; the exit code."""
    given = {name: value for name, value in (("host", host), ("port", port)) if value is not None}
    settings = settings_or_refuse(**given)
    if not is_loopback(settings.host) and not allow_unauthenticated:
        name = "--host" if host is not None else "NOONFRAME_HOST"
        raise Refused(
            f"{name} {settings.host}: others could reach the service there, and it asks nobody who they are;"
            " add --allow-unauthenticated if that is what you want"
        )
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
                sys.stderr.write(f"noonframe: serving on {_address(listener)} (Ctrl-C ends it)\n")
                sys.stderr.write(f"noonframe: {_page(settings.host)}\n")
                sys.stderr.flush()

        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            await app.state.watcher.stop()  # else every open stream would be waited for
            await super().shutdown(sockets)

    config = uvicorn.Config(
        app,
        access_log=False,  # its lines would hold the coordinates asked about
        log_config=_LOGGING,
        lifespan="on",
        server_header=False,
        timeout_graceful_shutdown=_LONGEST_STOP_S,
    )
    server = Server(config)
    with listener:
        server.run([listener])
    return ANSWERED if server.started else SERVICE_FAILED


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
    """Where the page for phones is, and what it lacks there."""
    if is_loopback(host):
        return "open that address in a browser for the page; a phone needs a way in, best over https"
    return "phones find the page at this machine's name; over plain http it works, but not without a network"


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
