"""The rehearsal weather service with every fault that a provider, or the way to it, can show, by a switch."""

import json
import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from email.utils import formatdate
from http.server import BaseHTTPRequestHandler
from zoneinfo import ZoneInfo

from noonframe.weather.rehearsal import Asked, Given, RehearsalServer, open_meteo_error, send_head

HTML = {"Content-Type": "text/html; charset=utf-8"}
LOCAL_ZONE = "Europe/Lisbon"
GAP_DAY, FOLD_DAY = datetime(2026, 3, 29, tzinfo=UTC), datetime(2026, 10, 25, tzinfo=UTC)

Change = Callable[[dict], None]


def page(status: int, title: str) -> Given:
    return Given(
        status, f"<html><head><title>{title}</title></head><body>{title}</body></html>".encode(), HTML
    )


def changed(given: Given, change: Change) -> Given:
    """`given` with its JSON body changed in place."""
    body = json.loads(given.body)
    change(body)
    return replace(given, body=json.dumps(body, separators=(",", ":"), ensure_ascii=False).encode())


def entries(body: dict) -> list[dict]:
    return [entry["data"]["instant"]["details"] for entry in body["properties"]["timeseries"]]


def holes(body: dict) -> None:
    """Every third value is not told."""
    if "properties" in body:
        for details in entries(body)[::3]:
            details["cloud_area_fraction_low"] = None
            details.pop("ultraviolet_index_clear_sky", None)
        return
    for name in ("hourly", "minutely_15"):
        for variable, column in body.get(name, {}).items():
            if variable != "time":
                column[::3] = [None] * len(column[::3])


def all_holes(body: dict) -> None:
    if "properties" in body:
        for entry in body["properties"]["timeseries"]:
            entry["data"] = {"instant": {"details": {}}}
        return
    for name in ("hourly", "minutely_15"):
        for variable, column in body.get(name, {}).items():
            if variable != "time":
                column[:] = [None] * len(column)


def short(body: dict) -> None:
    if "properties" in body:
        del body["geometry"]["coordinates"][1:]
    else:
        body["hourly"]["shortwave_radiation"].pop()


def wrong_unit(body: dict) -> None:
    if "properties" in body:
        body["properties"]["meta"]["units"]["cloud_area_fraction_low"] = "1"
    else:
        body["hourly_units"]["shortwave_radiation"] = "MJ/m²"


def wrong_type(body: dict) -> None:
    if "properties" in body:
        entries(body)[2]["fog_area_fraction"] = "0.0"
    else:
        body["hourly"]["cloud_cover"][2] = "12"


def out_of_range(body: dict) -> None:
    if "properties" in body:
        entries(body)[2]["fog_area_fraction"] = 100.1
    else:
        body["hourly"]["cloud_cover"][2] = 101


def elsewhere(body: dict) -> None:
    if "properties" in body:
        body["geometry"]["coordinates"][0] += 20
    else:
        body["longitude"] += 20


def empty(body: dict) -> None:
    if "properties" in body:
        body["properties"]["timeseries"] = []
    else:
        for name in ("hourly", "minutely_15"):
            for column in body.get(name, {}).values():
                column.clear()


def local_day(day: datetime) -> Change:
    """Times as Open-Meteo writes them for a named zone: local, without offset, from midnight to midnight."""

    def change(body: dict) -> None:
        zone = ZoneInfo(LOCAL_ZONE)
        first = datetime(day.year, day.month, day.day, tzinfo=zone)
        following = datetime(day.year, day.month, day.day + 1, tzinfo=zone)
        hours = round((following.timestamp() - first.timestamp()) / 3600)
        body["timezone"] = LOCAL_ZONE
        body["utc_offset_seconds"] = int(first.utcoffset().total_seconds())
        for name, per_hour in (("hourly", 1), ("minutely_15", 4)):
            start = first.astimezone(UTC)
            steps = [start + timedelta(hours=k / per_hour) for k in range(hours * per_hour)]
            for column in body[name].values():
                del column[len(steps) :]
            body[name]["time"] = [t.astimezone(zone).strftime("%Y-%m-%dT%H:%M") for t in steps]
            body[f"{name}_units"]["time"] = "iso8601"

    return change


# fault -> what becomes of the good answer
CHANGES: Mapping[str, Change] = {
    "nulls": holes,
    "all nulls": all_holes,
    "wrong length": short,
    "wrong unit": wrong_unit,
    "wrong type": wrong_type,
    "out of range": out_of_range,
    "elsewhere": elsewhere,
    "empty": empty,
    "23-hour day": local_day(GAP_DAY),
    "25-hour day": local_day(FOLD_DAY),
}

# fault -> the answer in place of the good one; texts of Open-Meteo's server, statuses of MET Norway's
# https://docs.api.met.no/doc/StatusCodes.html
ANSWERS: Mapping[str, Given] = {
    "400 json": open_meteo_error(400, "No data is available for this location"),
    "400 html": page(400, "400 Bad Request"),
    "401": page(401, "401 Unauthorized"),
    "403": page(403, "403 Forbidden"),
    "404": page(404, "404 Not Found"),
    "422": page(422, "422 Unprocessable Entity"),
    "429 minute": open_meteo_error(
        429, "Minutely API request limit exceeded. Please try again in one minute."
    ),
    "429 hour": open_meteo_error(
        429, "Hourly API request limit exceeded. Please try again in the next hour."
    ),
    "429 day": open_meteo_error(429, "Daily API request limit exceeded. Please try again tomorrow."),
    "429 concurrent": open_meteo_error(429, "Too many concurrent requests"),
    "429 retry-after": replace(page(429, "429 Too Many Requests"), headers={**HTML, "Retry-After": "120"}),
    "500": page(500, "500 Internal Server Error"),
    "502": page(502, "502 Bad Gateway"),
    "503": open_meteo_error(503, "The service is overloaded"),
    "503 retry-after": replace(page(503, "503 Service Unavailable"), headers={**HTML, "Retry-After": "300"}),
    "504": page(504, "504 Gateway Time-out"),
    "204": Given(204),
    "304 unasked": Given(304),
    "html": page(200, "Sign in to the network"),
    "array": Given(200, b"[]", {"Content-Type": "application/json"}),
    "not a number": Given(200, b'{"latitude":NaN}', {"Content-Type": "application/json"}),
    "deep": Given(200, b"[" * 100_000, {"Content-Type": "application/json"}),
    "too long": Given(200, b" " * 9_000_000, {"Content-Type": "application/json"}),
    "redirect without https": Given(302, b"", {"Location": "http://weather.invalid/"}),
    "redirect to nowhere": Given(302, b"", {"Location": "https://weather.invalid:999999/"}),
}

LATE_TEXT = b"Unexpected error while streaming data: timeout"
DELIVERIES = ("slow", "cut off", "cut off unmarked", "error at the end", "damaged gzip", "hang up", "trickle")


class StubServer(RehearsalServer):
    """`switch` sets a fault for a provider; `asked` lists every request as it came.

    Under "304" nothing newer is ever issued: a request that repeats the last date exactly is told so.
    """

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.asked: list[Asked] = []
        self.release = threading.Event()
        self._faults: dict[str, list] = {}
        self._dates: dict[str, str] = {}

    def __exit__(self, *args) -> None:
        self.release.set()
        super().__exit__(*args)

    def switch(self, provider: str, fault: str | None, times: int = 1_000_000) -> None:
        """Show `fault` for the next `times` requests; None ends it."""
        known = {*CHANGES, *ANSWERS, *DELIVERIES, "203", "304", "redirect", "redirect loop", None}
        assert fault in known, fault
        self._faults[provider] = [fault, times]

    def asked_of(self, provider: str) -> list[Asked]:
        return [asked for asked in self.asked if provider_of(asked.path) == provider]

    def _fault(self, path: str) -> str | None:
        fault = self._faults.get(provider_of(path))
        return fault[0] if fault and fault[1] > 0 else None

    def answer(self, asked: Asked) -> Given:
        self.asked.append(asked)
        fault = self._fault(asked.path)
        if fault in ANSWERS:
            return ANSWERS[fault]
        if fault == "redirect loop" or (fault == "redirect" and "moved" not in asked.query):
            query = "&".join(f"{name}={value}" for name, value in {**asked.query, "moved": "1"}.items())
            return Given(301, b"", {"Location": f"{asked.path}?{query}"})
        last_date = self._dates.get(asked.path)
        if fault == "304" and last_date and asked.headers.get("if-modified-since") == last_date:
            expires = formatdate(asked.at_s + 1800, usegmt=True)
            return Given(304, b"", {"Last-Modified": last_date, "Expires": expires})
        given = super().answer(asked)
        self._dates[asked.path] = given.headers.get("Last-Modified", "")
        if fault == "203" and given.status == 200:
            return replace(given, status=203)
        return changed(given, CHANGES[fault]) if fault in CHANGES and given.status == 200 else given

    def deliver(self, handler: BaseHTTPRequestHandler, asked: Asked, given: Given) -> None:
        fault = self._fault(asked.path)
        if fault is not None:
            self._faults[provider_of(asked.path)][1] -= 1
        try:
            self._deliver(fault, handler, asked, given)
        except OSError:
            handler.close_connection = True  # the caller has lost patience

    def _deliver(
        self, fault: str | None, handler: BaseHTTPRequestHandler, asked: Asked, given: Given
    ) -> None:
        half = given.body[: len(given.body) // 2]
        if fault == "slow":
            self.release.wait(10)
        if fault == "hang up":
            handler.close_connection = True
        elif fault == "cut off":
            send_head(handler, given, len(given.body))
            handler.wfile.write(half)
            handler.close_connection = True
        elif fault in ("cut off unmarked", "error at the end"):
            send_head(handler, given, None)
            handler.wfile.write(half + (LATE_TEXT if fault == "error at the end" else b""))
        elif fault == "damaged gzip":
            coded = replace(given, headers={**given.headers, "Content-Encoding": "gzip"})
            send_head(handler, coded, len(given.body))
            handler.wfile.write(given.body)
        elif fault == "trickle":
            send_head(handler, given, len(given.body))
            for at in range(len(given.body)):
                handler.wfile.write(given.body[at : at + 1])
                if self.release.wait(0.02):
                    break
            handler.close_connection = True
        else:
            super().deliver(handler, asked, given)


def provider_of(path: str) -> str:
    if path.startswith("/weatherapi"):
        return "met-norway"
    return "open-meteo-ensemble" if path.endswith("ensemble") else "open-meteo"
