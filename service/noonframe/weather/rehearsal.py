"""A weather service on this machine that speaks the providers' formats for a sky by script.

For trying noonframe out, showing it, and testing it; it listens on the loopback address alone.
"""

import gzip
import json
import re
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from email.utils import formatdate
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from urllib.parse import parse_qsl, urlsplit

from noonframe.weather.open_meteo import UNITS
from noonframe.weather.rehearsal_formats import MEMBERS, met_norway_answer, open_meteo_answer
from noonframe.weather.rehearsal_sky import ScriptedSky

ISSUED_EVERY_S = 1800.0
_OPEN_METEO, _ENSEMBLE = "/v1/forecast", "/v1/ensemble"
_MET_NORWAY = "/weatherapi/locationforecast/2.0/complete"
_JSON = {"Content-Type": "application/json; charset=utf-8"}


@dataclass(frozen=True)
class Asked:
    """A request as it came; header names in lower case, `at_s` by the server's clock."""

    path: str
    query: Mapping[str, str]
    headers: Mapping[str, str]
    at_s: float


@dataclass(frozen=True)
class Given:
    """An answer before content coding."""

    status: int
    body: bytes = field(default=b"", repr=False)
    headers: Mapping[str, str] = field(default_factory=dict)


class RehearsalServer:
    """Serves `sky` from a thread of its own while it is entered as a context.

    `clock` tells the unix seconds that its answers, dates and expiries go by.
    """

    def __init__(self, sky: ScriptedSky, clock: Callable[[], float] = time.time, port: int = 0) -> None:
        self.sky = sky
        self.clock = clock
        self._server = _Listener(("127.0.0.1", port), _handler_of(self))
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True
        )

    def __enter__(self) -> "RehearsalServer":
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    @property
    def url(self) -> str:
        """Base address for `weather_open_meteo_url` and `weather_ensemble_url`."""
        return f"http://127.0.0.1:{self._server.server_address[1]}"

    @property
    def met_norway_url(self) -> str:
        """Base address for `weather_met_norway_url`."""
        return f"{self.url}/weatherapi"

    def answer(self, asked: Asked) -> Given:
        """The answer to a request; a place for variations."""
        if asked.path in (_OPEN_METEO, _ENSEMBLE):
            return self._open_meteo(asked)
        if asked.path == _MET_NORWAY:
            return self._met_norway(asked)
        return Given(404, b"Not Found", {"Content-Type": "text/plain"})

    def deliver(self, handler: BaseHTTPRequestHandler, asked: Asked, given: Given) -> None:
        """Write `given` to the connection; a place for variations."""
        if given.body and "gzip" in asked.headers.get("accept-encoding", ""):
            coded = gzip.compress(given.body, mtime=0)
            given = replace(given, body=coded, headers={**given.headers, "Content-Encoding": "gzip"})
        send_head(handler, given, len(given.body))
        handler.wfile.write(given.body)

    def _open_meteo(self, asked: Asked) -> Given:
        fault = _open_meteo_fault(asked.query)
        if fault is not None:
            return open_meteo_error(400, fault)
        members = MEMBERS if asked.path == _ENSEMBLE else 0
        return Given(200, open_meteo_answer(asked.query, self.sky, asked.at_s, members), _JSON)

    def _met_norway(self, asked: Asked) -> Given:
        agent = asked.headers.get("user-agent", "")
        decimals = [len(asked.query.get(n, "").partition(".")[2]) for n in ("lat", "lon")]
        if "." not in agent.partition(" ")[2] or max(decimals) > 4:
            return Given(
                403, b"<html><body><h1>403 Forbidden</h1></body></html>", {"Content-Type": "text/html"}
            )
        if not all(re.fullmatch(r"-?\d{1,3}(\.\d+)?", asked.query.get(n, "")) for n in ("lat", "lon")):
            return Given(
                400, b"<html><body><h1>400 Bad Request</h1></body></html>", {"Content-Type": "text/html"}
            )
        issued_s = asked.at_s // ISSUED_EVERY_S * ISSUED_EVERY_S
        headers = {
            "Content-Type": "application/json",
            "Expires": formatdate(issued_s + ISSUED_EVERY_S, usegmt=True),
            "Last-Modified": formatdate(issued_s, usegmt=True),
            "Vary": "Accept",
        }
        if asked.headers.get("if-modified-since") == headers["Last-Modified"]:
            return Given(304, b"", headers)
        return Given(200, met_norway_answer(asked.query, self.sky, issued_s, asked.at_s), headers)


def open_meteo_error(status: int, reason: str) -> Given:
    """An error in the form that Open-Meteo gives it."""
    return Given(status, json.dumps({"error": True, "reason": reason}, ensure_ascii=False).encode(), _JSON)


def _open_meteo_fault(query: Mapping[str, str]) -> str | None:
    for name, limit in (("latitude", 90), ("longitude", 180)):
        try:
            value = float(query.get(name, ""))
        except ValueError:
            return f"Parameter '{name}' is missing or no number."
        if not abs(value) <= limit:
            return f"{name.capitalize()} must be in range of -{limit} to {limit}°. Given: {value}."
    for section in ("hourly", "minutely_15"):
        for variable in filter(None, query.get(section, "").split(",")):
            if variable not in UNITS:
                found = f"invalid String value {variable} for key {section}"
                return f"Cannot initialize WeatherVariable from {found}"
    if query.get("timeformat") != "unixtime" or query.get("timezone", "GMT") != "GMT":
        return "This rehearsal tells unix time in GMT only."
    return None


class _Listener(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False

    def handle_error(self, request: object, client_address: object) -> None:
        """A caller that has hung up is no news."""


def send_head(handler: BaseHTTPRequestHandler, given: Given, length: int | None) -> None:
    """Status and headers of `given`; with `length` None the end of the connection is the end of the body."""
    handler.send_response_only(given.status)
    for name, value in given.headers.items():
        handler.send_header(name, value)
    if length is not None and given.status != 304:
        handler.send_header("Content-Length", str(length))
    if length is None:
        handler.send_header("Connection", "close")
        handler.close_connection = True
    handler.end_headers()


def _handler_of(server: RehearsalServer) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"
        timeout = 30
        disable_nagle_algorithm = True  # else each answer on a kept connection waits 40 ms

        def do_GET(self) -> None:
            parts = urlsplit(self.path)
            headers = {name.lower(): value for name, value in self.headers.items()}
            asked = Asked(parts.path, dict(parse_qsl(parts.query)), headers, server.clock())
            given = server.answer(asked)
            dated = {"Date": formatdate(asked.at_s, usegmt=True), **given.headers}
            server.deliver(self, asked, replace(given, headers=dated))

        def log_message(self, format: str, *args: object) -> None:
            """Requests hold places; nothing is written about them."""

    return Handler
