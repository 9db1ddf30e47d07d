"""`noonframe calendar`: files to take in, and private addresses to subscribe to."""

import datetime as dt
import json
import re
import signal
import subprocess
import sys

import httpx
import icalendar
import pytest

YARD = ("--place", "quayside-yard", "--target", "24000")
NOONFRAME = (sys.executable, "-m", "noonframe_terminal")


def events(text):
    return icalendar.Calendar.from_ical(text).events


def test_slots_are_printed_as_the_service_has_them(call, api):
    said = call("calendar", "slots", *YARD, "--days", "2")
    assert (said.code, said.err) == (0, "")
    stack = "float-glass-4mm,polyester-film"
    truth = api("/v1/slots/calendar.ics", place="quayside-yard", target_j_m2="24000", stack=stack, days="2")
    assert said.out.replace("\r\n", "\n") == truth.text.replace("\r\n", "\n")


def test_slots_go_into_a_file_with_the_line_ends_of_a_calendar(call, tmp_path):
    file = tmp_path / "slots.ics"
    said = call("calendar", "slots", *YARD, "--days", "1", "--remind", "none", "--out", str(file))
    assert (said.code, said.out) == (0, "Written: slots.ics; open it with your calendar.\n")
    content = file.read_bytes()
    assert content.count(b"\n") == content.count(b"\r\n") > 20
    assert not [event for event in events(content) if event.walk("VALARM")]
    again = call("calendar", "slots", *YARD, "--days", "1", "--out", str(file))
    assert again.code == 2
    assert "is there already; --force writes over it" in again.err
    assert file.read_bytes() == content
    assert call("calendar", "slots", *YARD, "--days", "1", "--out", str(file), "--force").code == 0
    assert file.read_bytes() != content


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("slots", *YARD, "--days", "99"), "--days 99: must be"),
        (("slots", *YARD, "--per-day", "x"), "--per-day x: must be a whole number"),
        (("slots", *YARD, "--remind", "soon"), "--remind soon: must be a whole number"),
        (
            ("slots", *YARD, "--out", "/nowhere/at/all/x.ics"),
            "--out /nowhere/at/all/x.ics: cannot be written",
        ),
        (("session", "nobody"), "NAME nobody: must be the name or the id of a session"),
        (("subscribe", "Yard", "--session", "nobody"), "--session nobody: must be the name or the id"),
        (("subscribe", "Yard", "--session", "x", "--days", "2"), "--session shows a session's own plan"),
        (("subscribe", "Yard", *YARD, "--days", "99"), "--days 99: must be"),
        (("subscribe", " ", *YARD), "NAME"),
        (("revoke", "abc"), "ID abc: must be the beginning of one feed's id"),
    ],
)
def test_what_cannot_be_is_refused_in_the_words_typed(call, arguments, said):
    code, out, err = call("calendar", *arguments)
    assert (code, out) == (2, "")
    assert said in err


def test_a_feed_is_made_listed_and_revoked(call):
    assert call("calendar", "feeds").out == "No feeds.\n"
    made = call("calendar", "subscribe", "Yard", *YARD, "--remind", "none")
    assert made.code == 0
    path = re.search(r"^/v1/calendars/[\w-]{43}\.ics$", made.out, re.MULTILINE)
    assert path
    assert "noonframe serve" in made.out
    listed = call("calendar", "feeds").out
    assert path[0] not in listed
    assert "Yard: the best slots of 7 days at Quayside yard, Porto" in listed
    assert "never read" in listed
    assert call("calendar", "revoke", listed[:8]).out == "Revoked: Yard. Nobody can read it any more.\n"
    assert call("calendar", "feeds").out == "No feeds.\n"


def test_a_served_feed_is_read_until_it_is_revoked_and_its_token_is_never_logged(call, monkeypatch):
    monkeypatch.setenv("HTTP_PROXY", "http://192.0.2.7:9")  # must not stand between this machine and itself
    with subprocess.Popen((*NOONFRAME, "serve", "--port", "0"), stderr=subprocess.PIPE, text=True) as server:
        try:
            assert server.stderr is not None
            found = re.search(r"http://127\.0\.0\.1:\d+", server.stderr.readline())
            assert found
            reach = ("--server", found[0])
            made = json.loads(call("calendar", "subscribe", "Yard", *YARD, *reach, "--json").out)
            assert made["address"].startswith(f"{found[0]}/v1/calendars/")
            with httpx.Client(trust_env=False, timeout=60) as client:
                response = client.get(made["address"])
                assert len(events(response.content)) == 7
                tag = response.headers["etag"]
                assert client.get(made["address"], headers={"If-None-Match": tag}).status_code == 304
                assert client.post(made["address"]).status_code == 405
                assert client.get(made["address"] + "?x=1").status_code == 422
                assert client.get(made["address"], headers={"Host": "a b"}).status_code in (400, 422)
                assert call("calendar", "revoke", made["id"], *reach).code == 0
                assert client.get(made["address"]).status_code == 404
            server.send_signal(signal.SIGINT)
            _, rest = server.communicate(timeout=20)
        finally:
            server.kill()
    assert made["path"].removeprefix("/v1/calendars/")[:43] not in rest
    assert rest == ""


def test_the_days_are_those_of_the_place(call):
    said = call(
        "calendar",
        "slots",
        "--latitude",
        "-45.87",
        "--longitude",
        "170.5",
        "--days",
        "2",
        "--target",
        "24000",
    )
    for event in events(said.out):
        assert event.start.tzinfo is dt.UTC or event.start.utcoffset() == dt.timedelta(0)
        assert "Pacific/Auckland" in event["description"]
