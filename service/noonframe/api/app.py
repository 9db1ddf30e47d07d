"""The application, made from settings."""

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from fastapi import Depends, FastAPI

from noonframe import __version__
from noonframe.api.outputs import Health
from noonframe.api.problems import PROBLEM_RESPONSES, install_problem_handlers
from noonframe.api.routes import catalogue, exposure, light, slots
from noonframe.api.routes.common import refuse_repeated_fields, system_clock
from noonframe.settings import Settings
from noonframe.sky.transfer import load_transfer_table

_DESCRIPTION = """How long, when and where to expose a sun print.

Times are RFC 3339 with an offset. Angles are degrees, azimuth clockwise from true north, latitude north
positive, longitude east positive. Doses are effective J/m2 at the coat. Errors are problem details
(RFC 9457) whose `errors[]` names field, value and limit. Unknown and repeated fields are refused.
"""


def create_app(settings: Settings, clock: Callable[[], float] = system_clock) -> FastAPI:
    """The service with these settings; `clock` gives unix seconds."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        load_transfer_table()  # a damaged table must stop the start, not the first question
        yield

    app = FastAPI(
        title="noonframe",
        version=__version__,
        summary="How long, when and where to expose a sun print",
        description=(
            f"{_DESCRIPTION}\nLimits: {settings.max_light_steps} instants and {settings.max_span_days} days"
            f" per course of light, 31 days per search for slots, {settings.max_body_bytes} bytes per body."
        ),
        lifespan=lifespan,
        max_body_size=settings.max_body_bytes,
        responses=PROBLEM_RESPONSES,
        dependencies=[Depends(refuse_repeated_fields)],
    )
    app.state.settings = settings
    app.state.clock = clock
    install_problem_handlers(app)
    for module in (light, exposure, slots, catalogue):
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

    return app
