"""The made-up day that clients show: its clock, its forecast, and the light that truly came."""

import asyncio

import httpx
import numpy as np
import pytest

from noonframe.api.demo import PLACE, open_demo
from noonframe.errors import OutOfDomain
from noonframe.sky.evidence_broadband import depth_of, factor_at, node_factors
from noonframe.sky.words import SKY_WORDS

SHEET = {**PLACE, "stack": "float-glass-4mm,polyester-film", "target_j_m2": 30000}


@pytest.fixture(scope="module")
def demo():
    with open_demo() as opened:
        yield opened


def ask(demo, path, **fields):
    async def talk():
        async with demo.app.router.lifespan_context(demo.app):
            transport = httpx.ASGITransport(demo.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://in-process") as client:
                answer = await client.get(
                    path, params={**SHEET, **fields}, headers={"Accept": "application/json"}
                )
                assert answer.status_code == 200, answer.text
                return answer.json()

    return asyncio.run(talk())


def test_until_the_first_cloud_the_true_light_is_that_of_a_clear_sky(demo):
    begin_s = demo.changes[0].at_s
    target_j_m2 = 5000.0
    when = np.datetime_as_string(np.datetime64(round(begin_s), "s"))
    clear = ask(demo, "/v1/exposure", sky="clear", start=f"{when}Z", target_j_m2=target_j_m2)
    assert begin_s + clear["length_s"] < demo.changes[1].at_s
    assert demo.true_dose_j_m2(SHEET, begin_s, begin_s + clear["length_s"]) == pytest.approx(
        target_j_m2, rel=1e-4
    )
    assert demo.true_end_s(SHEET, begin_s, target_j_m2) - begin_s == pytest.approx(clear["length_s"], abs=0.1)


def test_a_cloud_dims_all_sunlight_as_scripted_and_has_not_the_depth_of_its_word(demo):
    nodes = node_factors(np.array([35.0]))
    for change in demo.changes:
        index = demo.sky.at(np.array([change.at_s + 1.0]))["clear_sky_index"]
        depth = depth_of(index, nodes)
        assert factor_at(depth, nodes) == pytest.approx(index, abs=1e-9)
        if change.sky == "thin-cloud":
            assert abs(depth[0] - SKY_WORDS["thin-cloud"].parts[0].optical_depth) > 0.2
        assert (depth[0] == 0.0) == (change.sky == "sun-out")


def test_the_true_dose_adds_up_and_grows_slower_under_cloud(demo):
    first, cloud, sun = (change.at_s for change in demo.changes[:3])
    whole = demo.true_dose_j_m2(SHEET, first, sun)
    parts = demo.true_dose_j_m2(SHEET, first, cloud), demo.true_dose_j_m2(SHEET, cloud, sun)
    assert whole == pytest.approx(sum(parts), rel=1e-9)
    assert parts[1] / (sun - cloud) < 0.6 * parts[0] / (cloud - first)
    end_s = demo.true_end_s(SHEET, first, whole)
    assert end_s == pytest.approx(sun, abs=0.01)
    assert demo.true_dose_j_m2(SHEET, first, first) == 0.0


@pytest.mark.parametrize("length_s", [-1.0, 13 * 3600.0, float("nan")])
def test_a_span_that_cannot_be_told_is_refused(demo, length_s):
    with pytest.raises(OutOfDomain, match="to_s"):
        demo.true_dose_j_m2(SHEET, demo.ready_s, demo.ready_s + length_s)


def test_the_forecast_comes_from_this_machine_and_is_fresh():
    with open_demo() as demo:
        weather = ask(demo, "/v1/exposure")["basis"]["weather"]
        assert (weather["provider"], weather["freshness"]) == ("open-meteo", "fresh")
        assert demo.settings.weather_open_meteo_url.startswith("http://127.0.0.1:")
        assert (
            0.1
            < ask(demo, "/v1/exposure", start="2026-06-21T11:05:00+01:00")["basis"]["weather"]["cloud_cover"]
            < 0.6
        )
        folder = demo.settings.state_dir
        assert folder.is_dir()
    assert not folder.exists()


def test_time_does_not_go_back():
    with open_demo() as demo:
        demo.clock.turn_to(demo.ready_s)
        assert demo.clock() == demo.ready_s
        with pytest.raises(OutOfDomain, match="now_s"):
            demo.clock.turn_to(demo.ready_s - 1.0)
        with pytest.raises(OutOfDomain, match="now_s"):
            demo.clock.turn_to(float("nan"))
