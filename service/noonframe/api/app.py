"""The application, made from settings."""

import gc
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

import numpy as np
from fastapi import FastAPI

from noonframe import __version__
from noonframe.api import phone
from noonframe.api.access_openapi import with_security
from noonframe.api.bench_desk import BenchDesk
from noonframe.api.door import Door
from noonframe.api.gate import Gate
from noonframe.api.limits import OpenStreams
from noonframe.api.metrics import Metrics
from noonframe.api.openapi import document
from noonframe.api.outputs import Health
from noonframe.api.problems import PROBLEM_RESPONSES, install_problem_handlers
from noonframe.api.reading import LONGEST_QUERY_BYTES
from noonframe.api.records import Records
from noonframe.api.routes import (
    batch,
    bench_tools,
    calendar,
    catalogue,
    exposure,
    film_printers,
    keys,
    lamps,
    light,
    moves,
    negative,
    negative_preview,
    outlook,
    patch,
    prints,
    recipes,
    runs,
    say,
    sessions,
    shelf,
    slots,
    year,
)
from noonframe.api.routes.common import system_clock
from noonframe.api.runs import RunDesk
from noonframe.api.streams import Watcher
from noonframe.api.weather import OpenWeather, WeatherDesk
from noonframe.settings import Settings
from noonframe.sky.transfer import load_transfer_table
from noonframe.sun.ephemeris import geocentric_sun

_DESCRIPTION = """How long, when and where to expose a sun print.

Times are RFC 3339 with an offset. Angles are degrees, azimuth clockwise from true north, latitude north
positive, longitude east positive. Doses are effective J/m2 at the coat. Errors are problem details
(RFC 9457) whose `errors[]` names field, value and limit. Unknown and repeated fields are refused.
"""


def weather_opener(settings: Settings, records: Records) -> Callable[[], OpenWeather]:
    """How to open the weather service, with its answers kept in the database and shared by workers."""

    def open_weather() -> OpenWeather:
        from noonframe.api.weather_store import SteadyCache
        from noonframe.store.weather import SqlWeatherCache
        from noonframe.weather.fetch import make_client
        from noonframe.weather.service import WeatherService

        cache = SteadyCache(lambda: SqlWeatherCache(records.house()))
        client = make_client()
        return OpenWeather(WeatherService(settings, cache, records.clock, client), cache, client)

    return open_weather


def create_app(
    settings: Settings, clock: Callable[[], float] = system_clock, *, operator: bool = False
) -> FastAPI:
    """The service with these settings; `clock` gives unix seconds.

    `operator` is for whoever owns the records and uses the app in its own process: no key is asked for.
    """

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        load_transfer_table()  # a damaged table must stop the start, not the first question
        geocentric_sun(np.array([clock()]))  # its library takes most of a second to load
        if not operator:
            gc.collect()
            gc.freeze()  # what is loaded by now stays: to look through it again and again holds up answers
        yield
        await app.state.watcher.stop()
        app.state.weather.close()
        app.state.records.close()

    app = FastAPI(
        title="noonframe",
        version=__version__,
        summary="How long, when and where to expose a sun print",
        description=(
            f"{_DESCRIPTION}\nLimits: {settings.max_light_steps} instants and {settings.max_span_days} days"
            f" per course of light, {slots.LONGEST_SPAN_DAYS} days per search for slots,"
            f" {settings.max_body_bytes} bytes per body, {LONGEST_QUERY_BYTES} bytes per query."
        ),
        lifespan=lifespan,
        responses=PROBLEM_RESPONSES,
        # The ready-made pages would load scripts from elsewhere; /openapi.json is there for any reader.
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        telemetry={"tracing": False, "metrics": False, "logs": False},  # it would record positions
    )
    app.state.settings = settings
    app.state.clock = clock
    records = app.state.records = Records(settings, clock)
    opener = weather_opener(settings, records) if settings.weather_providers else None
    app.state.weather = WeatherDesk(opener)
    app.state.runs = RunDesk(settings, records, app.state.weather)
    app.state.bench = BenchDesk(settings, records)
    app.state.watcher = Watcher(records)
    door = app.state.door = Door(settings, records, clock, operator=operator)
    app.state.metrics = Metrics()
    app.state.streams = OpenStreams(settings.most_streams)
    app.add_middleware(
        Gate,
        settings=settings,
        records=records,
        door=door,
        metrics=app.state.metrics,
        streams=app.state.streams,
        clock=clock,
    )
    install_problem_handlers(app)
    for module in (
        exposure,
        say,
        light,
        slots,
        moves,
        patch,
        outlook,
        phone,
        runs,
        calendar,
        catalogue,
        bench_tools,
        recipes,
        lamps,
        film_printers,
        prints,
        shelf,
        year,
        negative,
        negative_preview,
        sessions,
        batch,
        keys,
    ):  # tried in this order, so the busiest comes first
        app.include_router(module.router)

    @app.get("/healthz", operation_id="health", tags=["service"])
    async def healthz() -> Health:
        """Whether the process answers."""
        return Health(status="alive", version=__version__)

    @app.get("/readyz", operation_id="ready", tags=["service"])
    async def readyz() -> Health:
        """Whether the service can answer questions."""
        load_transfer_table()
        return Health(status="ready", version=__version__)

    app.openapi = with_security(document(app), door)  # type: ignore[method-assign]
    return app
