"""The rehearsal service tells the sky of its script, in both providers' words."""

import httpx
import numpy as np
import pytest

from noonframe.errors import OutOfDomain
from noonframe.sky.evidence_clear import clear_global_w_m2
from noonframe.sky.forecast import SampleKind
from noonframe.sun.place import Place
from noonframe.weather.rehearsal_sky import ScriptedSky, Spell, clear_uv_index, mean_light

PORTO = (41.15, -8.61)


def test_spells_hold_from_their_start_until_the_next():
    sky = ScriptedSky((Spell(0, 1.0), Spell(600, 0.3, cloud_low=0.5, cloud_mid=0.5)))
    times = np.array([-100.0, 0.0, 599.9, 600.0, 9e9])
    assert sky.at(times)["clear_sky_index"].tolist() == [1, 1, 1, 0.3, 0.3]
    assert sky.cloud_total(times).tolist() == [0, 0, 0, 0.75, 0.75]


@pytest.mark.parametrize("spells", [(), (Spell(5), Spell(5)), (Spell(6), Spell(5))])
def test_a_script_out_of_order_is_refused(spells):
    with pytest.raises(OutOfDomain):
        ScriptedSky(spells)


def test_an_hour_that_is_half_dark_has_half_the_light(clock):
    noon_s = clock()
    place = Place(41.125, -8.625)
    end = np.array([noon_s + 1800.0])
    clear = mean_light(ScriptedSky((Spell(0),)), place, end, 3600.0)
    half = mean_light(ScriptedSky((Spell(0, 1.0), Spell(noon_s, 0.0))), place, end, 3600.0)
    # around the sun's highest both halves of the hour have nearly the same light
    assert half.global_w_m2[0] == pytest.approx(0.5 * clear.global_w_m2[0], rel=0.005)
    middle = clear_global_w_m2(place, np.array([noon_s]), 0.1)[0]
    assert clear.global_w_m2[0] == pytest.approx(middle, rel=0.01)
    assert 0.0 < clear.diffuse_w_m2[0] < 0.4 * clear.global_w_m2[0]
    assert (half.diffuse_w_m2 <= half.global_w_m2).all()


def test_members_see_the_same_clouds_at_other_times(clock):
    sky = ScriptedSky((Spell(0, 1.0), Spell(clock(), 0.2)))
    place, end = Place(41.125, -8.625), np.array([clock() + 900.0])
    early, late = (mean_light(sky, place, end, 1800.0, shift).global_w_m2[0] for shift in (600.0, -600.0))
    assert early < late


@pytest.mark.reference
def test_the_clear_uv_index_is_that_of_its_formula():
    # Madronich (2007), Photochem. Photobiol. 83, 1537-1538: 12.5 at overhead sun and 300 DU
    found = clear_uv_index(np.array([0.0, 60.0, 90.0, 120.0]))
    assert found[0] == 12.5
    assert found[1] == pytest.approx(12.5 * 0.5**2.42)
    assert found[2:] == pytest.approx([0.0, 0.0], abs=1e-9)


def test_both_providers_tell_the_same_clouds_and_only_one_the_light(make_service, clock):
    found = {
        name: {s.start_s: s for s in forecast.samples if s.kind is SampleKind.INSTANT}
        for name in ("open-meteo", "met-norway")
        for forecast in [make_service(name).forecast_for(*PORTO).best.forecast]
    }
    shared = sorted(found["open-meteo"].keys() & found["met-norway"].keys())
    assert len(shared) > 40
    for start_s in shared:
        one, other = found["open-meteo"][start_s], found["met-norway"][start_s]
        assert one.cloud_low == pytest.approx(other.cloud_low, abs=0.005)
        assert one.cloud_total == pytest.approx(other.cloud_total, abs=0.005)
    lit = make_service("open-meteo").forecast_for(*PORTO).best.forecast.samples
    assert max(s.global_w_m2 or 0 for s in lit) > 800
    unlit = make_service("met-norway").forecast_for(*PORTO).best.forecast.samples
    assert all(s.global_w_m2 is None for s in unlit)


def test_four_quarters_make_their_hour(make_service):
    samples = make_service("open-meteo").forecast_for(*PORTO).best.forecast.samples
    light = {(s.start_s, s.end_s): s.global_w_m2 for s in samples if s.global_w_m2 is not None}
    hours = [
        (a, b)
        for a, b in light
        if b - a == 3600 and all((a + q, a + q + 900) in light for q in (0, 900, 1800, 2700))
    ]
    assert len(hours) > 60
    for a, b in hours:
        quarters = [light[a + q, a + q + 900] for q in (0, 900, 1800, 2700)]
        assert sum(quarters) / 4 == pytest.approx(light[a, b], abs=0.11)


def test_the_ensemble_has_its_members(make_service):
    samples = make_service("open-meteo-ensemble").forecast_for(*PORTO).best.forecast.samples
    assert {s.member for s in samples} == set(range(21))


def test_it_listens_on_this_machine_alone(stub):
    assert stub.url.startswith("http://127.0.0.1:")


@pytest.mark.parametrize(
    ("query", "says"),
    [
        # https://open-meteo.com/en/docs, "Errors", and the server's own texts
        ({"latitude": "522.52", "longitude": "0"}, "Latitude must be in range of -90 to 90°. Given: 522.52."),
        (
            {"latitude": "52", "longitude": "0", "hourly": "tempeture_2m"},
            "Cannot initialize WeatherVariable from invalid String value tempeture_2m for key hourly",
        ),
    ],
)
def test_a_wrong_question_is_answered_as_open_meteo_does(stub, query, says):
    with httpx.Client(trust_env=False) as client:
        reply = client.get(f"{stub.url}/v1/forecast", params=query)
        assert client.get(f"{stub.url}/elsewhere").status_code == 404
    assert reply.status_code == 400
    assert reply.json() == {"error": True, "reason": says}
