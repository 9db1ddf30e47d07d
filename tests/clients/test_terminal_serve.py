"""The service as `noonframe serve` runs it, and the command line as a process of its own."""

import json
import logging
import os
import re
import signal
import socket
import subprocess
import sys

import httpx
import pytest

from noonframe_terminal.hosts import is_loopback
from noonframe_terminal.main import main
from noonframe_terminal.serve import FramesOnly

NOON = "2026-06-21T13:00:00+01:00"
NOONFRAME = (sys.executable, "-m", "noonframe_terminal")


def test_a_real_server_answers_as_the_application_does_and_logs_no_place(capsys, monkeypatch):
    monkeypatch.setenv("HTTP_PROXY", "http://192.0.2.7:9")  # must not stand between this machine and itself
    with subprocess.Popen((*NOONFRAME, "serve", "--port", "0"), stderr=subprocess.PIPE, text=True) as server:
        try:
            assert server.stderr is not None
            said = server.stderr.readline()
            found = re.search(r"http://127\.0\.0\.1:\d+", said)
            assert found, said
            assert httpx.get(f"{found[0]}/readyz", trust_env=False).status_code == 200
            question = ["now", "--latitude", "41.1501", "--longitude", "-8.6101", "--start", NOON, "--json"]
            assert main([*question, "--server", found[0]]) == 0
            over_the_wire = capsys.readouterr().out
            assert main(question) == 0
            assert json.loads(over_the_wire) == json.loads(capsys.readouterr().out)
            assert main(["now", "--latitude", "95", "--longitude", "0", "--server", found[0]]) == 2
            assert "--latitude 95: must be less than 90" in capsys.readouterr().err
            server.send_signal(signal.SIGINT)
            _, rest = server.communicate(timeout=20)
        finally:
            server.kill()
    assert server.returncode == 130
    assert rest == ""


def test_a_stop_lets_open_streams_go_rather_than_cutting_them_off():
    with subprocess.Popen((*NOONFRAME, "serve", "--port", "0"), stderr=subprocess.PIPE, text=True) as server:
        try:
            assert server.stderr is not None
            said = server.stderr.readline()
            found = re.search(r"http://127\.0\.0\.1:\d+", said)
            assert found, said
            with httpx.Client(base_url=found[0], trust_env=False, timeout=60) as client:
                run = client.post("/v1/runs", json={"place": "quayside-yard"}).json()["id"]
                with client.stream("GET", f"/v1/runs/{run}/stream") as stream:
                    lines = stream.iter_lines()
                    assert any(line == "event: state" for line in lines)
                    server.send_signal(signal.SIGINT)
                    list(lines)  # a connection that is cut off raises here
            _, rest = server.communicate(timeout=20)
        finally:
            server.kill()
    assert (server.returncode, rest) == (130, "")


@pytest.mark.skipif(os.name == "nt", reason="there are no pipes that a reader can close early")
def test_a_reader_that_leaves_early_is_no_error():
    command = (
        *NOONFRAME,
        "light",
        "--place",
        "quayside-yard",
        "--date",
        "2026-06-21",
        "--step",
        "10s",
        "--csv",
    )
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as light:
        assert light.stdout is not None
        assert light.stderr is not None
        assert light.stdout.readline().startswith("time,")
        light.stdout.close()
        complaint = light.stderr.read()
    assert (light.returncode, complaint) == (141, "")


def test_others_are_kept_out_unless_they_are_let_in(capsys, monkeypatch):
    assert main(["serve", "--host", "0.0.0.0", "--port", "0"]) == 2
    refused = capsys.readouterr().err
    assert refused.startswith("noonframe: --host 0.0.0.0: ")
    assert "--allow-unauthenticated" in refused
    assert "noonframe keys add" in refused
    monkeypatch.setenv("NOONFRAME_HOST", "192.0.2.7")  # RFC 5737: an address for documentation
    assert main(["serve", "--port", "0"]) == 2
    assert capsys.readouterr().err.startswith("noonframe: NOONFRAME_HOST 192.0.2.7: ")


def test_an_address_of_nobody_here_cannot_be_listened_on(capsys):
    assert main(["serve", "--host", "192.0.2.7", "--port", "0", "--allow-unauthenticated"]) == 3
    assert "192.0.2.7" in capsys.readouterr().err


def test_a_port_in_use_is_said_to_be(capsys):
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        assert main(["serve", "--port", str(port)]) == 3
    assert str(port) in capsys.readouterr().err


@pytest.mark.parametrize("port", ["65536", "-1", "ninety"])
def test_a_port_that_is_none_is_refused(capsys, port):
    assert main(["serve", "--port", port]) == 2
    assert "--port" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("host", "inside"),
    [
        ("127.0.0.1", True),
        ("127.8.9.1", True),
        ("localhost", True),
        ("LOCALHOST", True),
        ("::1", True),
        ("0.0.0.0", False),
        ("::", False),
        ("192.0.2.7", False),
        ("localhost.example", False),
        ("quayside", False),
        ("127.1", False),
    ],
)
def test_only_this_machines_own_addresses_count_as_loopback(host, inside):
    assert is_loopback(host) is inside


def test_a_logged_fault_shows_where_but_not_what_was_asked():
    asked = "41.1501"
    try:
        raise ValueError(f"latitude_deg is {asked}")
    except ValueError:
        record = logging.LogRecord("uvicorn", logging.ERROR, "", 0, "a fault", None, sys.exc_info())
    told = FramesOnly("%(message)s").format(record)
    assert "test_a_logged_fault_shows_where" in told
    assert "ValueError" in told
    assert asked not in told
