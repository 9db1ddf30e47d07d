"""The answers of /v1/say, /v1/slots, /v1/materials, /v1/places and the signs of life."""

import datetime as dt

import pytest

YARD = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
NOON = {**YARD, "start": "2026-06-21T12:00:00+01:00", "target_j_m2": 24000}


@pytest.mark.parametrize(
    "accept", [None, "*/*", "text/plain", "text/html,*/*;q=0.8", "application/json;q=0.5, text/*"]
)
def test_say_is_one_plain_sentence(caller, accept):
    response = caller.get("/v1/say", NOON, headers={} if accept is None else {"Accept": accept})
    assert response.status_code == 200
    assert response.headers["content-type"] == "text/plain; charset=utf-8"
    assert response.headers["vary"] == "Accept"
    assert response.text == caller.answer("/v1/exposure", NOON)["summary"]
    assert "\n" not in response.text


@pytest.mark.parametrize(
    "accept",
    [
        "application/json",
        "application/json, text/plain;q=0.9",
        "APPLICATION/JSON",
        "application/*",
        "text/plain;q=0, */*",
    ],
)
def test_say_is_flat_json_for_those_who_ask(caller, accept):
    response = caller.get("/v1/say", NOON, headers={"Accept": accept})
    assert response.headers["content-type"] == "application/json"
    assert response.headers["vary"] == "Accept"
    flat = response.json()
    exposure = caller.answer("/v1/exposure", NOON)
    assert all(value is None or isinstance(value, str | int | float) for value in flat.values())
    assert not any(set(name) & set(". ") for name in flat)
    assert flat["summary"] == exposure["summary"]
    assert flat["end_epoch"] == round(dt.datetime.fromisoformat(exposure["end"]).timestamp())
    assert flat["minutes"] == pytest.approx(exposure["length_s"] / 60, abs=0.05)
    assert flat["seconds"] == round(exposure["length_s"])


def test_say_tells_an_unreached_dose(caller):
    night = {**NOON, "start": "2026-12-21T20:00:00Z"}
    flat = caller.get("/v1/say", night, headers={"Accept": "application/json"}).json()
    assert flat["reached"] is False
    assert flat["minutes"] is flat["end"] is flat["end_epoch"] is None
    assert flat["next_start"] is not None


def test_slots_of_a_day_are_ranked_and_within_it(caller):
    answer = caller.answer("/v1/slots", {**YARD, "date": "2026-06-21", "target_j_m2": 24000, "limit": 50})
    assert answer["sun"][0]["date"] == "2026-06-21"
    assert answer["sun"][0]["outcome"] == "rises-and-sets"
    lengths = [slot["length_s"] for slot in answer["slots"]]
    assert answer["slots"][0]["pace"] == "quick"
    assert lengths[0] == min(lengths)
    for slot in answer["slots"]:
        assert slot["first_start"] <= slot["best_start"] <= slot["last_start"]
        assert slot["first_start"].startswith("2026-06-21T")
        assert 0 < slot["steadiness"] <= 1
        assert slot["length_low_s"] < slot["length_s"]
        assert slot["why"]


def test_the_length_of_a_slot_is_that_of_an_exposure_begun_there(caller):
    best = caller.answer("/v1/slots", {**YARD, "date": "2026-06-21", "target_j_m2": 24000})["slots"][0]
    exposure = caller.answer("/v1/exposure", {**YARD, "start": best["best_start"], "target_j_m2": 24000})
    assert exposure["length_s"] == pytest.approx(best["length_s"], rel=1e-3)


def test_slots_default_to_today_and_obey_their_limit(caller):
    answer = caller.answer("/v1/slots", {**YARD, "target_j_m2": 24000, "limit": 1})
    assert [day["date"] for day in answer["sun"]] == ["2026-06-21"]
    assert len(answer["slots"]) == 1
    span = {**YARD, "start": "2026-06-21T12:00:00Z", "end": "2026-06-23T12:00:00Z", "target_j_m2": 24000}
    assert [day["date"][-2:] for day in caller.answer("/v1/slots", span)["sun"]] == ["21", "22", "23"]


def test_a_day_without_light_has_no_slots_but_a_next_chance(caller):
    arctic = {"latitude_deg": 78.2, "longitude_deg": 15.6, "date": "2026-12-21", "target_j_m2": 24000}
    answer = caller.answer("/v1/slots", arctic)
    assert answer["slots"] == []
    assert answer["sun"][0]["outcome"] == "down-all-day"
    assert answer["sun"][0]["rise"] is None
    assert answer["next_start"] > "2027-01"


def test_a_span_across_a_day_that_the_clocks_left_out_is_answered(caller):
    """Samoa had no 30 December 2011 (IANA time zone database, Pacific/Apia)."""
    span = {"start": "2011-12-29T12:00:00-10:00", "end": "2011-12-31T12:00:00+14:00", "target_j_m2": 24000}
    answer = caller.answer("/v1/slots", {"latitude_deg": -13.83, "longitude_deg": -171.76, **span})
    assert [day["date"] for day in answer["sun"]] == ["2011-12-29", "2011-12-31"]


def test_every_material_and_coat_says_where_its_numbers_come_from(caller):
    answer = caller.answer("/v1/materials", {})
    assert set(answer) == {"sensitizers", "stack"}
    assert len(answer["sensitizers"]) >= 2
    assert len(answer["stack"]) >= 10
    for item in [*answer["sensitizers"], *answer["stack"]]:
        assert item["id"]
        assert item["label"]
        assert len(item["provenance"]) > 10
    for item in answer["stack"]:
        assert 0 <= item["transmittance_365nm"] <= 1
        assert 0 <= item["effective_share"] <= 1
        assert item["spread_relative"] >= 0
    for coat in answer["sensitizers"]:
        assert coat["target_j_m2"] > 0
        assert coat["target_spread_stops"] > 0


def test_every_material_and_coat_can_be_named_in_a_request(caller):
    catalogue = caller.answer("/v1/materials", {})
    for item in catalogue["stack"]:
        assert caller.answer("/v1/exposure", {**NOON, "stack": item["id"]})["basis"]["stack"] == [item["id"]]
    for coat in catalogue["sensitizers"]:
        assert (
            caller.answer("/v1/exposure", {**NOON, "sensitizer": coat["id"]})["basis"]["sensitizer"]
            == coat["id"]
        )


@pytest.mark.parametrize(
    "name", ["Porto, PT", "porto, portugal", "41.15,-8.61", "geo:41.15,-8.61,80", "quayside-yard"]
)
def test_a_place_in_words_becomes_a_position_and_a_zone(caller, name):
    answer = caller.answer("/v1/places", {"name": name})
    place = answer["places"][0]
    assert place["latitude_deg"] == pytest.approx(41.15, abs=0.1)
    assert place["longitude_deg"] == pytest.approx(-8.61, abs=0.1)
    assert place["time_zone"] == "Europe/Lisbon"
    assert answer["attribution"]


def test_several_places_of_one_name_are_all_told(caller):
    assert len(caller.answer("/v1/places", {"name": "Springfield"})["places"]) > 1


def test_a_place_in_words_answers_like_its_coordinates(caller):
    by_word = caller.answer(
        "/v1/exposure", {"place": "quayside-yard", "start": NOON["start"], "target_j_m2": 24000}
    )
    by_number = caller.answer("/v1/exposure", NOON)
    assert by_word["length_s"] == by_number["length_s"]
    assert by_word["basis"]["place"] != by_number["basis"]["place"]


@pytest.mark.parametrize(("path", "status"), [("/healthz", "alive"), ("/readyz", "ready")])
def test_the_service_gives_signs_of_life(caller, path, status):
    assert caller.answer(path, {})["status"] == status


def test_the_app_starts_and_stops(app):
    import asyncio

    async def live() -> None:
        async with app.router.lifespan_context(app):
            pass

    asyncio.run(live())
