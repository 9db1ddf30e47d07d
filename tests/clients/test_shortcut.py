"""The phone's guide: every request in it works, and answers as it says."""

import json
import re

import icalendar
import pytest
from clients.shortcut_rig import GUIDE, PrintRoom, exchanges

EXCHANGES = list(exchanges())
CHANCE = {"id", "run_id", "path", "address", "webcal_address"}  # differ from one database to the next
VARIANTS = ("/v1/say", "/v1/say/tomorrow", "/v1/say/next-move", "/v1/say/running", "/v1/say/time-left")


@pytest.fixture(scope="module")
def room(tmp_path_factory):
    made = PrintRoom(tmp_path_factory.mktemp("room"), busy=True)
    yield made
    made.close()


@pytest.mark.parametrize("number", range(len(EXCHANGES)))
def test_a_documented_request_is_answered_as_documented(room, number):
    (method, target, headers, body), (kind, shown) = EXCHANGES[number]
    response = room.ask(method, target, headers=headers, content=body or None)
    assert response.status_code in (200, 201), response.text
    if kind == "text":
        assert response.headers["content-type"] == "text/plain; charset=utf-8"
        assert response.text == shown
    elif kind == "ics":
        lines = response.text.split("\r\n")
        for line in shown.removesuffix("\n...").split("\n"):
            assert line in lines or line.startswith("UID:")
        assert len(icalendar.Calendar.from_ical(response.content).events) == 3
    else:
        said, told = response.json(), json.loads(shown)
        assert list(said) == list(told)
        steady = (lambda answer: answer) if target == "/v1/address" else without_chance
        assert steady(said) == steady(told)
        for name in CHANCE & said.keys():
            assert len(said[name]) == len(told[name])


def without_chance(answer):
    return {name: value for name, value in answer.items() if name not in CHANCE}


@pytest.mark.parametrize("path", VARIANTS)
def test_every_variant_is_shown_spoken_and_flat(path):
    kinds = [reply[0] for (_, target, _, _), reply in EXCHANGES if target.partition("?")[0] == path]
    assert {"text", "json"} <= set(kinds)


def test_every_one_line_answer_that_the_service_has_is_in_the_guide(room):
    served = [path for path in room.ask("GET", "/openapi.json").json()["paths"] if path.startswith("/v1/say")]
    assert sorted(served) == sorted(VARIANTS)


def test_what_is_flat_is_easy_to_pick_from():
    for (_, target, _, _), (kind, shown) in EXCHANGES:
        if kind == "json" and target.startswith("/v1/say"):
            for name, value in json.loads(shown).items():
                assert re.fullmatch(r"[a-z]+(_[a-z]+)*", name)
                assert value is None or isinstance(value, str | int | float)


@pytest.mark.parametrize("busy", [False, True])
def test_the_session_that_is_on_gives_the_next_move(tmp_path, busy):
    room = PrintRoom(tmp_path, busy=busy, planned=True)
    try:
        said = room.ask("GET", "/v1/say/next-move", headers={"Accept": "application/json"}).json()
    finally:
        room.close()
    documented = next(
        json.loads(shown)
        for (_, target, _, _), (kind, shown) in EXCHANGES
        if kind == "json" and target == "/v1/say/next-move"
    )
    assert list(said) == list(documented)
    assert (said["of"], said["at"]) == ("session", "2026-06-21T13:27:00+01:00")


def test_an_error_can_be_spoken_as_the_guide_says(room):
    response = room.ask("GET", "/v1/say?saved_spot=nowhere", headers={"Accept": "application/json"})
    problem = response.json()
    assert response.status_code == 422
    assert {"title", "detail"} <= problem.keys()
    assert "saved_spot" in problem["detail"]


def test_a_key_that_opens_nothing_is_refused_in_words(room):
    headers = {"Authorization": "Bearer YOUR-KEY"}
    refused = room.ask("GET", "/v1/say/running", headers=headers)
    assert refused.status_code == 401
    assert refused.headers["content-type"] == "application/problem+json"


def test_the_commands_in_the_guide_are_commands(call):
    plain = re.findall(r"^ *noonframe (\w+)(?: (\w+))?", GUIDE.read_text(encoding="utf-8"), re.MULTILINE)
    assert {first for first, _ in plain} == {"serve", "spot", "recipe"}
    for first, second in plain:
        words = (first,) if first == "serve" else (first, second)
        assert call(*words, "--help").code == 0
    for words in (("qr",), ("calendar", "revoke")):
        assert call(*words, "--help").code == 0
