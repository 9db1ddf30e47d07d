"""What every request goes through: names, origins, ids, headers, logs, counts."""

import json
import logging

import httpx
import pytest
from access_rig import RUN, Installation, ask, kind_of
from prometheus_client.parser import text_string_to_metric_families

from noonframe.api.app import create_app
from noonframe.api.headers import SAFE_HEADERS
from noonframe.api.logs import REQUESTS, JsonLines, rounded_place
from noonframe.settings import Settings

QUESTION = {"latitude_deg": "41.1501", "longitude_deg": "-8.6101", "start": "2026-06-21T12:00:00Z"}


@pytest.fixture
def place(tmp_path):
    made = Installation(tmp_path / "records")
    yield made
    made.close()


@pytest.fixture
def logged():
    """What the request log says."""
    lines = []

    class Keep(logging.Handler):
        def emit(self, record):
            lines.append(JsonLines().format(record))

    handler, level = Keep(), REQUESTS.level
    REQUESTS.addHandler(handler)
    REQUESTS.setLevel(logging.INFO)
    yield lines
    REQUESTS.removeHandler(handler)
    REQUESTS.setLevel(level)


@pytest.mark.parametrize(
    ("host", "good"),
    [
        ("localhost:8765", True),
        ("LOCALHOST", True),
        ("room.localhost", True),
        ("127.0.0.1:8765", True),
        ("[::1]:8765", True),
        ("192.0.2.7", True),  # RFC 5737; numbers are no names, so nobody can rebind them
        ("printroom:8765", True),  # nobody outside can own a name without a dot
        ("print.example", False),
        ("localhost.evil.example", False),
        ("127.0.0.1.evil.example", False),
        ("192.0.2.7.evil.example:8765", False),
    ],
)
def test_a_strangers_name_leads_nowhere(place, host, good):
    for path in ("/v1/materials", "/healthz", "/openapi.json"):
        response = place.ask(None, "GET", path, headers={"Host": host})
        assert response.status_code == (200 if good else 421), response.text
    if not good:
        assert kind_of(response) == "host"
        assert response.json()["errors"][0]["field"] == "Host"


@pytest.mark.parametrize("host", ["print.example", "PRINT.example:443", "print.example."])
def test_a_name_of_its_own_is_told_by_the_settings(tmp_path, host):
    app = create_app(Settings(state_dir=tmp_path, hosts="print.example, other.example"))
    assert ask(app, "GET", "/v1/materials", headers={"Host": host}).status_code == 200
    assert ask(app, "GET", "/v1/materials", headers={"Host": "evil.example"}).status_code == 421
    anyone = create_app(Settings(state_dir=tmp_path, hosts="*"))
    assert ask(anyone, "GET", "/v1/materials", headers={"Host": "evil.example"}).status_code == 200


@pytest.mark.parametrize("hosts", ["http://print.example", "print.example:443", "a b", "x/y", "-a"])
def test_what_is_no_name_of_a_host_is_refused_as_a_setting(hosts):
    with pytest.raises(ValueError, match="host names"):
        Settings(hosts=hosts)


@pytest.mark.parametrize(
    ("origin", "good"),
    [
        (None, True),
        ("http://localhost", True),
        ("https://localhost", True),  # a proxy may speak TLS for it
        ("http://localhost:9999", False),
        ("http://evil.example", False),
        ("http://127.0.0.1", False),  # another origin than the one it was reached by
        ("null", False),
        ("", False),
    ],
)
def test_a_page_of_another_site_changes_nothing(place, origin, good):
    headers = {} if origin is None else {"Origin": origin}
    made = place.ask(None, "POST", "/v1/runs", json=RUN, headers=headers)
    assert made.status_code == (201 if good else 403), made.text
    if not good:
        assert kind_of(made) == "cross-site"
        assert place.ask(None, "GET", "/v1/runs").json()["runs"] == []
        assert place.ask(None, "GET", "/v1/runs", headers=headers).status_code == 200  # unread there: no CORS


def test_no_other_site_is_let_in_by_cors(place):
    headers = {"Origin": "http://evil.example", "Access-Control-Request-Method": "POST"}
    for method in ("GET", "OPTIONS"):
        response = place.ask(None, method, "/v1/materials", headers=headers)
        assert not any(name.startswith("access-control-") for name in response.headers)
    assert response.status_code == 405


@pytest.mark.parametrize("path", ["/v1/materials", "/v1/nowhere", "/healthz", "/openapi.json", "/v1/runs/x"])
def test_every_answer_carries_the_safe_headers_once(place, path):
    response = place.ask(None, "GET", path)
    for name in SAFE_HEADERS:
        assert len(response.headers.get_list(name)) == 1, name
    assert response.headers["referrer-policy"] == "no-referrer"
    assert "default-src 'none'" in response.headers["content-security-policy"]


def test_a_request_has_an_id_of_its_own_or_the_one_it_came_with(place):
    ids = {place.ask(None, "GET", "/healthz").headers["X-Request-ID"] for _ in range(5)}
    assert len(ids) == 5
    kept = place.ask(None, "GET", "/v1/nowhere", headers={"X-Request-ID": "caller.7_a-B"})
    assert kept.headers["X-Request-ID"] == kept.json()["request_id"] == "caller.7_a-B"


@pytest.mark.parametrize("sent", ["", "a b", "x" * 65, 'a"b', "é", "a,b", "<b>"])
def test_an_id_that_could_do_harm_in_a_log_is_replaced(place, sent):
    response = place.ask(None, "GET", "/v1/nowhere", headers={"X-Request-ID": sent.encode("latin-1")})
    assert response.headers["X-Request-ID"] not in ("", sent)
    assert response.json()["request_id"] == response.headers["X-Request-ID"]


def test_every_kind_of_problem_tells_the_id(place):
    def broken():
        raise RuntimeError("latitude 41.1501")

    place.app.add_api_route("/v1/broken", broken)
    key = place.key("read")
    for path, how, status in (
        ("/v1/broken", {"key": key}, 500),
        ("/v1/exposure", {"key": key}, 422),
        ("/v1/keys", {"key": key}, 403),
        ("/v1/materials", {}, 401),
        ("/v1/materials", {"key": key, "headers": {"Host": "evil.example"}}, 421),
    ):
        response = ask(place.app, "GET", path, **how)
        assert response.status_code == status, response.text
        assert response.json()["request_id"] == response.headers["X-Request-ID"]
        assert "41.1501" not in response.text
        assert response.headers.get_list("x-request-id") == [response.headers["X-Request-ID"]]


def test_a_log_line_says_what_was_answered_and_nothing_that_is_anybodys_own(place, logged):
    key = place.key("manage")
    response = place.ask(key, "GET", "/v1/exposure", params=QUESTION)
    run = place.ask(key, "POST", "/v1/runs", json=RUN).json()["id"]
    place.ask(key, "GET", f"/v1/runs/{run}")
    feed = place.ask(
        key, "POST", "/v1/feeds", json={"name": "secret name", "slots": {"place": "quayside-yard", "days": 1}}
    ).json()
    place.ask(None, "GET", feed["path"])
    ticket = place.ask(key, "POST", "/v1/tickets", json={}).json()["ticket"]
    place.ask(None, "GET", f"/v1/runs/{uuid_none()}/stream?ticket={ticket}")
    place.ask(None, "GET", "/v1/exposure", params=QUESTION, headers={"Authorization": f"Bearer {key}x"})
    everything = "\n".join(logged)
    for secret in (key, key[14:], run, feed["path"][14:-4], ticket, "41.15", "8.61", "secret", "quayside"):
        assert secret not in everything, secret
    told = [json.loads(line) for line in logged]
    first = next(one for one in told if one["route"] == "/v1/exposure")
    assert {
        name: first[name] for name in ("method", "status", "key_id", "latitude_deg", "longitude_deg")
    } == {
        "method": "GET",
        "status": 200,
        "key_id": key[3:13],
        "latitude_deg": 41.2,
        "longitude_deg": -8.6,
    }
    assert first["request_id"] == response.headers["X-Request-ID"]
    assert first["took_ms"] > 0
    assert {one["route"] for one in told} >= {"/v1/runs/{run_id}", "/v1/calendars/{token}.ics"}
    assert told[-1]["status"] == 401


def uuid_none():
    return "00000000-0000-0000-0000-000000000001"


def test_a_studios_requests_are_logged_with_its_name(place, logged):
    place.studio("evening-class")
    place.ask(place.key("read", "evening-class"), "GET", "/v1/runs")
    assert json.loads(logged[-1])["studio"] == "evening-class"


@pytest.mark.parametrize(
    ("query", "place_told"),
    [
        (b"latitude_deg=41.1501&longitude_deg=-8.6101", {"latitude_deg": 41.2, "longitude_deg": -8.6}),
        (b"latitude_deg=-0.01&x=1", {"latitude_deg": 0.0}),
        (b"my_latitude_deg=41.15", {}),
        (b"latitude_deg=41.15x", {}),
        (b"latitude_deg=nan&longitude_deg=1e9", {}),
        (b"latitude_deg=4115011111", {}),
        (b"", {}),
    ],
)
def test_a_place_is_told_to_a_tenth_of_a_degree_or_not_at_all(query, place_told):
    assert rounded_place(query) == place_told


def test_a_fault_in_the_json_log_has_frames_and_no_text():
    asked = "41.1501"
    try:
        raise ValueError(f"latitude {asked}")
    except ValueError as fault:
        record = logging.LogRecord("uvicorn.error", logging.ERROR, "", 0, "a fault", None, None)
        record.exc_info = (type(fault), fault, fault.__traceback__)
    line = JsonLines().format(record)
    told = json.loads(line)
    assert (told["error"], told["level"], told["message"]) == ("ValueError", "error", "a fault")
    assert "test_a_fault_in_the_json_log" in "".join(told["frames"])
    assert asked not in line
    assert "\n" not in line


def metrics_of(place, **how):
    text = place.ask(None, "GET", "/metrics", **how).text
    return {
        (sample.name, *sorted(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def test_the_numbers_for_prometheus_count_by_route_and_not_by_who(place):
    for n in range(3):
        place.ask(None, "GET", f"/v1/runs/00000000-0000-0000-0000-00000000000{n}")
        place.ask(None, "GET", f"/v1/nowhere/{n}")
    place.ask(None, "GET", "/v1/materials")
    found = metrics_of(place)

    def counted(route, status):
        key = ("noonframe_requests_total", ("method", "GET"), ("route", route), ("status", status))
        return found.get(key)

    assert counted("/v1/runs/{run_id}", "404") == 3.0
    assert counted("(no such address)", "404") == 3.0
    assert counted("/v1/materials", "200") == 1.0
    assert found["noonframe_streams_open",] == 0.0
    buckets = [
        value
        for (name, *labels), value in found.items()
        if name == "noonframe_request_seconds_bucket" and ("route", "/v1/materials") in labels
    ]
    assert max(buckets) == found["noonframe_request_seconds_count", ("route", "/v1/materials")] == 1.0
    assert 0.0 < found["noonframe_request_seconds_sum", ("route", "/v1/materials")] < 60.0


def test_two_apps_count_for_themselves(tmp_path):
    one, two = (create_app(Settings(state_dir=tmp_path)) for _ in range(2))
    ask(one, "GET", "/v1/materials")
    assert "/v1/materials" in ask(one, "GET", "/metrics").text
    assert "/v1/materials" not in ask(two, "GET", "/metrics").text


def test_the_numbers_need_a_key_where_one_is_asked_for(place):
    key = place.key("read")
    assert place.ask(None, "GET", "/metrics").status_code == 401
    response = place.ask(key, "GET", "/metrics")
    assert response.status_code == 200
    assert response.headers["content-type"].startswith("text/plain; version=")
    assert place.ask(key, "GET", "/metrics", params={"x": "1"}).status_code == 422


def test_a_path_under_a_proxys_prefix_asks_for_the_same_scope(place):
    import asyncio

    key = place.key("read")
    sent = []

    async def once():
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": "POST",
            "scheme": "http",
            "path": "/prints/v1/keys",
            "raw_path": b"/prints/v1/keys",
            "root_path": "/prints",
            "query_string": b"",
            "headers": [(b"host", b"localhost"), (b"authorization", f"Bearer {key}".encode())],
            "client": ("127.0.0.1", 5),
            "server": ("127.0.0.1", 80),
        }

        async def receive():
            return {"type": "http.request", "body": b"{}", "more_body": False}

        async def send(message):
            sent.append(message)

        await place.app(scope, receive, send)

    asyncio.run(once())
    assert sent[0]["status"] == 403


@pytest.mark.parametrize("size", [65_537, 10_000_000_000])
def test_every_route_with_a_json_body_refuses_one_that_is_too_long(place, size):
    document = ask(place.app, "GET", "/openapi.json").json()
    tried = 0
    for path, operations in document["paths"].items():
        for method, operation in operations.items():
            if "application/json" not in operation.get("requestBody", {}).get("content", {}):
                continue
            if path in ("/v1/import", "/v1/batch") and size < 1_000_000:
                continue  # many records or places at once have longer bodies, with limits of their own
            address = path.replace("{", "").replace("}", "")
            address = "/".join(uuid_none() if part.endswith("_id") else part for part in address.split("/"))
            headers = {"Content-Type": "application/json", "If-Match": '"1"', "Content-Length": str(size)}
            response = place.ask(None, method.upper(), address, headers=headers, content=b"{}")
            assert response.status_code == 413, (method, path, response.text)
            tried += 1
    assert tried > 20


def test_every_answer_with_a_query_too_long_is_refused(place):
    document = ask(place.app, "GET", "/openapi.json").json()
    for path, operations in document["paths"].items():
        if "get" not in operations or path in ("/healthz", "/readyz"):
            continue
        address = "/".join(uuid_none() if part.startswith("{") else part for part in path.split("/"))
        response: httpx.Response = place.ask(None, "GET", f"{address}?x={'1' * 9000}")
        assert response.status_code in (404, 414, 422), (path, response.status_code)
