"""`noonframe say` in all its kinds, and `noonframe qr`."""

import asyncio
import json

import httpx
import pytest
import segno

from noonframe.api.app import create_app
from noonframe.settings import Settings
from noonframe_terminal.show_code import code_lines

YARD = ("--place", "quayside-yard")
USUAL = "float-glass-4mm,polyester-film"


def test_say_without_a_word_is_say_now(call):
    start = ("--start", "2026-06-21T13:00:00+01:00")
    assert call("say", *YARD, *start) == call("say", "now", *YARD, *start)


def test_tomorrow_is_the_services_sentence(call, api):
    said = call("say", "tomorrow", *YARD, "--target", "24000")
    truth = api("/v1/say/tomorrow", place="quayside-yard", target_j_m2="24000", stack=USUAL).json()
    assert said == (0 if truth["found"] else 1, truth["summary"] + "\n", "")


def test_tomorrow_in_the_polar_night_ends_with_1(call):
    arctic = ("--latitude", "-89.9", "--longitude", "0", "--target", "1e8")
    assert call("say", "tomorrow", *arctic).code == 1


def test_nothing_under_way_is_a_sentence_and_no_error(call):
    assert call("say", "running") == (0, "Nothing is in the light.\n", "")
    assert call("say", "time-left", "--name", "kelp") == (0, "Nothing called kelp is in the light.\n", "")
    assert "nothing to move" in call("say", "next-move").out


def test_a_print_in_the_light_has_time_left(call):
    assert call("run", "start", *YARD, "--name", "kelp fronds", "--sky", "clear").code in (0, 1)
    assert call("say", "running").out.startswith("Kelp fronds is in the light")
    flat = json.loads(call("say", "time-left", "--json").out)
    assert (flat["count"], flat["name"]) == (1, "kelp fronds")


def test_the_usual_place_does_not_turn_what_is_under_way_into_a_plan(call, monkeypatch):
    monkeypatch.setenv("NOONFRAME_PLACE", "quayside-yard")
    assert json.loads(call("say", "next-move", "--json").out)["of"] == "nothing"
    plan = call("say", "next-move", "--target", "24000", "--start", "2026-06-21T13:00:00+01:00", "--json")
    assert json.loads(plan.out)["of"] == "plan"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("yesterday", *YARD), "WHAT yesterday: must be one of now, tomorrow, next-move, running, time-left"),
        (("running", *YARD), "running tells of what is in the light already"),
        (("time-left", "--target", "24000"), "time-left tells of what is in the light already"),
        (("now", *YARD, "--name", "kelp"), "--name kelp: must be left out unless with running or time-left"),
        (("tomorrow", *YARD, "--session", "x"), "--session x: must be left out unless with next-move"),
        (("tomorrow", *YARD, "--start", "12:00"), "--start 12:00: must be left out"),
        (("next-move", *YARD, "--session", "x"), "--session x: must be left out when a place is asked about"),
        (("next-move", "--session", "nobody"), "--session nobody: must be the name or the id of a session"),
        (("tomorrow", *YARD, "--target", "much"), "--target much: must be a number"),
    ],
)
def test_what_does_not_go_together_is_refused_in_the_words_typed(call, arguments, said):
    code, out, err = call("say", *arguments)
    assert (code, out) == (2, "")
    assert said in err


def test_a_spot_from_a_file_goes_with_now_alone(call, tmp_path):
    file = tmp_path / "spot.json"
    file.write_text(json.dumps({"kind": "open", "tilt_deg": 30, "aim_azimuth_deg": 180}))
    said = call("say", "tomorrow", *YARD, "--spot", str(file))
    assert said.code == 2
    assert "saved first (noonframe spot add)" in said.err
    assert call("say", *YARD, "--spot", str(file), "--start", "2026-06-21T13:00:00+01:00").code == 0


def drawn_dark(lines, code):
    """Which modules a drawing in half blocks leaves dark."""
    upper = {"█": (False, False), "▀": (False, True), "▄": (True, False), " ": (True, True)}
    size = len(code.matrix) + 8
    rows = []
    for line in lines:
        pairs = [upper[sign] for sign in line.ljust(size)]
        rows += [[pair[0] for pair in pairs], [pair[1] for pair in pairs]]
    return [row[4 : size - 4] for row in rows[4 : size - 4]]


@pytest.mark.parametrize("address", ["http://192.0.2.7:8765", "https://printroom.example", "http://a"])
def test_the_code_in_the_terminal_is_that_of_the_address(address):
    code = segno.make(address, error="m", micro=False)
    assert drawn_dark(code_lines(code, "utf-8"), code) == [[bool(one) for one in row] for row in code.matrix]
    plain = code_lines(code, "ascii")
    assert len(plain) == len(code.matrix) + 8
    dark = [[line.ljust(2 * len(plain))[2 * x] == " " for x in range(len(plain))] for line in plain]
    inner = [row[4:-4] for row in dark[4:-4]]
    assert inner == [[bool(one) for one in row] for row in code.matrix]


def test_qr_says_plainly_when_a_phone_cannot_use_it(call, monkeypatch):
    said = call("qr")
    assert said.code == 0
    assert "http://127.0.0.1:8765 leads to this machine only" in said.out
    assert "█" in said.out
    monkeypatch.setenv("NOONFRAME_HOST", "0.0.0.0")
    assert "give --server with the one a phone can open" in call("qr").out
    monkeypatch.setenv("NOONFRAME_HOST", "::1")
    assert "http://[::1]:8765 leads to this machine only" in call("qr").out
    monkeypatch.setenv("NOONFRAME_HOST", "192.0.2.7")
    assert "http://192.0.2.7:8765 is where noonframe serve will listen" in call("qr").out


def test_qr_needs_a_service_for_json(call):
    said = call("qr", "--json")
    assert said.code == 2
    assert "--json: must be given with --server" in said.err


def test_the_service_draws_the_address_it_was_asked_at(tmp_path):
    app = create_app(Settings(state_dir=tmp_path))

    async def ask():
        transport = httpx.ASGITransport(app)
        async with httpx.AsyncClient(transport=transport, base_url="http://192.0.2.7:8765") as client:
            return (await client.get("/v1/address")).json()

    answer = asyncio.run(ask())
    assert (answer["address"], answer["loopback"]) == ("http://192.0.2.7:8765", False)
