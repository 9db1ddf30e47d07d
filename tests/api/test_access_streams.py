"""Streams and tickets over a socket: who may open one, and what ends it."""

import contextlib
import json
import threading
import time

import httpx
import pytest
import uvicorn
from access_rig import RUN, Installation, kind_of

from noonframe.api import gate, streams


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.setattr(gate, "_CHECK_STREAM_S", 0.0)
    monkeypatch.setattr(streams, "POLL_S", 0.05)
    made = Installation(tmp_path / "records", time.time, most_streams=2)
    yield made
    made.close()


@contextlib.contextmanager
def served(app):
    """The address of the app on a socket."""
    config = uvicorn.Config(app, host="127.0.0.1", port=0, log_level="error", access_log=False, ws="none")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        while not server.started:
            time.sleep(0.01)
        port = server.servers[0].sockets[0].getsockname()[1]
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        app.state.watcher.stopping = True
        thread.join(timeout=30)


def client_of(address, key=None):
    headers = {} if key is None else {"Authorization": f"Bearer {key}"}
    return httpx.Client(base_url=address, headers=headers, timeout=30, trust_env=False)


def first_state(stream):
    lines = stream.extensions["kept"] = stream.iter_lines()  # dropped, it would close the stream
    for line in lines:
        if line.startswith("data: ") and "dose_j_m2" in line:  # events that were told come before it
            return json.loads(line[6:])
    raise AssertionError("the stream ended before it said anything")


def test_a_ticket_opens_one_stream_once_and_nothing_else(place):
    key = place.key("read")
    with served(place.app) as address, client_of(address) as anybody, client_of(address, key) as owner:
        run = place.by_owner("POST", "/v1/runs", json=RUN).json()["id"]
        path = f"/v1/runs/{run}/stream"
        assert anybody.get(path).status_code == 401
        ticket = owner.post("/v1/tickets", json={}).json()["ticket"]
        assert anybody.get(f"/v1/runs/{run}", params={"ticket": ticket}).status_code == 401
        with anybody.stream("GET", path, params={"ticket": ticket}) as stream:
            assert stream.status_code == 200
            assert first_state(stream)["id"] == run
        again = anybody.get(path, params={"ticket": ticket})
        assert (again.status_code, kind_of(again)) == (401, "key-refused")
        assert anybody.get(f"{path}?ticket=a&ticket=b").status_code == 401
        assert owner.get(f"{path}?ticket=a").status_code == 422  # with a key a ticket is an unknown field


def test_a_ticket_ends_after_a_minute_and_with_its_key(tmp_path):
    from access_rig import Clock

    clock = Clock()
    place = Installation(tmp_path, clock)
    key = place.key("run")
    run = place.ask(key, "POST", "/v1/runs", json=RUN).json()["id"]
    path = f"/v1/runs/{run}/stream"
    made = place.ask(key, "POST", "/v1/tickets", json={}).json()
    assert made["expires"] == "2026-06-21T13:01:00Z"
    clock.now_s += 60.0
    assert place.ask(None, "GET", path, params={"ticket": made["ticket"]}).status_code == 401
    ticket = place.ask(key, "POST", "/v1/tickets", json={}).json()["ticket"]
    place.by_owner("POST", f"/v1/keys/{key[3:13]}/revoke")
    assert place.ask(None, "GET", path, params={"ticket": ticket}).status_code == 401
    place.close()


def test_a_ticket_made_while_nobody_was_asked_is_no_good_once_somebody_is(tmp_path):
    place = Installation(tmp_path)
    run = place.ask(None, "POST", "/v1/runs", json=RUN).json()["id"]
    ticket = place.ask(None, "POST", "/v1/tickets", json={}).json()["ticket"]
    place.key("read")
    refused = place.ask(None, "GET", f"/v1/runs/{run}/stream", params={"ticket": ticket})
    assert (refused.status_code, kind_of(refused)) == (401, "key-needed")
    place.close()


@pytest.mark.parametrize("ticket", ["", "x", "é", "%00", "a" * 5000])
def test_what_is_no_ticket_opens_nothing(tmp_path, ticket):
    place = Installation(tmp_path)
    place.key("read")
    path = f"/v1/runs/00000000-0000-0000-0000-000000000001/stream?ticket={ticket}"
    assert place.ask(None, "GET", path).status_code == 401
    place.close()


def test_a_ticket_leads_into_the_records_of_its_studio(place):
    place.studio("evening-class")
    key, other = place.key("run", "evening-class"), place.key("run")
    with served(place.app) as address, client_of(address) as anybody, client_of(address, key) as owner:
        run = owner.post("/v1/runs", json=RUN).json()["id"]
        tickets = [
            httpx.post(
                f"{address}/v1/tickets", json={}, headers={"Authorization": f"Bearer {one}"}, trust_env=False
            ).json()["ticket"]
            for one in (key, other)
        ]
        with anybody.stream("GET", f"/v1/runs/{run}/stream", params={"ticket": tickets[0]}) as stream:
            assert first_state(stream)["name"] == "kelp fronds"
        assert anybody.get(f"/v1/runs/{run}/stream", params={"ticket": tickets[1]}).status_code == 404


def test_a_stream_ends_when_its_key_is_revoked(place):
    key = place.key("run")
    with served(place.app) as address, client_of(address, key) as owner:
        run = owner.post("/v1/runs", json=RUN).json()["id"]
        with owner.stream("GET", f"/v1/runs/{run}/stream") as stream:
            lines = stream.iter_lines()
            assert any(line == "event: state" for line in lines)
            assert place.app.state.streams.total == 1
            place.by_owner("POST", f"/v1/keys/{key[3:13]}/revoke")
            place.by_owner("POST", f"/v1/runs/{run}/events", json={"kind": "sky", "sky": "overcast"})
            rest = list(lines)  # ends by itself, whole
        assert not any("overcast" in line for line in rest)
        waited_s = time.monotonic() + 10.0
        while place.app.state.streams.total and time.monotonic() < waited_s:
            time.sleep(0.01)
        assert (place.app.state.streams.total, place.app.state.watcher.watched) == (0, 0)


def test_nobody_opens_more_streams_than_the_settings_allow(place):
    key, other = place.key("run"), place.key("run")
    with served(place.app) as address, client_of(address, key) as owner:
        run = owner.post("/v1/runs", json=RUN).json()["id"]
        path = f"/v1/runs/{run}/stream"
        with owner.stream("GET", path) as one, owner.stream("GET", path) as two:
            assert first_state(one)["id"] == first_state(two)["id"] == run
            with owner.stream("GET", path) as third:
                assert third.status_code == 429
                third.read()
            assert third.json()["violated-policies"] == ["streams"]
            assert third.headers["Retry-After"] == "5"
            with client_of(address, other) as somebody, somebody.stream("GET", path) as theirs:
                assert theirs.status_code == 200
        waited_s = time.monotonic() + 10.0
        while place.app.state.streams.total and time.monotonic() < waited_s:
            time.sleep(0.01)
        with owner.stream("GET", path) as again:
            assert again.status_code == 200
