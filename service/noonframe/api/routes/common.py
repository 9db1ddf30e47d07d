"""What several routes share."""

import datetime as dt
import time
from collections import Counter
from typing import Annotated

from fastapi import Depends, Request

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


def refuse_repeated_fields(request: Request) -> None:
    """A field given twice is a mistake, not a choice: refuse it by name."""
    names = [name for name, _ in request.query_params.multi_items()]
    if len(names) != len(set(names)):
        name = next(name for name, count in Counter(names).items() if count > 1)
        raise OutOfDomain(name, request.query_params[name], "given once")


SettingsOf = Annotated[Settings, Depends(settings_of)]
Now = Annotated[float, Depends(now_of)]
system_clock = time.time


def check_span(start: dt.datetime, end: dt.datetime, settings: Settings) -> None:
    """Refuse spans that run backward or are longer than this installation answers."""
    span_s = (end - start).total_seconds()
    if span_s < 0:
        raise OutOfDomain("end", end.isoformat(), "not before start")
    if span_s > settings.max_span_days * 86400.0:
        raise OutOfDomain("end", end.isoformat(), f"at most {settings.max_span_days} days after start")
