"""A stub provider on the loopback address, and a service that asks it, under a clock that stands still."""

import importlib.util
import random
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from noonframe.settings import Settings
from noonframe.weather.cache import MemoryCache
from noonframe.weather.fetch import make_client
from noonframe.weather.rehearsal_sky import quayside_sky
from noonframe.weather.service import WeatherService

_NAME = "noonframe_tests_stub_server"
_spec = importlib.util.spec_from_file_location(_NAME, Path(__file__).with_name("stub_server.py"))
stub_server = importlib.util.module_from_spec(_spec)
sys.modules[_NAME] = stub_server
_spec.loader.exec_module(stub_server)

NOON_S = datetime(2026, 6, 21, 12, 40, tzinfo=UTC).timestamp()  # the sun's highest in Porto, by the minute
CONTACT = "printer@quayside.example"


class StillClock:
    """Unix seconds that move only when told."""

    def __init__(self, now_s: float) -> None:
        self.now_s = now_s

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock():
    return StillClock(NOON_S)


@pytest.fixture
def stub(clock):
    with stub_server.StubServer(quayside_sky(NOON_S), clock) as running:
        yield running


@pytest.fixture
def cache():
    return MemoryCache()


@pytest.fixture
def make_settings(stub, tmp_path):
    def make(*providers: str, **given) -> Settings:
        return Settings(
            **{
                "state_dir": tmp_path,
                "weather_providers": providers,
                "weather_contact": CONTACT,
                "weather_open_meteo_url": stub.url,
                "weather_ensemble_url": stub.url,
                "weather_met_norway_url": stub.met_norway_url,
                "weather_budget_s": 5.0,
                "weather_request_s": 5.0,
                **given,
            }
        )

    return make


@pytest.fixture(scope="session")
def client():
    with make_client() as shared:
        yield shared


@pytest.fixture
def make_service(make_settings, cache, clock, client):
    made = []

    def make(*providers: str, cache=cache, **given) -> WeatherService:
        service = WeatherService(
            make_settings(*providers, **given),
            cache,
            clock,
            client,
            chance=random.Random(7),
            pause=lambda seconds: None,
        )
        made.append(service)
        return service

    yield make
    for service in made:
        service.close()
