"""Two studios in one installation: neither ever sees what is the other's, by any route."""

import asyncio
import re
import uuid

import pytest
from access_rig import NOON_S, RUN, Installation, ask
from bench_records import fill_bench
from databases import KINDS, empty_database
from shelf_records import fill_shelves
from sqlalchemy import select

from noonframe.api.access import routes_of
from noonframe.api.streams import Watcher
from noonframe.store import exposures, tables
from noonframe.store.actors import Studio, current_studio

OF_PARAMETER = {
    "recipe_id": tables.RECIPES,
    "spot_id": tables.SPOTS,
    "place_id": tables.PLACES,
    "print_id": tables.PRINTS,
    "evidence_id": tables.EVIDENCE,
    "lamp_id": tables.LAMPS,
    "film_printer_id": tables.FILM_PRINTERS,
    "session_id": tables.SESSIONS,
    "session": tables.SESSIONS,
    "feed_id": tables.FEEDS,
    "run_id": tables.EXPOSURES,
}
NOT_RECORDS = {"version", "path:path", "token", "key_id"}


class Pair:
    """The studios `dyeing` and `sunday`; all there can be is in the first one's records."""

    def __init__(self, place):
        self.place = place
        self.studios = {}
        self.keys = {}
        for name in ("dyeing", "sunday"):
            place.studio(name)
            self.keys[name] = place.key("manage", name)
            self.studios[name] = studio_of(place, name)
        self.store = place.app.state.records.of(self.studios["dyeing"])
        self.run = self.ask("dyeing", "POST", "/v1/runs", json=RUN).json()["id"]
        fill_bench(self.store)
        fill_shelves(self.store)

    def ask(self, name, method, path, **how):
        return self.place.ask(self.keys[name], method, path, **how)

    def id_of(self, parameter):
        with self.store.read() as db:
            table = OF_PARAMETER[parameter]
            return str(db.execute(select(table.c.id)).scalars().first())


def studio_of(place, name):
    from noonframe.store import studios

    with place.owner.state.records.house().read() as db:
        return studios.get(db, name)


@pytest.fixture(params=KINDS)
def pair(request, tmp_path):
    with empty_database(request.param, tmp_path) as url:
        place = Installation(tmp_path / "state", database_url=url)
        made = Pair(place)
        yield made
        place.close()
        if request.param == "postgresql":
            drop_schemas(url, made.studios.values())


def drop_schemas(url, studios):
    import psycopg

    with psycopg.connect(url, autocommit=True) as connection:
        for studio in studios:
            connection.execute(f'DROP SCHEMA "noonframe_{studio.id.hex}" CASCADE'.encode())


def test_every_record_of_one_studio_is_nowhere_for_another_by_every_route(pair):
    document = ask(pair.place.app, "GET", "/openapi.json").json()
    tried = 0
    for path, operations in document["paths"].items():
        parameters = [name for name in re.findall(r"\{([^}]*)\}", path) if name not in NOT_RECORDS]
        for method, operation in operations.items():
            if not parameters:
                continue
            address = path
            for name in parameters:
                address = address.replace(f"{{{name}}}", pair.id_of(name))
            how = {"headers": {"If-Match": '"1"'}}
            body = operation.get("requestBody", {}).get("content", {}).get("application/json")
            if body is not None:
                how["json"] = body["example"]
            foreign = pair.ask("sunday", method.upper(), address, **how)
            assert foreign.status_code == 404, (method, path, foreign.text)
            if method == "get" and not path.endswith("/stream"):
                own = pair.ask("dyeing", "GET", address)
                assert own.status_code != 404, (path, own.text)
            tried += 1
    known = {
        name for _, path in routes_of(pair.place.app.routes) for name in re.findall(r"\{([^}]*)\}", path)
    }
    assert known <= OF_PARAMETER.keys() | NOT_RECORDS, "a route with a record that this test does not know"
    assert tried > 40


def test_every_list_of_another_studio_is_empty(pair):
    document = ask(pair.place.app, "GET", "/openapi.json").json()
    assert OF_LISTS.keys() <= document["paths"].keys()
    for path, name in OF_LISTS.items():
        assert pair.ask("sunday", "GET", path).json()[name] == [], path
        # what only the store could be given may not be shown, but then that is said
        assert pair.ask("dyeing", "GET", path).json().get(name) != [], path


OF_LISTS = {
    "/v1/runs": "runs",
    "/v1/recipes": "recipes",
    "/v1/prints": "prints",
    "/v1/spots": "spots",
    "/v1/saved-places": "places",
    "/v1/lamps": "lamps",
    "/v1/film-printers": "film_printers",
    "/v1/sessions": "sessions",
    "/v1/feeds": "feeds",
}


def test_a_whole_copy_holds_the_own_records_alone(pair):
    mine = pair.ask("dyeing", "GET", "/v1/export").text
    theirs = pair.ask("sunday", "GET", "/v1/export").text
    assert pair.id_of("recipe_id") in mine
    assert pair.id_of("recipe_id") not in theirs
    assert pair.ask("sunday", "GET", "/v1/prints/table").text.count("\n") <= 1


def test_names_belong_to_their_studio(pair):
    body = {"name": "yard bench", "place": "quayside-yard", "spot": {"kind": "open"}}
    for name in ("dyeing", "sunday"):
        assert pair.ask(name, "POST", "/v1/spots", json=body).status_code == 201
    made = pair.ask("sunday", "POST", "/v1/spots", json={**body, "name": "east window"})
    assert made.status_code == 201
    fields = {"saved_spot": "east window", "start": "2026-06-21T12:00:00Z"}
    assert pair.ask("sunday", "GET", "/v1/exposure", params=fields).status_code == 200
    foreign = pair.ask("dyeing", "GET", "/v1/exposure", params=fields)
    assert (foreign.status_code, foreign.json()["errors"][0]["field"]) == (422, "saved_spot")
    assert "east window" not in str(foreign.json()["detail"]).partition("did you mean")[2]


def test_the_same_id_in_two_studios_is_two_exposures(pair):
    with pair.store.read() as db:
        row = exposures.get(db, uuid.UUID(pair.run))
    other = pair.place.app.state.records.of(pair.studios["sunday"])
    with other.write() as db:
        exposures.create(
            db, exposure_id=row.id, created_s=NOON_S, name="tide table", scene=row.scene, target_j_m2=9000.0
        )
        exposures.append(
            db, row.id, event_id=uuid.uuid4(), kind="started", at_s=NOON_S, received_s=NOON_S, payload={}
        )
    assert pair.ask("dyeing", "GET", f"/v1/runs/{pair.run}").json()["name"] == "kelp fronds"
    assert pair.ask("sunday", "GET", f"/v1/runs/{pair.run}").json()["name"] == "tide table"
    told = pair.ask("sunday", "POST", f"/v1/runs/{pair.run}/events", json={"kind": "sky", "sky": "overcast"})
    assert told.status_code == 201, told.text
    assert len(pair.ask("dyeing", "GET", f"/v1/runs/{pair.run}/events").json()["events"]) == 1
    assert pair.ask("dyeing", "GET", f"/v1/runs/{pair.run}").json()["target_j_m2"] == RUN["target_j_m2"]


def test_a_repeated_request_is_known_to_its_own_studio_alone(pair):
    headers = {"Idempotency-Key": '"the-same"'}
    first = pair.ask("dyeing", "POST", "/v1/runs", json=RUN, headers=headers).json()["id"]
    other = pair.ask("sunday", "POST", "/v1/runs", json=RUN, headers=headers)
    assert other.status_code == 201
    assert other.json()["id"] != first
    assert "Idempotent-Replay" not in other.headers
    again = pair.ask("dyeing", "POST", "/v1/runs", json=RUN, headers=headers)
    assert (again.json()["id"], again.headers["Idempotent-Replay"]) == (first, "true")


def test_a_feed_leads_to_its_own_studio_without_a_key_and_says_nothing_of_it(pair):
    slots = {"place": "quayside-yard", "target_j_m2": 24000, "days": 1}
    made = {
        name: pair.ask(name, "POST", "/v1/feeds", json={"name": f"of {name}", "slots": slots}).json()
        for name in ("dyeing", "sunday")
    }
    for name, feed in made.items():
        assert not any(studio in feed["path"] for studio in pair.studios)
        read = pair.place.ask(None, "GET", feed["path"])
        assert read.status_code == 200, read.text
        assert f"of {name}" in read.text
        assert pair.place.ask(pair.keys["dyeing"], "GET", feed["path"]).status_code == 200
    foreign = pair.ask("sunday", "POST", f"/v1/feeds/{made['dyeing']['id']}/revoke")
    assert foreign.status_code == 404
    assert pair.ask("dyeing", "POST", f"/v1/feeds/{made['dyeing']['id']}/revoke").status_code == 200
    assert pair.place.ask(None, "GET", made["dyeing"]["path"]).status_code == 404
    assert pair.place.ask(None, "GET", f"/v1/calendars/{'A' * 43}.ics").status_code == 404


def test_changes_are_told_to_their_own_studio_alone(pair):
    mine = pair.ask("dyeing", "GET", "/v1/audit").json()["changes"]
    assert [(one["route"], one["record"]) for one in mine if one["route"] == "/v1/runs"] == [
        ("/v1/runs", pair.run)
    ]
    assert pair.ask("sunday", "GET", "/v1/audit").json()["changes"] == []
    assert not any(
        one["record"] == pair.run for one in pair.place.by_owner("GET", "/v1/audit").json()["changes"]
    )


def test_a_watcher_keeps_the_studios_apart():
    class Nothing:
        pass

    async def watched():
        watcher, run = Watcher(Nothing()), uuid.uuid4()  # type: ignore[arg-type]
        mine, theirs = Studio("dyeing", uuid.uuid4()), Studio("sunday", uuid.uuid4())
        watcher._task = asyncio.create_task(asyncio.sleep(60))
        for studio, version in ((mine, 3), (theirs, 8)):
            current_studio.set(studio)
            watcher.watch(run, version)
        found = []
        for studio in (mine, theirs):
            current_studio.set(studio)
            found.append(watcher.version(run))
            watcher.leave(run)
        await watcher.stop()
        return found, watcher.watched

    assert asyncio.run(watched()) == ([3, 8], 0)


def test_one_studio_may_be_closed_while_it_is_used_and_is_opened_again(tmp_path, monkeypatch):
    monkeypatch.setattr("noonframe.api.records.MOST_OPEN", 2)
    place = Installation(tmp_path)
    keys = []
    for name in ("one", "two", "three", "four"):
        place.studio(name)
        keys.append(place.key("run", name))
    for _ in range(2):
        for number, key in enumerate(keys):
            assert (
                place.ask(key, "POST", "/v1/runs", json={**RUN, "name": f"kelp {number}"}).status_code == 201
            )
            names = {run["name"] for run in place.ask(key, "GET", "/v1/runs").json()["runs"]}
            assert names == {f"kelp {number}"}
    assert place.app.state.records.studios_open == 2
    place.close()
