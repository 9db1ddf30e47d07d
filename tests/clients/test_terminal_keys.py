"""Keys, studios, changes and copies from the command line."""

import json
import os
import re
import signal
import subprocess
import sys
import threading
from contextlib import contextmanager

import httpx
import pytest

NOONFRAME = (sys.executable, "-m", "noonframe_terminal")
KEY = re.compile(r"nf_[a-z2-7]{10}_[A-Za-z0-9_-]{43}")
RUN = {"place": "quayside-yard", "target_j_m2": 24000, "name": "kelp fronds"}


def made(said):
    assert said.code == 0, said.err
    assert KEY.fullmatch(said.out.strip()), said.out
    return said.out.strip()


@contextmanager
def serving(*arguments, env=None):
    """A service in a process of its own: its address, the process, and what it says."""
    command = (*NOONFRAME, "serve", "--port", "0", *arguments)
    environment = {**os.environ, **(env or {})}
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment) as server:
        said = []
        try:
            for line in server.stderr:
                said.append(line)
                if "serving on" in line:
                    break
            found = re.search(r"http://[^ ,]+", said[-1] if said else "")
            assert found, said
            yield found[0].replace("0.0.0.0", "127.0.0.1"), server, said
        finally:
            server.kill()


def test_a_key_is_alone_on_standard_output_and_listed_without_its_secret(call):
    key = made(call("keys", "add", "yard phone"))
    told = call("keys", "list")
    assert key[3:13] in told.out
    assert "yard phone" in told.out
    assert key[14:] not in told.out + told.err
    revoked = call("keys", "revoke", key[3:13])
    assert (revoked.code, revoked.out.startswith("Revoked: ")) == (0, True)
    assert "revoked" in call("keys", "list").out


def test_a_key_may_end_and_belong_to_a_studio(call):
    assert call("studios", "add", "evening-class").code == 0
    said = call(
        "keys", "add", "lead", "--studio", "evening-class", "--scope", "manage", "--days", "90", "--json"
    )
    told = json.loads(said.out)
    assert (told["studio"], told["scope"]) == ("evening-class", "manage")
    assert told["expires"] is not None
    assert call("studios", "list").out.splitlines()[0] == "house"
    assert "evening-class" in call("studios", "list").out
    assert "until" in call("keys", "list", "--studio", "evening-class").out
    assert "No keys" in call("keys", "list", "--studio", "house").out


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (("keys", "add", "x", "--scope", "all"), "--scope all"),
        (("keys", "add", "x", "--studio", "nowhere"), "--studio nowhere"),
        (("keys", "add", "x", "--days", "0"), "--days 0"),
        (("keys", "add", "x", "--days", "-1"), "--days -1"),
        (("keys", "add", "x", "--days", "soon"), "--days soon"),
        (("keys", "add", ""), "NAME"),
        (("keys", "list", "--studio", "nowhere"), "--studio nowhere"),
        (("keys", "revoke", "nobody"), "ID nobody"),
        (("studios", "add", "No Good"), "NAME No Good"),
        (("studios", "add", "house"), "NAME house"),
        (("audit", "--limit", "0"), "--limit 0"),
        (("now", "--place", "quayside-yard", "--key", "nf_x"), "--key"),
        (("backup", "/nowhere/at/all"), "FILE /nowhere/at/all"),
        (("restore", "/nowhere/at/all"), "FILE /nowhere/at/all"),
    ],
)
def test_what_was_typed_wrong_is_named_as_it_was_typed(call, arguments, named):
    said = call(*arguments)
    assert said.code == 2, said
    assert named in said.err
    assert "Traceback" not in said.err


def test_changes_are_told_with_who_made_them(call):
    assert "Nothing was changed yet" in call("audit").out
    assert call("run", "start", "--place", "quayside-yard", "--target", "24000").code == 0
    told = call("audit")
    assert "POST /v1/runs" in " ".join(told.out.split())
    assert "command line" in " ".join(told.out.split())


def test_a_service_that_asks_for_keys_is_used_with_one(call, monkeypatch):
    reader, runner = (
        made(call("keys", "add", "reader", "--scope", "read")),
        made(call("keys", "add", "runner")),
    )
    question = ("now", "--place", "quayside-yard", "--start", "2026-06-21T13:00:00+01:00")
    with serving() as (address, _, _):
        there = ("--server", address)
        without = call(*question, *there)
        assert (without.code, "NOONFRAME_KEY" in without.err) == (2, True)
        assert call(*question, *there, "--key", reader).code == 0
        wrong = call(*question, *there, "--key", reader[:-2])
        assert (wrong.code, "does not take this key" in wrong.err) == (2, True)
        assert reader[14:] not in wrong.err + wrong.out
        monkeypatch.setenv("NOONFRAME_KEY", reader)
        assert call(*question, *there).code == 0
        refused = call("run", "start", "--place", "quayside-yard", *there)
        assert (refused.code, "not allowed" in refused.err) == (2, True)
        assert call("run", "start", "--place", "quayside-yard", *there, "--key", runner).code == 0
        monkeypatch.setenv("NOONFRAME_KEY", "two words")
        bad = call(*question, *there)
        assert (bad.code, "NOONFRAME_KEY" in bad.err, "two words" in bad.err) == (2, True, False)


def test_others_can_be_served_once_there_is_a_key_to_ask_them_for(call):
    refused = call("serve", "--host", "0.0.0.0", "--port", "0")
    assert refused.code == 2
    gone = made(call("keys", "add", "gone"))
    call("keys", "revoke", gone[3:13])
    assert call("serve", "--host", "0.0.0.0", "--port", "0").code == 2  # a revoked one is none
    key = made(call("keys", "add", "phone", "--scope", "read"))
    with serving("--host", "0.0.0.0") as (address, _, _):
        assert httpx.get(f"{address}/v1/materials", trust_env=False).status_code == 401
        headers = {"Authorization": f"Bearer {key}"}
        assert httpx.get(f"{address}/v1/materials", headers=headers, trust_env=False).status_code == 200


def test_a_key_can_be_made_on_the_spot_and_is_said_once(call):
    with serving("--host", "0.0.0.0", "--make-key", "workshop lead") as (address, _, said):
        keys = KEY.findall("".join(said))
        assert len(keys) == 1
        answer = httpx.get(
            f"{address}/v1/access", headers={"Authorization": f"Bearer {keys[0]}"}, trust_env=False
        )
        assert answer.json()["scope"] == "manage"
    assert call("serve", "--allow-unauthenticated", "--make-key", "x", "--port", "0").code == 2


def test_without_asking_only_when_that_is_said(call):
    call("keys", "add", "phone")
    with serving("--host", "0.0.0.0", "--allow-unauthenticated") as (address, _, _):
        assert httpx.get(f"{address}/v1/runs", trust_env=False).status_code == 200
        made_there = httpx.post(f"{address}/v1/keys", json={"name": "x"}, trust_env=False)
        assert made_there.status_code == 403


def test_the_json_log_has_a_line_for_each_request_and_no_place(call):
    with serving("--log", "json") as (address, server, _):
        httpx.get(f"{address}/v1/light", params={"latitude_deg": 41.1501}, trust_env=False)
        server.send_signal(signal.SIGTERM)
        rest = server.stderr.read()
    lines = [json.loads(line) for line in rest.splitlines() if line.startswith("{")]
    (line,) = [one for one in lines if one.get("route") == "/v1/light"]
    assert (line["status"], line["latitude_deg"]) == (422, 41.2)
    assert "41.15" not in rest


@pytest.mark.skipif(os.name == "nt", reason="there is no such signal")
def test_a_stop_in_the_middle_lets_streams_end_and_finishes_what_is_being_written(call):
    with serving() as (address, server, _):
        with httpx.Client(base_url=address, trust_env=False, timeout=60) as client:
            run = client.post("/v1/runs", json=RUN).json()["id"]
            told, stop = [], threading.Event()

            def tell():
                while not stop.is_set():
                    body = {"kind": "sky", "sky": "overcast", "event_id": f"{len(told):032x}"}
                    try:
                        answer = httpx.post(
                            f"{address}/v1/runs/{run}/events", json=body, trust_env=False, timeout=60
                        )
                    except httpx.HTTPError:
                        return
                    if answer.status_code == 201:
                        told.append(answer.json()["event"]["sequence"])

            with client.stream("GET", f"/v1/runs/{run}/stream") as stream:
                lines = stream.iter_lines()
                assert any(line == "event: state" for line in lines)
                writer = threading.Thread(target=tell)
                writer.start()
                while len(told) < 3:
                    pass
                server.send_signal(signal.SIGTERM)
                list(lines)  # a connection that is cut off raises here
            stop.set()
            writer.join(timeout=60)
        rest = server.stderr.read()
        assert server.wait(timeout=30) in (0, -signal.SIGTERM, 143)
    assert rest == ""
    with serving() as (address, _, _):
        events = httpx.get(f"{address}/v1/runs/{run}/events", trust_env=False).json()["events"]
    assert set(told) <= {event["sequence"] for event in events}  # nothing that was acknowledged is lost


def test_a_copy_is_made_checked_and_put_back(call, tmp_path, monkeypatch):
    call("studios", "add", "evening-class")
    key = made(call("keys", "add", "phone", "--studio", "evening-class"))
    call("run", "start", "--place", "quayside-yard", "--target", "24000", "--name", "kelp fronds")
    file = str(tmp_path / "copy.noonframe")
    assert call("backup", file).out.startswith(f"Copied to {file} and checked: 2 studios, ")
    assert call("backup", file).code == 2
    assert "is good" in call("restore", "--check", file).out
    assert call("restore", file).code == 2  # there are records
    monkeypatch.setenv("NOONFRAME_STATE_DIR", str(tmp_path / "elsewhere"))
    assert call("restore", file).code == 0
    assert key[3:13] in call("keys", "list").out
    assert "kelp fronds" in call("run", "list").out
