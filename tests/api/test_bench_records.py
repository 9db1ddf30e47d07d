"""Recipes, spots, places, evidence and prints over HTTP, on both databases."""

import datetime as dt
import math
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote

import pytest
from databases import database_url, empty_database
from fastapi import FastAPI

from noonframe.api.app import create_app
from noonframe.api.examples import SESSION
from noonframe.api.lamp_examples import LAMP
from noonframe.api.negative_tone_examples import FILM_PRINTER
from noonframe.settings import Settings

__all__ = ["database_url"]

NOON = dt.datetime(2026, 6, 21, 11, 0, tzinfo=dt.UTC).timestamp()  # noon in Porto
YARD = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
RECIPE = {"name": "kelp on cotton", "stack": ["float-glass-4mm", "polyester-film"], "paper": "cotton rag"}
NOBODY = "00000000-0000-0000-0000-00000000abcd"


@dataclass
class Bench:
    """A client of the service with a clock that the test sets."""

    caller: Any
    clock: list[float] = field(default_factory=lambda: [NOON])

    def ask(self, method: str, path: str, body: object = None, status: int = 200, **headers: str) -> Any:
        sent = {"headers": {name.replace("_", "-"): value for name, value in headers.items()}}
        if body is not None:
            sent["json"] = body
        response = self.caller.request(method, path, **sent)
        assert response.status_code == status, response.text
        if status >= 400:
            assert response.headers["content-type"] == "application/problem+json"
            return [error["field"] for error in response.json()["errors"]]
        return response.json()

    def post(self, path: str, body: object, status: int = 201, **headers: str) -> Any:
        return self.ask("POST", path, body, status, **headers)

    def get(self, path: str, status: int = 200) -> Any:
        return self.ask("GET", path, None, status)

    def patch(self, path: str, body: object, version: int | None = None, status: int = 200) -> Any:
        headers = {} if version is None else {"If_Match": f'"{version}"'}
        return self.ask("PATCH", path, body, status, **headers)

    def until(self, moment: str) -> None:
        self.clock[0] = dt.datetime.fromisoformat(moment).timestamp()

    def recipe(self, **more: object) -> str:
        return str(self.post("/v1/recipes", {**RECIPE, **more})["id"])


@contextmanager
def opened(url: str, clock: list[float]) -> Iterator[FastAPI]:
    app = create_app(Settings(database_url=url), clock=lambda: clock[0])
    try:
        yield app
    finally:
        app.state.records.close()


@pytest.fixture
def bench(database_url: str, caller: Any) -> Iterator[Bench]:
    clock = [NOON]
    with opened(database_url, clock) as app:
        yield Bench(type(caller)(app), clock)


@pytest.fixture
def one_bench(tmp_path, caller: Any) -> Iterator[Bench]:
    """The same on SQLite alone, for what no database can change."""
    clock = [NOON]
    with empty_database("sqlite", tmp_path) as url, opened(url, clock) as app:
        yield Bench(type(caller)(app), clock)


def strip_in_the_sun(bench: Bench, recipe: str, first_full: int = 5) -> tuple[dict[str, Any], dict[str, Any]]:
    """Plan a strip, follow it as a run by its dose, end it, and read it."""
    plan = bench.post("/v1/strip", {**YARD, "recipe": recipe}, 200)
    run = bench.post("/v1/runs", {**YARD, "recipe": recipe, "target_j_m2": plan["dose_j_m2"]})
    bench.until(plan["end"])
    bench.post(f"/v1/runs/{run['id']}/events", {"kind": "finished"})
    told = {"kind": "strip", "run_id": run["id"], "ladder": plan["ladder"], "first_full": first_full}
    return plan, bench.post(f"/v1/recipes/{recipe}/evidence", told)


def test_a_new_recipe_is_calibrated_by_one_strip(bench):
    recipe = bench.recipe()
    before = bench.get(f"/v1/recipes/{recipe}/target")
    assert not before["learned"]
    assert before["summary"].startswith("from the published figure alone")
    query = "/v1/exposure?latitude_deg=41.15&longitude_deg=-8.61&elevation_m=80&recipe=Kelp%20on%20Cotton"
    guess = bench.get(query)
    assert guess["target_source"].startswith("prior of citrate-classic")
    assert "until a test strip narrows it" in guess["summary"]

    plan, told = strip_in_the_sun(bench, recipe)
    after = told["target"]
    low, high = (plan["strips"][k]["total_j_m2"] for k in (3, 4))
    assert low < after["target_j_m2"] < high
    assert (after["learned"], after["strips"]) == (True, 1)
    assert after["target_spread_stops"] < 0.3 < before["target_spread_stops"]
    assert after["summary"].startswith("from 1 strip: ")
    assert told["evidence"]["told"]["first_full"] == 5
    assert bench.get(f"/v1/recipes/{recipe}/target") == after

    exposure = bench.get(query)
    assert exposure["target_j_m2"] == after["target_j_m2"]
    assert exposure["target_spread_stops"] == after["target_spread_stops"]
    assert exposure["target_source"] == after["summary"]
    assert exposure["basis"]["stack"] == RECIPE["stack"]
    slots = bench.get(query.replace("/exposure?", "/slots?"))
    assert slots["target_source"] == after["summary"]
    width = [math.log2(each["length_high_s"] / each["length_low_s"]) for each in (exposure, guess)]
    assert width[0] < 0.5 * width[1]


def test_one_print_that_came_out_right_is_a_calibration(bench):
    recipe = bench.recipe()
    logged = bench.post(
        "/v1/prints",
        {"name": "tide table", "recipe": "kelp on cotton", "dose_j_m2": 11000, "judgement": "right"},
    )
    assert logged["target"]["target_j_m2"] == pytest.approx(11000, rel=0.15)
    assert logged["target"]["target_spread_stops"] < 0.5
    assert logged["summary"].startswith(
        "tide table, judged right: the target of kelp on cotton is, from 1 print"
    )
    items = bench.get(f"/v1/recipes/{recipe}/evidence")["evidence"]
    assert [item["id"] for item in items] == [logged["evidence_id"]]
    assert items[0]["print_id"] == logged["id"]


def test_the_dose_of_evidence_is_what_the_run_gathered_under_its_clouds(bench):
    recipe = bench.recipe()
    run = bench.post("/v1/runs", {**YARD, "recipe": recipe, "sky": "clear", "name": "ferry ticket"})
    bench.clock[0] += 300
    bench.post(f"/v1/runs/{run['id']}/events", {"kind": "sky", "sky": "covered"})
    bench.clock[0] += 300
    first = bench.get(f"/v1/runs/{run['id']}")["dose_j_m2"]
    at_five = dt.datetime.fromtimestamp(NOON + 300, dt.UTC).isoformat()
    at_ten = dt.datetime.fromtimestamp(NOON + 600, dt.UTC).isoformat()
    told = {"kind": "strip", "run_id": run["id"], "covered_at": [at_five, at_ten], "first_full": 2}
    assert bench.post(f"/v1/recipes/{recipe}/evidence", told, 422) == ["run_id"]  # it has not ended
    ended = bench.post(f"/v1/runs/{run['id']}/events", {"kind": "finished"})["run"]
    assert ended["dose_j_m2"] == pytest.approx(first, abs=0.01)
    kept = bench.post(f"/v1/recipes/{recipe}/evidence", told)
    sunny, both = kept["evidence"]["told"]["doses_j_m2"]
    assert both == pytest.approx(ended["dose_j_m2"], abs=0.01)
    # an ordinary cloud takes far more than a third of the light, so the second five minutes gave less
    assert both - sunny < 0.7 * sunny
    assert kept["evidence"]["light_spread_stops"] > 0.0
    printed = bench.post("/v1/prints", {"run_id": run["id"], "judgement": "a little pale"})
    assert printed["name"] == "ferry ticket"
    assert printed["dose_j_m2"] == ended["dose_j_m2"]
    assert printed["recipe_id"] == recipe
    assert printed["light"]["basis"]["sky"]["says"] == "a clear sky"
    assert printed["spot"]["latitude_deg"] == 41.15


def test_a_ladder_that_the_run_did_not_follow_is_refused(bench):
    recipe = bench.recipe()
    run = bench.post("/v1/runs", {**YARD, "recipe": recipe})
    bench.clock[0] += 300
    bench.post(f"/v1/runs/{run['id']}/events", {"kind": "finished"})
    ladder = {"first_j_m2": 6000, "step_stops": 0.5, "strip_count": 9}
    told = {"kind": "strip", "run_id": run["id"], "ladder": ladder, "first_full": 3}
    assert bench.post(f"/v1/recipes/{recipe}/evidence", told, 422) == ["ladder"]


def test_a_strip_of_one_run_counts_once(bench):
    recipe = bench.recipe()
    plan, told = strip_in_the_sun(bench, recipe)
    again = {
        "kind": "strip",
        "run_id": told["evidence"]["run_id"],
        "ladder": plan["ladder"],
        "first_full": 4,
    }
    path = f"/v1/recipes/{recipe}/evidence"
    assert bench.post(path, again, 422) == ["run_id"]
    withdrawn = bench.post(f"{path}/{told['evidence']['id']}/withdraw", {"reason": "misread"}, 200)
    assert withdrawn["evidence"]["withdrawn_reason"] == "misread"
    assert not withdrawn["target"]["learned"]
    assert withdrawn["target"]["withdrawn"] == 1
    assert bench.post(path, again)["target"]["strips"] == 1
    assert len(bench.get(path)["evidence"]) == 2  # nothing is lost


def test_a_strip_is_followed_by_the_dose_that_fell(bench):
    recipe = bench.recipe()
    plan = bench.post("/v1/strip", {**YARD, "recipe": recipe}, 200)
    run = bench.post("/v1/runs", {**YARD, "recipe": recipe, "target_j_m2": plan["dose_j_m2"]})
    body = {"run_id": run["id"], **plan["ladder"]}
    bench.clock[0] += plan["strips"][1]["after_s"] - 10.0
    now = bench.post("/v1/strip/follow", {**body, "covered": 1}, 200)
    assert (now["next_strip"], now["overdue"]) == (2, [])
    assert now["wait_s"] == pytest.approx(10.0, abs=0.5)
    bench.clock[0] += 20.0
    late = bench.post("/v1/strip/follow", {**body, "covered": 1}, 200)
    assert (late["next_strip"], late["overdue"]) == (3, [2])
    assert "Cover strip 2 now" in late["advice"]
    bench.post(f"/v1/runs/{run['id']}/events", {"kind": "covered"})
    waiting = bench.post("/v1/strip/follow", {**body, "covered": 2}, 200)
    assert waiting["wait_s"] is None
    assert waiting["strips"][0]["cover_at"] is None


def test_two_clients_on_one_recipe_never_lose_a_change(bench):
    recipe = bench.recipe()
    path = f"/v1/recipes/{recipe}"
    assert bench.patch(path, {"notes": "mine"}, status=428) == ["If-Match"]
    first = bench.patch(path, {"notes": "mine"}, version=1)
    assert (first["version"], first["notes"]) == (2, "mine")
    assert bench.patch(path, {"notes": "theirs"}, version=1, status=412) == ["If-Match"]
    assert bench.get(path)["notes"] == "mine"
    assert bench.ask("PATCH", path, {"notes": "x"}, 412, If_Match='W/"2"') == ["If-Match"]
    assert bench.ask("PATCH", path, {"notes": "x"}, 422, If_Match="two") == ["If-Match"]
    assert bench.ask("PATCH", path, {"notes": "both"}, 200, If_Match='"1", "2"')["version"] == 3
    assert [each["notes"] for each in bench.get(f"{path}/versions")["recipes"]] == ["", "mine", "both"]
    assert bench.get(f"{path}?version=2")["notes"] == "mine"
    assert bench.get(f"{path}?version=9", 404) == ["version"]


def test_of_clients_that_change_at_the_same_moment_one_wins(bench):
    recipe = bench.recipe()
    statuses = []

    def change(number: int) -> None:
        response = bench.caller.request(
            "PATCH",
            f"/v1/recipes/{recipe}",
            json={"notes": f"client {number}"},
            headers={"If-Match": '"1"'},
        )
        statuses.append(response.status_code)

    threads = [threading.Thread(target=change, args=(number,)) for number in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(statuses) == [200, 412, 412, 412, 412, 412]
    assert bench.get(f"/v1/recipes/{recipe}")["version"] == 2


def test_a_change_sent_twice_with_its_key_is_made_once(bench):
    recipe = bench.recipe()
    for _ in range(2):
        changed = bench.ask(
            "PATCH", f"/v1/recipes/{recipe}", {"notes": "x"}, 200, If_Match='"1"', Idempotency_Key="abc"
        )
        assert changed["version"] == 2
    told = {"kind": "print", "dose_j_m2": 20000, "judgement": "right"}
    path = f"/v1/recipes/{recipe}/evidence"
    ids = {bench.post(path, told, Idempotency_Key="told")["evidence"]["id"] for _ in range(2)}
    assert len(ids) == 1
    assert len(bench.get(path)["evidence"]) == 1


def test_what_is_retired_is_listed_no_more_and_comes_back(bench):
    recipe = bench.recipe()
    path = f"/v1/recipes/{recipe}"
    assert bench.post("/v1/recipes", {**RECIPE, "name": "Kelp  on COTTON"}, 409) == ["name"]
    assert bench.ask("POST", f"{path}/retire", None, 428) == ["If-Match"]
    retired = bench.ask("POST", f"{path}/retire", None, 200, If_Match='"1"')
    assert (retired["retired"], retired["version"]) == (True, 2)
    assert bench.get("/v1/recipes")["recipes"] == []
    assert [each["id"] for each in bench.get("/v1/recipes?retired=yes")["recipes"]] == [recipe]
    other = bench.recipe()  # the name is free
    assert bench.ask("POST", f"{path}/restore", None, 409, If_Match='"2"') == ["name"]
    bench.patch(f"/v1/recipes/{other}", {"name": "kelp on linen"}, version=1)
    assert bench.ask("POST", f"{path}/restore", None, 200, If_Match='"2"')["version"] == 3
    assert {each["id"] for each in bench.get("/v1/recipes")["recipes"]} == {recipe, other}


def test_a_print_judged_anew_moves_the_target_once(bench):
    recipe = bench.recipe()
    logged = bench.post("/v1/prints", {"name": "kelp", "recipe": recipe, "dose_j_m2": 20000})
    assert logged["evidence_id"] is None
    assert not logged["target"]["learned"]
    path = f"/v1/prints/{logged['id']}"
    dark = bench.patch(path, {"judgement": "too dark"}, version=1)
    right = bench.patch(path, {"judgement_stops": 0, "relative_humidity_percent": 55}, version=2)
    assert (right["judgement"], right["judgement_stops"]) == (None, 0)
    assert right["relative_humidity_percent"] == 55
    assert right["target"]["target_j_m2"] > 1.5 * dark["target"]["target_j_m2"]
    same = bench.patch(path, {"notes": "blue came up overnight"}, version=3)
    assert same["evidence_id"] == right["evidence_id"]  # a note is no new judgement
    evidence = bench.get(f"/v1/recipes/{recipe}/evidence")["evidence"]
    assert sorted(item["counts"] for item in evidence) == [False, True]
    gone = bench.ask("POST", f"{path}/retire", None, 200, If_Match='"4"')
    assert gone["evidence_id"] is None
    assert not gone["target"]["learned"]
    back = bench.ask("POST", f"{path}/restore", None, 200, If_Match='"5"')
    assert back["target"]["target_j_m2"] == right["target"]["target_j_m2"]
    assert len(bench.get(f"{path}/versions")["prints"]) == 6


def test_a_judgement_is_taken_back_and_the_target_with_it(bench):
    recipe = bench.recipe()
    judged = {"name": "kelp", "recipe": recipe, "dose_j_m2": 20000, "judgement": "too dark"}
    path = f"/v1/prints/{bench.post('/v1/prints', judged)['id']}"
    bare = bench.patch(path, {"judgement": None}, version=1)
    assert (bare["judgement"], bare["judgement_stops"], bare["evidence_id"]) == (None, None, None)
    assert not bare["target"]["learned"]


def test_evidence_of_another_sensitizer_does_not_count(bench):
    recipe = bench.recipe()
    path = f"/v1/recipes/{recipe}"
    bench.post(f"{path}/evidence", {"kind": "print", "dose_j_m2": 20000, "judgement": "right"})
    bench.patch(path, {"stack": ["float-glass-4mm"]}, version=1)
    assert bench.get(f"{path}/target")["learned"]  # the dose is that at the coat, whatever lies over it
    bench.patch(path, {"sensitizer": "oxalate-variant"}, version=2)
    target = bench.get(f"{path}/target")
    assert not target["learned"]
    assert target["notes"] == [
        "1 exposure was made with another sensitizer than this version's and does not count"
    ]
    assert bench.get(f"{path}/target?version=2")["learned"]


def test_prints_are_searched_paged_and_written_as_a_table(bench):
    recipe = bench.recipe()
    for number, (name, judgement) in enumerate(
        [
            ("kelp fronds", "right"),
            ("tide table", "too dark"),
            ("Ferry ticket", None),
            ("kelp roots", "right"),
        ]
    ):
        bench.clock[0] = NOON + number
        body = {"name": name, "recipe": recipe, "dose_j_m2": 20000, "tags": [f"day {number}"]}
        bench.post("/v1/prints", body | ({} if judgement is None else {"judgement": judgement}))

    def names(query: str) -> list[str]:
        return [each["name"] for each in bench.get(f"/v1/prints{query}")["prints"]]

    assert names("") == ["kelp roots", "Ferry ticket", "tide table", "kelp fronds"]
    assert names("?text=KELP") == ["kelp roots", "kelp fronds"]
    assert names("?text=ferry%20day") == ["Ferry ticket"]
    assert names("?judgement=too%20dark,far%20too%20dark") == ["tide table"]
    assert names("?made_from=2026-06-21T11:00:02Z") == ["kelp roots", "Ferry ticket"]
    assert names("?recipe=kelp%20on%20cotton&limit=1") == ["kelp roots"]
    page = bench.get("/v1/prints?limit=3")
    assert page["total"] == 4
    assert names(f"?before={page['prints'][-1]['id']}") == ["kelp fronds"]
    assert bench.get(f"/v1/prints?before={NOBODY}", 422) == ["before"]
    assert bench.get("/v1/prints?judgement=nice", 422) == ["judgement"]
    assert bench.get("/v1/prints?recipe=kelp%20on%20coton", 422) == ["recipe"]
    table = bench.caller.request("GET", "/v1/prints/table?text=kelp")
    assert table.headers["content-type"].startswith("text/csv")
    assert len(table.text.strip().splitlines()) == 3


def test_a_saved_spot_brings_its_place_and_a_place_may_change(bench):
    place = bench.post("/v1/saved-places", {"name": "print room", **YARD, "time_zone": "Europe/Lisbon"})
    spot = {"kind": "open", "tilt_deg": 20, "aim_azimuth_deg": 225, "skyline": [[0, 35], [90, 10]]}
    saved = bench.post("/v1/spots", {"name": "yard bench", "spot": spot, "place": "print room"})
    assert saved["says"] == "open ground, tilted 20° toward 225°, with a skyline"
    start = "start=2026-06-21T12:00:00%2B01:00&target_j_m2=24000"
    by_name = bench.get(f"/v1/exposure?saved_spot=yard%20bench&{start}")
    by_hand = bench.post(
        "/v1/exposure",
        {**YARD, "spot": spot, "start": "2026-06-21T12:00:00+01:00", "target_j_m2": 24000},
        200,
    )
    assert by_name["length_s"] == by_hand["length_s"]
    bench.patch(f"/v1/saved-places/{place['id']}", {"latitude_deg": -45.87}, version=1)
    assert bench.get(f"/v1/exposure?saved_spot={saved['id']}&{start}")["length_s"] != by_hand["length_s"]
    south = bench.get(f"/v1/exposure?saved_place=Print%20Room&{start}")
    assert south["basis"]["latitude_deg"] == -45.87
    moved = bench.patch(f"/v1/spots/{saved['id']}", {"place": "Porto"}, version=1)
    assert (moved["place"], moved["spot"]) == ("Porto", saved["spot"])


ROUTES_TAKING_NAMES = {
    "/v1/exposure": {},
    "/v1/say": {},
    "/v1/slots": {},
    "/v1/moves": {"start": "2026-06-21T12:00:00Z", "aims": "flat", "max_moves": "0"},
    "/v1/moves/picture": {"start": "2026-06-21T12:00:00Z", "aims": "flat", "max_moves": "0"},
    "/v1/light": {"start": "2026-06-21T12:00:00Z", "end": "2026-06-21T13:00:00Z", "step_s": "1800"},
}
POSTED = ("/v1/exposure", "/v1/slots", "/v1/moves", "/v1/moves/picture", "/v1/light")


@pytest.mark.parametrize("path", ROUTES_TAKING_NAMES)
def test_every_route_takes_a_recipe_by_name_and_id(one_bench, path):
    recipe = one_bench.recipe()
    fields = {**YARD, **ROUTES_TAKING_NAMES[path]}
    answers = set()
    for words in ("kelp on cotton", recipe):
        response = one_bench.caller.get(path, {**fields, "recipe": words})
        assert response.status_code == 200, response.text
        answers.add(response.text)
    explicit = {**fields, "stack": ",".join(RECIPE["stack"])}
    if path == "/v1/light":
        answers.add(one_bench.caller.get(path, explicit).text)
    else:
        assert one_bench.caller.get(path, explicit).status_code == 200
    assert len(answers) == 1
    unknown = one_bench.caller.get(path, {**fields, "recipe": "kelp on coton"})
    assert unknown.status_code == 422
    assert "did you mean kelp on cotton" in unknown.json()["detail"]
    assert one_bench.caller.get(path, {**fields, "recipe": recipe, "recipe_version": 2}).status_code == 422
    assert one_bench.caller.get(path, {**explicit, "recipe": recipe}).status_code == 422


@pytest.mark.parametrize("path", [*POSTED, "/v1/patch", "/v1/runs", "/v1/strip"])
def test_every_posted_request_takes_names(one_bench, path):
    body = {**YARD, **ROUTES_TAKING_NAMES.get(path, {})}
    numbers = {"max_moves": 0, "step_s": 1800}
    body = {name: numbers.get(name, value) for name, value in body.items()}
    for name in ("recipe", "saved_spot"):
        fields = {key: value for key, value in body.items() if name == "recipe" or key not in YARD}
        assert one_bench.post(path, {**fields, name: "nobody's"}, 422) == [name]
    without = {key: value for key, value in body.items() if key not in YARD}
    assert one_bench.post(path, {**without, "saved_place": "nowhere"}, 422) == ["saved_place"]


def test_a_run_keeps_the_recipe_that_it_was_started_with(bench, database_url):
    recipe = bench.recipe()
    run = bench.post("/v1/runs", {**YARD, "recipe": "kelp on cotton"})
    bench.post(f"/v1/recipes/{recipe}/evidence", {"kind": "print", "dose_j_m2": 9000, "judgement": "right"})
    bench.patch(f"/v1/recipes/{recipe}", {"stack": []}, version=1)
    with opened(database_url, bench.clock) as fresh:  # another worker, which knows only the records
        again = type(bench.caller)(fresh).request("GET", f"/v1/runs/{run['id']}").json()
    assert again["target_j_m2"] == run["target_j_m2"]
    assert again["basis"]["stack"] == RECIPE["stack"]


@pytest.mark.parametrize("kinds", [("sqlite", "postgresql"), ("postgresql", "sqlite")])
def test_export_and_import_into_a_fresh_database_give_identical_answers(kinds, tmp_path, caller):
    with (
        empty_database(kinds[0], tmp_path / "one") as here,
        empty_database(kinds[1], tmp_path / "two") as there,
        ExitStack() as closing,
    ):
        clock = [NOON]
        apps = [closing.enter_context(opened(url, clock)) for url in (here, there)]
        bench, copy = (Bench(type(caller)(app), clock) for app in apps)
        recipe = bench.recipe(prior={"median_j_m2": 18000, "spread_stops": 0.8, "source": "an older box"})
        _, strip = strip_in_the_sun(bench, recipe)
        run = strip["evidence"]["run_id"]
        for number, (dose, judgement) in enumerate(
            [(21000, "right"), (60000, "too dark"), (9000, "too pale")]
        ):
            bench.post(
                "/v1/prints",
                {
                    "name": f"print {number}",
                    "recipe": recipe,
                    "dose_j_m2": dose,
                    "judgement": judgement,
                    "coat_age_h": 5.5,
                },
            )
        last = bench.get("/v1/prints")["prints"][0]
        bench.patch(f"/v1/prints/{last['id']}", {"judgement": "a little pale"}, version=1)
        bench.post("/v1/saved-places", {"name": "print room", **YARD})
        bench.post("/v1/spots", {"name": "bench", "spot": {"kind": "open"}, "place": "print room"})
        bench.patch(f"/v1/recipes/{recipe}", {"notes": "second box"}, version=1)
        bench.patch(f"/v1/prints/{last['id']}", {"film": "films/kelp.pdf"}, version=2)
        bench.post("/v1/lamps", LAMP)
        bench.post("/v1/film-printers", FILM_PRINTER)
        bench.post("/v1/sessions", SESSION | {"name": "kelp day"})
        document = bench.caller.request("GET", "/v1/export").text
        counts = copy.post("/v1/import", bench.caller.request("GET", "/v1/export").json(), 200)
        assert counts["prints"] == {"added": 3, "extended": 0, "unchanged": 0}
        assert copy.caller.request("GET", "/v1/export").text == document
        again = copy.post("/v1/import", bench.caller.request("GET", "/v1/export").json(), 200)
        assert again["summary"].startswith("0 records added, 0 carried on")
        for path in (
            f"/v1/recipes/{recipe}",
            f"/v1/recipes/{recipe}/versions",
            f"/v1/recipes/{recipe}/target?curves=true",
            f"/v1/recipes/{recipe}/target/picture",
            f"/v1/recipes/{recipe}/evidence",
            "/v1/prints",
            "/v1/prints/table",
            f"/v1/prints/{last['id']}/versions",
            "/v1/spots",
            "/v1/saved-places",
            f"/v1/runs/{run}",
            f"/v1/runs/{run}/events",
            "/v1/exposure?saved_spot=bench&recipe=kelp%20on%20cotton",
            "/v1/lamps",
            "/v1/film-printers",
            "/v1/sessions",
            f"/v1/exposure?lamp={quote(LAMP['name'])}&recipe={recipe}&time_zone=Europe/Lisbon",
            f"/v1/negative/tone?recipe={recipe}&film_printer={quote(FILM_PRINTER['name'])}",
        ):
            one, two = bench.caller.request("GET", path), copy.caller.request("GET", path)
            assert one.status_code == two.status_code == 200, one.text
            assert one.text == two.text, path


def test_an_import_that_is_no_export_or_differs_changes_nothing(bench):
    recipe = bench.recipe()
    document = bench.caller.request("GET", "/v1/export").json()
    assert bench.post("/v1/import", {"format": "something else"}, 422)
    assert bench.caller.request("POST", "/v1/import", content=b"{}").status_code == 415
    document["recipes"][0]["versions"][0]["fields"]["notes"] = "not what was saved"
    assert bench.post("/v1/import", document, 409)
    assert bench.get(f"/v1/recipes/{recipe}")["notes"] == ""


GOOD = {"kind": "print", "dose_j_m2": 20000, "judgement": "right"}
LADDER = {"first_j_m2": 6000, "step_stops": 0.5, "strip_count": 9}


@pytest.mark.parametrize(
    ("told", "field"),
    [
        ({"kind": "photo"}, "kind"),
        ({**GOOD, "judgement": "nice"}, "judgement"),
        ({**GOOD, "judgement_stops": 1}, "judgement_stops"),
        ({"kind": "print", "dose_j_m2": 20000}, "judgement"),
        ({"kind": "print", "judgement": "right"}, "dose_j_m2"),
        ({**GOOD, "dose_j_m2": 0}, "dose_j_m2"),
        ({**GOOD, "first_full": 3}, "first_full"),
        ({**GOOD, "run_id": NOBODY, "dose_j_m2": None}, "run_id"),
        ({**GOOD, "recipe_version": 2}, "recipe_version"),
        ({**GOOD, "relative_humidity_percent": 101}, "relative_humidity_percent"),
        ({"kind": "strip", "first_full": 3}, "ladder"),
        ({"kind": "strip", "ladder": LADDER}, "first_full"),
        ({"kind": "strip", "ladder": LADDER, "first_full": 10}, "first_full"),
        ({"kind": "strip", "ladder": LADDER, "first_full": "none", "first_toned": 10}, "first_toned"),
        ({"kind": "strip", "ladder": LADDER, "first_full": 2, "first_toned": 3}, "first_toned"),
        ({"kind": "strip", "doses_j_m2": [100, 50], "first_full": 1}, "doses_j_m2"),
        ({"kind": "strip", "ladder": LADDER, "doses_j_m2": [1, 2], "first_full": 1}, "doses_j_m2"),
        ({"kind": "strip", "covered_at": ["2026-06-21T12:00:00Z"] * 2, "first_full": 1}, "covered_at"),
        ({"kind": "wedge", "dose_j_m2": 90000, "last_full": 22}, "last_full"),
        ({"kind": "wedge", "dose_j_m2": 90000, "judgement": "right"}, "judgement"),
    ],
)
def test_evidence_that_makes_no_sense_is_refused_by_name(one_bench, told, field):
    recipe = one_bench.recipe()
    fields = one_bench.post(f"/v1/recipes/{recipe}/evidence", told, 422)
    assert {name.split(".")[0] for name in fields} == {field}
    assert one_bench.get(f"/v1/recipes/{recipe}/evidence")["evidence"] == []


def test_a_wedge_and_blank_strips_are_read(one_bench):
    recipe = one_bench.recipe()
    path = f"/v1/recipes/{recipe}/evidence"
    wedge = one_bench.post(path, {"kind": "wedge", "dose_j_m2": 90000, "last_full": 9, "last_toned": 17})
    # full density under step 9 and not under step 10: above 90 000 x 10**-(0.10 + 9 x 0.15), at most the
    # same with 8 x 0.15 (steps of 0.15 over a base of 0.10)
    assert wedge["evidence"]["low_j_m2"] == pytest.approx(90000 * 10 ** -(0.10 + 9 * 0.15))
    assert wedge["evidence"]["high_j_m2"] == pytest.approx(90000 * 10 ** -(0.10 + 8 * 0.15))
    pale = one_bench.post(path, {"kind": "strip", "ladder": LADDER, "first_full": "none"})
    assert pale["evidence"]["low_j_m2"] == pytest.approx(96000)
    assert pale["evidence"]["high_j_m2"] is None


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "name"),
        ({"name": " "}, "name"),
        ({"name": "x" * 201}, "name"),
        ({"name": "x\u0000"}, "name"),
        ({"name": "x", "sensitizer": "silver"}, "sensitizer"),
        ({"name": "x", "stack": ["glass"]}, "stack"),
        ({"name": "x", "stack": ["none", "float-glass-4mm"]}, "stack"),
        ({"name": "x", "stack": "float-glass-4mm"}, "stack"),
        ({"name": "x", "prior": {"median_j_m2": 0, "spread_stops": 1}}, "prior.median_j_m2"),
        ({"name": "x", "colour": "blue"}, "colour"),
    ],
)
def test_a_recipe_that_makes_no_sense_is_refused_by_name(one_bench, body, field):
    assert one_bench.post("/v1/recipes", body, 422) == [field]


@pytest.mark.parametrize("path", ["recipes", "spots", "saved-places", "prints"])
def test_what_is_not_there_is_not_found(one_bench, path):
    for tail in ("", "/versions"):
        assert one_bench.get(f"/v1/{path}/{NOBODY}{tail}", 404)
    assert one_bench.patch(f"/v1/{path}/{NOBODY}", {"name": "x"}, version=1, status=404)
    assert one_bench.ask("POST", f"/v1/{path}/{NOBODY}/retire", None, 404, If_Match='"1"')
    assert one_bench.get(f"/v1/{path}/not-an-id", 422)


def test_one_print_of_a_run_is_not_judged_twice(one_bench):
    recipe = one_bench.recipe()
    run = one_bench.post("/v1/runs", {**YARD, "recipe": recipe})["id"]
    one_bench.clock[0] += 600
    one_bench.post(f"/v1/runs/{run}/events", {"kind": "finished"})
    path = f"/v1/recipes/{recipe}/evidence"
    told = {"kind": "print", "run_id": run, "judgement": "right"}
    first = one_bench.post(path, told)["evidence"]["id"]
    printed = {"name": "kelp", "run_id": run, "judgement": "right"}
    assert one_bench.post(path, told, 422) == ["run_id"]
    assert one_bench.post("/v1/prints", printed, 422) == ["judgement"]
    one_bench.post(f"{path}/{first}/withdraw", {"reason": "it goes into the log"}, 200)
    one_bench.post("/v1/prints", printed)
    one_bench.post("/v1/prints", printed)  # two sheets in one frame
    assert one_bench.post(path, told, 422) == ["run_id"]
    assert one_bench.get(f"/v1/recipes/{recipe}/target")["prints"] == 2


def test_the_future_is_not_told_of(one_bench):
    recipe = one_bench.recipe()
    tomorrow = {"made_at": "2026-06-22T12:00:00Z"}
    assert one_bench.post(f"/v1/recipes/{recipe}/evidence", GOOD | tomorrow, 422) == ["made_at"]
    body = {"name": "kelp", "recipe": recipe}
    assert one_bench.post("/v1/prints", body | tomorrow, 422) == ["made_at"]
    logged = one_bench.post("/v1/prints", body)
    assert one_bench.patch(f"/v1/prints/{logged['id']}", tomorrow, version=1, status=422) == ["made_at"]


@pytest.mark.parametrize(
    ("path", "body", "field"),
    [
        ("/v1/saved-places", {"name": "x", "latitude_deg": 41.15, "longitude_deg": -8.61}, "elevation_m"),
        ("/v1/saved-places", {"name": "x", "saved_place": "y"}, "saved_place"),
        ("/v1/saved-places", {"name": "x", "place": "Nowhereburg-on-Sea"}, "place"),
        ("/v1/spots", {"name": "x", "place": "quayside-yard"}, "spot"),
        ("/v1/spots", {"name": "x", "spot": {"kind": "open"}}, "latitude_deg"),
        ("/v1/spots", {"name": "x", "spot": {"kind": "open"}, "place": "Nowhereburg-on-Sea"}, "place"),
        ("/v1/spots", {"name": "x", "spot": {"kind": "tent"}, "place": "quayside-yard"}, "spot"),
        ("/v1/prints", {"name": "x"}, "recipe"),
        ("/v1/prints", {"name": "x", "recipe": "kelp on cotton", "tags": ["a", "A"]}, "tags.1"),
        (
            "/v1/prints",
            {"name": "x", "recipe": "kelp on cotton", "dose_spread_stops": 1},
            "dose_spread_stops",
        ),
        ("/v1/prints", {"recipe": "kelp on cotton"}, "name"),
    ],
)
def test_what_cannot_be_saved_is_refused_by_name(one_bench, path, body, field):
    one_bench.recipe()
    assert one_bench.post(path, body, 422) == [field]


def test_a_spot_from_elsewhere_that_cannot_be_read_does_not_take_the_list_with_it(one_bench):
    one_bench.post("/v1/spots", {"name": "bench", "spot": {"kind": "open"}, "place": "quayside-yard"})
    document = one_bench.get("/v1/export")
    spot = document["spots"][0]
    spot["id"], spot["versions"][0]["fields"]["name"] = NOBODY, "a tent"
    spot["versions"][0]["fields"]["spot"] = {"kind": "tent"}
    one_bench.post("/v1/import", document, 200)
    says = {each["name"]: each["says"] for each in one_bench.get("/v1/spots")["spots"]}
    assert says == {"bench": "open ground, level", "a tent": "a spot that cannot be read"}
    assert one_bench.get("/v1/exposure?saved_spot=a%20tent", 422) == ["saved_spot"]


def test_a_name_cannot_be_taken_away(one_bench):
    recipe = one_bench.recipe()
    for name in ("name", "sensitizer"):
        assert one_bench.patch(f"/v1/recipes/{recipe}", {name: None}, version=1, status=422) == [name]
    emptied = one_bench.patch(f"/v1/recipes/{recipe}", {"paper": None, "stack": None}, version=1)
    assert (emptied["paper"], emptied["stack"]) == ("", [])
    same = one_bench.patch(f"/v1/recipes/{recipe}", {"paper": ""}, version=2)
    assert same["version"] == 2  # nothing new is no version


def test_the_target_under_conditions_is_told_once_they_have_been_recorded_often(one_bench):
    recipe = one_bench.recipe()
    for number in range(12):
        humid = 30.0 + 4.0 * number
        told = {**GOOD, "dose_j_m2": 26000 * 2 ** (-(humid - 52) / 40), "relative_humidity_percent": humid}
        one_bench.post(f"/v1/recipes/{recipe}/evidence", told)
    path = f"/v1/recipes/{recipe}/target"
    dry, moist = (one_bench.get(f"{path}?relative_humidity_percent={percent}") for percent in (30, 70))
    assert dry["target_j_m2"] > 1.2 * moist["target_j_m2"]
    assert [term["condition"] for term in dry["terms"]] == ["relative_humidity_percent"]
    assert "under these conditions" in dry["summary"]


def test_the_picture_says_what_it_shows(one_bench):
    recipe = one_bench.recipe()
    path = f"/v1/recipes/{recipe}/target/picture"
    assert "no exposure yet" in one_bench.caller.request("GET", path).text
    one_bench.post(f"/v1/recipes/{recipe}/evidence", GOOD)
    response = one_bench.caller.request("GET", path)
    assert response.headers["content-type"] == "image/svg+xml"
    assert "<title>Target of kelp on cotton</title>" in response.text
    assert "From 1 print: " in response.text
    assert (
        "&lt;"
        in one_bench.caller.request(
            "GET", f"/v1/recipes/{one_bench.recipe(name='<script>')}/target/picture"
        ).text
    )
