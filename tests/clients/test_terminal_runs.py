"""`run` against the real application: in this process, and over a socket where connections break."""

import asyncio
import datetime as dt
import json
import re
import shlex

import httpx
import pytest
from clients.runs_rig import NOON_S, Serving, SteadyClock, free_port

from noonframe.api.app import create_app
from noonframe.settings import Settings
from noonframe_terminal import contract, moments
from noonframe_terminal.contract import Answer
from noonframe_terminal.finding import find_run
from noonframe_terminal.telling import SKIES, WORDS, moment_text
from noonframe_terminal.trouble import Refused

KELP = ("run", "start", "--place", "quayside-yard", "--name", "kelp fronds", "--target", "24000")
WINDOW = ("--window-facing", "se", "--window-width", "1.2", "--sill", "0.1", "--head", "1.5")


def flowing(text):
    return " ".join(text.split())


@pytest.fixture
def clock():
    return SteadyClock()


@pytest.fixture
def make_app(clock, tmp_path):
    """A new application on the same records every time."""
    return lambda: create_app(Settings(state_dir=tmp_path / "records"), clock)


@pytest.fixture
def call_run(call, make_app, monkeypatch):
    """The command line, whose own application lives at noon."""
    monkeypatch.setattr(contract, "_application", make_app)
    monkeypatch.setattr(moments, "today_at", lambda zone: dt.date(2026, 6, 21))
    return call


@pytest.fixture
def serving():
    port = Serving(free_port())
    yield port
    port.stop()


@pytest.fixture
def at_once(monkeypatch):
    monkeypatch.setattr(contract, "_AGAIN_AFTER_S", (0.0, 0.0, 0.0))


def started(call_run, *more):
    said = call_run(*KELP, *more, "--json")
    assert said.code == 0, said.err
    return json.loads(said.out)


def test_a_run_is_started_told_about_and_finished(call_run, clock):
    said = call_run(*KELP)
    text = flowing(said.out)
    assert (said.code, said.err) == (0, "")
    begun = re.search(
        r"kelp fronds \(([0-9a-f]{8})\) is in the light since 13:40, with 0 % of its dose\."
        r" Ends at 13:(\d\d):\d\d, in 1\d min",
        text,
    )
    assert begun, text
    clock.now_s += 300.0
    told = flowing(call_run("run", "tell", "cloud", "--at", "13:44:30").out)
    assert re.search(
        r"cloud before the sun at 13:44:30\. The end moves (\d min|\d\d s)[^.]* later\. Ends at", told
    )
    shown = call_run("run", "show", begun[1])
    assert shown.code == 0
    assert "seen at 13:44" in shown.out
    assert "13:40:00  put into the light" in shown.out
    assert "13:44:30  cloud before the sun" in shown.out
    clock.now_s += 60.0
    assert "frame covered" in call_run("run", "tell", "covered").out
    assert "is covered" in call_run("run", "show").out
    assert call_run("run", "tell", "uncovered").code == 0
    done = call_run("run", "tell", "finished")
    assert done.code == 0
    assert re.search(r"Finished with \d+ per cent of the dose\.", done.out)
    assert re.search(
        rf"{begun[1]}\s+kelp fronds\s+finished\s+2026-06-21 13:40\s+24000", call_run("run", "list").out
    )
    assert "No runs" in call_run("run", "list", "--status", "running").out


def test_json_is_the_services_own_answer(call_run, make_app):
    run = started(call_run)

    def ask(path):
        return contract.converse_with(make_app(), lambda service: service.get(path, {}, {})).text

    assert call_run("run", "show", "--json").out == ask(f"/v1/runs/{run['id']}") + "\n"
    assert call_run("run", "list", "--limit", "1", "--json").out == ask("/v1/runs?limit=1") + "\n"
    told = json.loads(call_run("run", "tell", "rain", "--json").out)
    assert told["event"]["payload"] == {"sky": "rain"}
    assert told["run"]["id"] == run["id"]


@pytest.mark.parametrize("word", SKIES)
def test_every_word_for_a_sky_is_one_that_the_service_knows(call_run, word):
    started(call_run)
    told = json.loads(call_run("run", "tell", word, "--for", "5min", "--json").out)
    assert told["event"]["kind"] == "sky"
    assert told["event"]["payload"] == {"sky": SKIES[word], "vouched_s": 300.0}


def test_a_meter_a_target_and_a_move_reach_the_service(call_run, clock):
    started(call_run)
    clock.now_s += 240.0
    metered = json.loads(
        call_run(
            *("run", "tell", "meter", "--quantity", "uv", "--ratio", "0.6", "--uncertainty", "0.1"),
            *("--since", "13:41", "--at", "13:43", "--json"),
        ).out
    )
    payload = metered["event"]["payload"]
    assert (payload["quantity"], payload["ratio"], payload["relative_uncertainty"]) == ("uv", 0.6, 0.1)
    assert payload["reference_s"] == NOON_S + 60.0
    assert metered["run"]["sky"]["metered"] != 1.0
    changed = json.loads(
        call_run("run", "tell", "target", "--target", "26000", "--spread", "0.2", "--json").out
    )
    assert changed["run"]["target_j_m2"] == 26000
    leaning = call_run(
        "run", "tell", "moved", "--tilt", "30", "--facing", "sw", "--skyline", "90:10,270:35", "--json"
    )
    spot = json.loads(leaning.out)["event"]["payload"]["spot"]
    assert (spot["kind"], spot["tilt_deg"], spot["aim_azimuth_deg"]) == ("open", 30, 225)
    assert spot["skyline"] == [[90, 10], [270, 35]]
    inside = json.loads(call_run("run", "tell", "moved", *WINDOW, "--distance", "0.6", "--json").out)
    spot = inside["event"]["payload"]["spot"]
    assert (spot["kind"], spot["window"]["outward_azimuth_deg"], spot["frame"]["distance_m"]) == (
        "window",
        135,
        0.6,
    )


def test_a_meter_counts_from_the_start_if_not_told_otherwise(call_run, clock):
    started(call_run)
    clock.now_s += 120.0
    said = call_run(
        "run", "tell", "meter", "--quantity", "lux", "--ratio", "0.8", "--uncertainty", "0.2", "--json"
    )
    assert json.loads(said.out)["event"]["payload"]["reference_s"] == NOON_S


@pytest.mark.parametrize(
    ("told", "complaint"),
    [
        (("clod",), "WHAT clod: must be one of"),
        (("clod",), "did you mean cloud"),
        (("meter",), "meter needs --quantity, --ratio, --uncertainty"),
        (("target",), "target needs --target"),
        (("moved",), "moved needs the new spot"),
        (("cloud", "--ratio", "0.5"), "--ratio does not go with cloud"),
        (("covered", "--for", "5min"), "--for does not go with covered"),
        (("cloud", "--tilt", "30"), "tell moved"),
        (("target", "--target", "0.5"), "--target 0.5: must be"),
        (("moved", "--tilt", "95"), "--tilt 95: must be"),
        (("moved", *WINDOW), "--distance: must be given"),
        (("moved", "--skyline", "90-10"), "--skyline 90-10: must be azimuth:elevation pairs"),
        (("covered", "--at", "12:00"), "--at"),
        (("covered", "--at", "14:30"), "--at"),
        (("cloud", "--at", "25:00"), "--at 25:00: must be a time of day"),
    ],
)
def test_what_cannot_be_told_is_refused_in_the_options_names(call_run, told, complaint):
    started(call_run)
    said = call_run("run", "tell", *told)
    assert (said.code, said.out) == (2, "")
    assert complaint in said.err
    assert all(line.startswith("noonframe: ") for line in said.err.splitlines())


def test_nothing_under_way_and_too_much_under_way_are_said(call_run):
    assert "no run has been started" in call_run("run", "tell", "cloud").err
    first, second = started(call_run), started(call_run)
    which = call_run("run", "tell", "cloud")
    assert which.code == 2
    assert first["id"][:8] in which.err
    assert second["id"][:8] in which.err
    assert call_run("run", "tell", "finished", first["id"][:8]).code == 0
    assert json.loads(call_run("run", "tell", "finished", "--json").out)["run"]["id"] == second["id"]
    assert "no run is under way" in call_run("run", "tell", "cloud").err


@pytest.mark.parametrize("wanted", ["00000000-0000-4000-8000-000000000000", "kelp", "abc"])
def test_a_run_that_is_none_is_something_typed_wrong(call_run, wanted):
    started(call_run)
    said = call_run("run", "show", wanted)
    assert (said.code, said.out) == (2, "")
    assert wanted in said.err


class Listing:
    """A service that knows these runs."""

    def __init__(self, *ids):
        self.runs = [
            {"id": one, "name": "a tide table", "status": "running", "created": "2026-06-21T13:40:00+01:00"}
            for one in ids
        ]

    async def get(self, path, fields, names):
        return Answer("", {"runs": self.runs})


def found(service, wanted, **how):
    return asyncio.run(find_run(service, wanted, **how))


def test_the_beginning_of_an_id_is_enough_until_two_runs_share_it():
    one, other = "3f2c1d8e-1111-4111-8111-111111111111", "3f2c1d8e-2222-4222-8222-222222222222"
    runs = Listing(one, other, "99aa0000-3333-4333-8333-333333333333")
    assert found(runs, "99AA") == "99aa0000-3333-4333-8333-333333333333"
    assert found(runs, "3f2c1d8e-11") == one
    assert found(runs, "3f2c1d8e22") == other
    assert found(runs, "last") == one
    with pytest.raises(Refused) as trouble:
        found(runs, "3f2c")
    assert "2 runs begin with 3f2c" in trouble.value.lines[0]
    told_apart = [line.split()[0] for line in trouble.value.lines[1:]]
    assert len(set(told_apart)) == 2
    assert all(one_id.startswith(("3f2c1d8e-1", "3f2c1d8e-2")) for one_id in told_apart)
    with pytest.raises(Refused, match="no run begins with abcd"):
        found(runs, "abcd")
    with pytest.raises(Refused, match="4 or more"):
        found(runs, "3f2")


@pytest.mark.parametrize(
    ("now", "typed", "meant"),
    [
        ("2026-06-21T13:40:00+01:00", "13:38", "2026-06-21T13:38:00+01:00"),
        ("2026-06-22T00:10:00+01:00", "23:58:30", "2026-06-21T23:58:30+01:00"),
        ("2026-06-21T13:40:00+01:00", "13:41", "2026-06-21T13:41:00+01:00"),
        ("2026-06-21T13:40:00+01:00", "2026-06-20 13:38", "2026-06-20T13:38:00+01:00"),
        ("2026-06-21T13:40:00+01:00", "2026-06-21T12:38:00Z", "2026-06-21T12:38:00Z"),
    ],
)
def test_a_time_without_a_day_is_the_one_just_past(now, typed, meant):
    run = {"at": now, "basis": {"time_zone": "Europe/Lisbon"}}
    assert dt.datetime.fromisoformat(moment_text(typed, run, "--at")) == dt.datetime.fromisoformat(meant)


class Cutting:
    """An application whose answers to the first `count` posts are lost on the way, after the work is done."""

    def __init__(self, app, count):
        self.app, self.left, self.keys = app, count, []

    async def __call__(self, scope, receive, send):
        if scope["type"] != "http" or scope["method"] != "POST":
            await self.app(scope, receive, send)
            return
        self.keys.append(dict(scope["headers"]).get(b"idempotency-key"))
        if self.left <= 0:
            await self.app(scope, receive, send)
            return
        self.left -= 1

        async def nothing(message):
            pass

        await self.app(scope, receive, nothing)
        head = {"type": "http.response.start", "status": 201, "headers": [(b"content-length", b"99")]}
        await send(head)  # and the connection is closed without the rest


def test_a_start_and_an_event_whose_answers_are_lost_count_once(call, serving, make_app, at_once):
    app = Cutting(make_app(), 2)
    serving.start(app)
    there = ("--server", serving.url)
    run = json.loads(call(*KELP, *there, "--json").out)
    assert len(app.keys) == 3
    assert len(set(app.keys)) == 1
    assert [one["id"] for one in httpx.get(f"{serving.url}/v1/runs", trust_env=False).json()["runs"]] == [
        run["id"]
    ]
    app.left = 1
    assert call("run", "tell", "cloud", *there).code == 0
    events = httpx.get(f"{serving.url}/v1/runs/{run['id']}/events", trust_env=False).json()["events"]
    assert [event["kind"] for event in events] == ["started", "sky"]
    assert len(set(app.keys)) == 2


def test_a_connection_that_stays_broken_is_said_with_what_it_means(call, serving, make_app, at_once):
    app = Cutting(make_app(), 99)
    serving.start(app)
    said = call(*KELP, "--server", serving.url)
    assert (said.code, said.out) == (3, "")
    assert "run list" in said.err
    assert len(app.keys) == 4


@pytest.mark.parametrize("command", ["start", "list", "show", "tell", "watch"])
def test_help_has_examples_that_work_and_the_exit_codes(call_run, clock, command):
    clock.now_s = NOON_S - 5400.0  # 12:10 at the place
    if command != "start":
        started(call_run, "--start", "12:00")
    said = call_run("run", command, "--help")
    whole = re.sub(r"\\\s+", "", said.out)
    examples = re.findall(rf"^\s+noonframe (run {command}\b.*)", whole, re.MULTILINE)
    assert len(examples) >= 2
    assert all(f"{code} " in said.out for code in (0, 1, 2, 3, 130))
    if command == "watch":
        call_run("run", "tell", "finished")
    for example in examples:
        done = call_run(*shlex.split(example))
        assert done.code == 0, (example, done.err)


def test_help_names_every_word(call):
    text = flowing(re.sub(r"[│╭╮╰╯─]", " ", call("run", "tell", "--help").out))
    assert all(re.search(rf"\b{word}\b", text) for word in WORDS)


def test_without_enough_light_the_code_says_so(call_run, clock):
    clock.now_s = NOON_S + 9.0 * 3600.0  # 22:40 at the place: dark
    said = call_run(*KELP)
    assert said.code == 1
    assert "dark" in said.out.lower()
