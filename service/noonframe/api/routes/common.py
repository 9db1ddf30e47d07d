"""What several routes share."""

import datetime as dt
import time

from fastapi import Request

from noonframe.api.weather import WeatherDesk
from noonframe.errors import OutOfDomain
from noonframe.settings import Settings


def settings_of(request: Request) -> Settings:
    """The settings the app was made with."""
    settings: Settings = request.app.state.settings
    return settings


def now_of(request: Request) -> float:
    """Unix seconds now, by the app's clock (tests set their own)."""
    clock = request.app.state.clock
    return float(clock())


def weather_of(request: Request) -> WeatherDesk:
    """The app's weather desk; it is there also when weather is off."""
    desk: WeatherDesk = request.app.state.weather
    return desk


system_clock = time.time


def check_span(start: dt.datetime, end: dt.datetime, settings: Settings) -> None:
    """Refuse spans that run backward or are longer than this installation answers."""
    span_s = (end - start).total_seconds()
    if span_s < 0:
        raise OutOfDomain("end", end.isoformat(), "not before start")
    if span_s > settings.max_span_days * 86400.0:
        raise OutOfDomain("end", end.isoformat(), f"at most {settings.max_span_days} days after start")
