"""Who is let in, and for what."""

import itertools
import re

import pytest
from access_rig import RUN, Clock, Installation, ask, kind_of

from noonframe.api.access import PUBLIC, TABLE, Rules, Scope, routes_of, scope_of
from noonframe.api.app import create_app
from noonframe.settings import Settings


@pytest.fixture
def place(tmp_path):
    made = Installation(tmp_path / "records")
    yield made
    made.close()


@pytest.fixture(scope="module")
def routes(tmp_path_factory):
    return set(routes_of(create_app(Settings(state_dir=tmp_path_factory.mktemp("none"))).routes))


def test_every_route_that_is_not_plain_reading_is_in_the_table(routes):
    unsafe = {route for route in routes if route[0] != "GET"}
    assert unsafe - TABLE.keys() == set()


def test_the_table_names_no_route_that_there_is_not(routes):
    assert TABLE.keys() - routes == set()
    assert {("GET", path) for path in PUBLIC} - routes == set()


def test_a_route_that_nobody_thought_of_asks_for_the_most():
    assert scope_of("POST", "/v1/anything") is Scope.MANAGE
    assert scope_of("DELETE", "/v1/prints/{print_id}") is Scope.MANAGE
    assert scope_of("GET", "/v1/anything") is Scope.READ
    assert scope_of("POST", "/healthz") is Scope.MANAGE  # public is for looking only


def test_each_operation_of_the_document_names_its_scope(place):
    document = ask(place.app, "GET", "/openapi.json").json()
    assert document["components"]["securitySchemes"]["key"]["scheme"] == "bearer"
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            scope = scope_of(method.upper(), path)
            expected = [] if scope is Scope.NOTHING else [{"key": [scope.word]}, {}]
            assert operation["security"] == expected, (method, path)
            assert {"401", "403", "421", "429"} <= operation["responses"].keys()


@pytest.mark.parametrize(
    ("method", "path", "template", "record"),
    [
        ("GET", "/v1/exposure", "/v1/exposure", None),
        ("HEAD", "/v1/exposure", "/v1/exposure", None),
        ("GET", "/v1/runs/abc", "/v1/runs/{run_id}", "abc"),
        ("POST", "/v1/runs/abc/events", "/v1/runs/{run_id}/events", "abc"),
        ("GET", "/v1/prints/table", "/v1/prints/table", None),
        ("POST", "/v1/prints/table/retire", "/v1/prints/{print_id}/retire", "table"),
        (
            "POST",
            "/v1/recipes/a/evidence/b/withdraw",
            "/v1/recipes/{recipe_id}/evidence/{evidence_id}/withdraw",
            "b",
        ),
        ("GET", "/v1/calendars/xyz.ics", "/v1/calendars/{token}.ics", "xyz.ics"),
        ("GET", "/page/0123/js/app.js", "/page/{version}/{path:path}", "0123"),
        ("GET", "/v1/runs/", "(no such address)", None),
        ("GET", "/v1/runs//events", "(no such address)", None),
        ("DELETE", "/v1/runs/abc", "(no such address)", None),
        ("GET", "", "(no such address)", None),
    ],
)
def test_an_address_is_known_before_its_route_runs(place, method, path, template, record):
    rule, found = Rules(place.app.routes).find(method, path)
    assert (rule.template, found) == (template, record)


def test_on_loopback_without_any_key_everything_is_open_but_the_keys(place):
    assert place.ask(None, "POST", "/v1/runs", json=RUN).status_code == 201
    assert place.ask(None, "GET", "/v1/access").json()["keys_asked_for"] is False
    for method, path, how in (
        ("POST", "/v1/keys", {"json": {"name": "mine"}}),
        ("GET", "/v1/keys", {}),
        ("POST", "/v1/studios", {"json": {"name": "mine"}}),
        ("GET", "/v1/studios", {}),
    ):
        refused = place.ask(None, method, path, **how)
        assert (refused.status_code, kind_of(refused)) == (403, "scope")


def test_once_a_key_was_made_it_is_asked_for_even_after_it_was_revoked(place):
    assert place.ask(None, "GET", "/v1/materials").status_code == 200
    key = place.key()
    refused = place.ask(None, "GET", "/v1/materials")
    assert (refused.status_code, kind_of(refused)) == (401, "key-needed")
    assert refused.headers["WWW-Authenticate"] == 'Bearer realm="noonframe"'
    assert place.ask(key, "GET", "/v1/materials").status_code == 200
    place.ask(key, "POST", f"/v1/keys/{key[3:13]}/revoke")
    assert place.ask(key, "GET", "/v1/materials").status_code == 401
    assert place.ask(None, "GET", "/v1/materials").status_code == 401


def test_another_app_learns_within_its_second_that_a_key_was_made(place, monkeypatch):
    assert place.ask(None, "GET", "/v1/materials").status_code == 200
    made = place.by_owner("POST", "/v1/keys", json={"name": "phone"})  # the served app is not told
    assert made.status_code == 201
    monkeypatch.setattr("noonframe.api.door.time.monotonic", ahead(2.0))
    assert place.ask(None, "GET", "/v1/materials").status_code == 401


def ahead(seconds):
    """A monotonic clock that is so far ahead."""
    import time

    real = time.monotonic
    return lambda: real() + seconds


@pytest.mark.parametrize(
    "path", sorted(PUBLIC - {"/page/{version}/{path:path}", "/v1/calendars/{token}.ics"})
)
def test_public_addresses_need_no_key(place, path):
    place.key()
    assert place.ask(None, "GET", path).status_code in (200, 404)  # 404 where no page came along


def test_every_other_address_is_shut_without_a_key(place, routes):
    place.key()
    for method, template in sorted(routes):
        if method == "GET" and template in PUBLIC:
            continue
        path = re.sub(r"\{[^}]*\}", "00000000-0000-0000-0000-000000000001", template)
        refused = place.ask(None, method, path, content=b"x" * 100_000)  # nothing of a body is read
        assert (refused.status_code, kind_of(refused)) == (401, "key-needed"), (method, template)
    unknown = place.ask(None, "GET", "/v1/nowhere")
    assert unknown.status_code == 401


@pytest.mark.parametrize("scope", ["read", "run", "manage"])
def test_every_route_is_shut_to_a_scope_below_its_own_and_open_to_the_rest(place, routes, scope):
    key, mine = place.key(scope), Scope[scope.upper()]
    place.app.state.metrics.count("x", "GET", 200, 0.1)
    for method, template in sorted(routes):
        path = re.sub(r"\{[^}]*\}", "00000000-0000-0000-0000-000000000001", template)
        response = place.ask(key, method, path, headers={"Content-Type": "application/json"}, content=b"{")
        if mine < scope_of(method, template):
            assert (response.status_code, kind_of(response)) == (403, "scope"), (method, template)
            problem = response.json()
            assert problem["errors"][0]["field"] == "scope"
            assert problem["errors"][0]["value"] == scope
            assert 'error="insufficient_scope"' in response.headers["WWW-Authenticate"]
        else:
            assert response.status_code not in (401, 403), (method, template, response.text)
        if response.status_code == 429:
            pytest.fail("the test itself asks too often")


@pytest.mark.parametrize(
    "sent",
    [
        "Bearer nf_aaaaaaaaaa_" + "A" * 43,
        "Bearer nonsense",
        "Bearer ",
        "Bearer",
        "",
        "Basic bmY6bmY=",
        "Bearer nf_aaaaaaaaaa_" + "A" * 43 + " more",
        "Bearer " + "x" * 5000,
        "Bearer \u00fc",
    ],
)
def test_what_is_no_key_opens_nothing_even_where_none_is_asked_for(place, sent):
    refused = place.ask(None, "GET", "/v1/materials", headers={"Authorization": sent.encode("latin-1")})
    assert (refused.status_code, kind_of(refused)) == (401, "key-refused")
    assert 'error="invalid_token"' in refused.headers["WWW-Authenticate"]


def test_a_key_that_differs_in_its_last_letter_opens_nothing(place):
    key = place.key()
    wrong = key[:-1] + ("A" if key[-1] != "A" else "B")
    assert place.ask(wrong, "GET", "/v1/materials").status_code == 401


def test_a_key_in_a_query_is_no_key(place):
    key = place.key()
    assert place.ask(None, "GET", f"/v1/materials?key={key}").status_code == 401
    assert place.ask(None, "GET", f"/v1/materials?ticket={key}").status_code == 401
    assert place.ask(key, "GET", f"/v1/materials?ticket={key}").status_code == 422


def test_a_key_ends_when_it_was_said_to(tmp_path):
    clock = Clock()
    place = Installation(tmp_path, clock)
    now = {"name": "phone", "expires": "2026-06-21T14:00:00+01:00"}  # summer time in Porto: 13:00 UTC
    assert place.by_owner("POST", "/v1/keys", json=now).status_code == 422  # it would open nothing
    key = place.key("read", expires="2026-06-21T14:00:01+01:00")
    assert place.ask(key, "GET", "/v1/access").json()["expires"] == "2026-06-21T13:00:01Z"
    clock.now_s += 1.0  # believed from a moment ago, and over all the same
    assert place.ask(key, "GET", "/v1/materials").status_code == 401
    place.close()


def test_a_revocation_reaches_another_worker_once_its_belief_is_over(place, monkeypatch):
    key, other = place.key(), None
    other = place.another_worker()
    assert ask(other, "GET", "/v1/materials", key=key).status_code == 200
    assert place.ask(key, "POST", f"/v1/keys/{key[3:13]}/revoke").status_code == 200
    assert ask(other, "GET", "/v1/materials", key=key).status_code == 200
    monkeypatch.setattr("noonframe.api.door.time.monotonic", ahead(6.0))
    assert ask(other, "GET", "/v1/materials", key=key).status_code == 401
    other.state.records.close()


def test_a_key_made_with_a_pepper_needs_it_and_one_without_stays_good(tmp_path):
    bare = Installation(tmp_path)
    old = bare.key("read")
    salted = Installation(tmp_path, key_pepper="sixteen letters or more")
    new = salted.key("read")
    assert salted.ask(new, "GET", "/v1/materials").status_code == 200
    assert salted.ask(old, "GET", "/v1/materials").status_code == 200
    assert bare.ask(new, "GET", "/v1/materials").status_code == 401
    other = Installation(tmp_path, key_pepper="sixteen other letters")
    assert other.ask(new, "GET", "/v1/materials").status_code == 401
    for one in (bare, salted, other):
        one.close()


def test_elsewhere_than_on_loopback_a_key_is_asked_for_from_the_start(tmp_path):
    for settings, status in (
        ({"host": "0.0.0.0"}, 401),
        ({"access": "always"}, 401),
        ({"host": "0.0.0.0", "access": "open"}, 200),
    ):
        app = create_app(Settings(state_dir=tmp_path, **settings))
        assert ask(app, "GET", "/v1/materials").status_code == status
        app.state.records.close()


def test_open_to_all_still_knows_whose_key_it_is_sent(tmp_path):
    place = Installation(tmp_path, access="open")
    place.studio("evening-class")
    key = place.key("read", "evening-class")
    assert place.ask(key, "GET", "/v1/access").json()["studio"] == "evening-class"
    assert place.ask(None, "GET", "/v1/access").json() == {
        "studio": "house",
        "scope": "manage",
        "key_id": None,
        "key_name": None,
        "expires": None,
        "keys_asked_for": False,
    }
    assert place.ask(None, "POST", "/v1/keys", json={"name": "mine"}).status_code == 403
    place.close()


def test_guessing_is_slowed_down_and_those_who_are_known_are_not(place):
    key = place.key()
    assert place.ask(key, "GET", "/v1/materials").status_code == 200
    tries = [place.ask(f"nf_{'a' * 10}_{n:043d}", "GET", "/v1/materials") for n in range(40)]
    statuses = [one.status_code for one in tries]
    assert statuses == [401] * 30 + [429] * 10
    assert int(tries[-1].headers["Retry-After"]) > 0
    assert tries[-1].json()["violated-policies"] == ["keys-refused"]
    assert place.ask(key, "GET", "/v1/materials").status_code == 200


def test_records_that_cannot_be_read_let_questions_through_and_nothing_else(tmp_path):
    (tmp_path / "noonframe.db").mkdir()  # a folder where the file should be
    place = create_app(Settings(state_dir=tmp_path))
    fields = {"place": "quayside-yard", "start": "2026-06-21T12:00:00Z"}
    assert ask(place, "GET", "/v1/exposure", params=fields).status_code == 200
    assert ask(place, "GET", "/v1/runs").status_code == 503
    assert ask(place, "POST", "/v1/runs", json=RUN).status_code == 503
    refused = ask(place, "GET", "/v1/exposure", params=fields, key="nf_aaaaaaaaaa_" + "A" * 43)
    assert (refused.status_code, kind_of(refused)) == (503, "records-away")


def test_keys_are_looked_up_by_their_hash_alone(place):
    from sqlalchemy import select

    from noonframe.store.tables import API_KEYS

    key = place.key()
    with place.owner.state.records.house().read() as db:
        row = db.execute(select(API_KEYS)).one()
    secret = key.rpartition("_")[2] if key.count("_") == 2 else key[14:]
    assert not any(secret in str(value) for value in row)
    assert len(row.hash) == 64


def test_keys_are_all_different_and_of_the_stated_form(place):
    keys = [place.key("read") for _ in range(20)]
    assert all(re.fullmatch(r"nf_[a-z2-7]{10}_[A-Za-z0-9_-]{43}", key) for key in keys)
    assert len({key[14:] for key in keys}) == len({key[3:13] for key in keys}) == 20


def test_the_day_of_the_last_use_is_kept_and_no_more(place):
    key = place.key("read")
    before = place.by_owner("GET", "/v1/keys").json()["keys"][0]
    assert before["last_used_day"] is None
    place.ask(key, "GET", "/v1/materials")
    after = place.by_owner("GET", "/v1/keys").json()["keys"][0]
    assert after["last_used_day"] == "2026-06-21"
    assert "key" not in after


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "name"),
        ({"name": ""}, "name"),
        ({"name": "x" * 300}, "name"),
        ({"name": "x", "scope": "all"}, "scope"),
        ({"name": "x", "studio": "nowhere"}, "studio"),
        ({"name": "x", "expires": "2020-01-01T00:00:00Z"}, "expires"),
        ({"name": "x", "expires": "2030-01-01T00:00:00"}, "expires"),
        ({"name": "x", "owner": "me"}, "owner"),
    ],
)
def test_a_bad_wish_for_a_key_names_its_field(place, body, field):
    refused = place.by_owner("POST", "/v1/keys", json=body)
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["field"] == field


@pytest.mark.parametrize("name", ["House", "a", "-a", "a-", "a b", "../x", "a" * 41, "é", "a_b", "1a", "a.b"])
def test_the_name_of_a_studio_must_do_for_a_file(place, name):
    refused = place.by_owner("POST", "/v1/studios", json={"name": name})
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["field"] == "name"


def test_a_studio_is_made_once_and_none_is_called_house(place):
    place.studio("evening-class")
    for name in ("evening-class", "house"):
        assert place.by_owner("POST", "/v1/studios", json={"name": name}).status_code == 409


def test_a_studios_manager_has_power_over_its_own_keys_alone(place):
    place.studio("evening-class")
    place.studio("weekend")
    manager = place.key("manage", "evening-class")
    house, other = place.key("manage"), place.key("read", "weekend")
    made = place.ask(manager, "POST", "/v1/keys", json={"name": "pupil", "scope": "run"})
    assert made.json()["studio"] == "evening-class"
    listed = place.ask(manager, "GET", "/v1/keys").json()["keys"]
    assert {key["studio"] for key in listed} == {"evening-class"}
    assert len(place.ask(house, "GET", "/v1/keys").json()["keys"]) == 4
    for foreign in ("house", "weekend", "nowhere"):
        refused = place.ask(manager, "POST", "/v1/keys", json={"name": "x", "studio": foreign})
        assert refused.status_code == 422
        assert place.ask(manager, "GET", "/v1/keys", params={"studio": foreign}).status_code == 422
    for foreign in (house, other):
        assert place.ask(manager, "POST", f"/v1/keys/{foreign[3:13]}/revoke").status_code == 404
    assert place.ask(manager, "POST", "/v1/keys/nobody/revoke").status_code == 404
    for method, how in (("GET", {}), ("POST", {"json": {"name": "third"}})):
        assert place.ask(manager, method, "/v1/studios", **how).status_code == 403
    assert place.ask(manager, "GET", "/metrics").status_code == 403


def test_scopes_are_steps():
    assert [one.word for one in sorted(Scope)] == ["nothing", "read", "run", "manage"]
    for low, high in itertools.pairwise(sorted(Scope)):
        assert low < high
    assert Scope.RUN.or_more == "run or manage"
