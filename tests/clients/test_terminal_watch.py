"""`run watch`: streams as they come, connections that break, the line on a terminal and in a pipe."""

import asyncio
import datetime as dt
import io
import json
import re
import threading

import httpx
import pytest
from clients.runs_rig import Serving, SteadyClock, free_port

from noonframe.api.app import create_app
from noonframe.settings import Settings
from noonframe_terminal import contract, watch, watching
from noonframe_terminal.contract import Service
from noonframe_terminal.event_stream import messages
from noonframe_terminal.show_run import watch_line
from noonframe_terminal.ticker import Ticker
from noonframe_terminal.trouble import Failed

KELP = {"place": "quayside-yard", "name": "kelp fronds", "target_j_m2": 24000}


@pytest.fixture
def clock():
    return SteadyClock()


@pytest.fixture
def make_app(clock, tmp_path):
    return lambda: create_app(Settings(state_dir=tmp_path / "records"), clock)


@pytest.fixture
def serving(make_app):
    port = Serving(free_port())
    port.start(make_app())
    yield port
    port.stop()


@pytest.fixture
def quick(monkeypatch):
    """Waits that are over soon."""
    monkeypatch.setattr(watching, "_ASK_EVERY_S", 0.02)
    monkeypatch.setattr(watching, "_LONGEST_WAIT_S", 0.1)


@pytest.fixture
def heard(monkeypatch):
    """Every update that the page took, and a way to wait for the next one of a kind."""
    return Heard(monkeypatch)


class Heard:
    def __init__(self, monkeypatch):
        self.updates, self.news = [], threading.Condition()
        take = watch.Page.take

        def taking(page, update):
            take(page, update)
            if update is not None:
                with self.news:
                    self.updates.append(update)
                    self.news.notify_all()

        monkeypatch.setattr(watch.Page, "take", taking)

    def wait_for(self, what):
        with self.news:
            assert self.news.wait_for(lambda: any(what(update) for update in self.updates), 30)


def is_state(update):
    return isinstance(update, watching.State)


def post(serving, path, **body):
    answer = httpx.post(f"{serving.url}{path}", json=body, trust_env=False, timeout=30)
    assert answer.status_code == 201, answer.text
    return answer.json()


def meanwhile(work):
    """Run `work` in a thread; its failure is raised when it is joined."""
    faults = []

    def run():
        try:
            work()
        except BaseException as fault:
            faults.append(fault)

    thread = threading.Thread(target=run)
    thread.start()

    def join():
        thread.join(60)
        if faults:
            raise faults[0]

    return join


def test_it_follows_to_the_end_in_plain_lines(call, serving, heard):
    run = post(serving, "/v1/runs", **KELP)

    def tell():
        heard.wait_for(is_state)
        post(serving, f"/v1/runs/{run['id']}/events", kind="sky", sky="covered")
        heard.wait_for(lambda update: is_state(update) and update.says["sky"]["seen"] == "covered")
        post(serving, f"/v1/runs/{run['id']}/events", kind="finished")

    join = meanwhile(tell)
    said = call("run", "watch", run["id"][:8], "--server", serving.url)
    join()
    lines = said.out.splitlines()
    assert (said.code, said.err) == (0, "")
    assert lines[0] == f"Following kelp fronds ({run['id'][:8]}); Ctrl-C leaves it running."
    assert "13:40:00  told: put into the light" in lines
    assert any(
        re.fullmatch(r"13:40:0\d +0 %  ends at 13:\d\d:\d\d, in \d min.*; a clear sky", line)
        for line in lines
    )
    covered = lines.index("13:40:00  told: cloud before the sun")
    assert any(line.endswith("; cloud before the sun") for line in lines[covered + 1 :])
    assert lines[-1] == "13:40:00  Finished with 0 per cent of the dose."
    assert not re.search(r"[\x00-\x09\x0b-\x1f]", said.out)


def test_a_service_that_stops_and_comes_back_is_waited_for_and_made_up_for(
    call, serving, heard, quick, make_app
):
    run = post(serving, "/v1/runs", **KELP)
    path = f"/v1/runs/{run['id']}/events"

    def break_and_mend():
        heard.wait_for(is_state)
        serving.stop()
        heard.wait_for(lambda update: isinstance(update, watching.Away))
        serving.start(make_app())
        post(serving, path, kind="sky", sky="rain")
        post(serving, path, kind="finished")

    join = meanwhile(break_and_mend)
    said = call("run", "watch", "--server", serving.url)
    join()
    assert said.code == 0
    assert said.out.count("No contact") == 1
    lines = said.out.splitlines()
    assert "In contact again." in lines
    told = [line.partition("told: ")[2] for line in lines if "told: " in line]
    assert told == ["put into the light", "rain", "finished"]  # each once, in order, also what was missed
    assert lines[-1].endswith("of the dose.")


def test_without_a_server_the_same_contract_is_asked_time_and_again(
    call, make_app, heard, quick, monkeypatch
):
    monkeypatch.setattr(contract, "_application", make_app)
    run = contract.converse_with(make_app(), lambda service: service.change("/v1/runs", KELP, {})).says

    def tell():
        heard.wait_for(is_state)
        event = {"kind": "finished"}
        contract.converse_with(
            make_app(), lambda service: service.change(f"/v1/runs/{run['id']}/events", event, {})
        )

    join = meanwhile(tell)
    said = call("run", "watch")
    join()
    assert said.code == 0
    assert re.findall(r"told: (.+)", said.out) == ["put into the light", "finished"]


def test_json_lines_are_the_states_as_they_came(call, serving):
    run = post(serving, "/v1/runs", **KELP)
    post(serving, f"/v1/runs/{run['id']}/events", kind="discarded")
    said = call("run", "watch", "last", "--json", "--server", serving.url)
    states = [json.loads(line) for line in said.out.splitlines()]
    assert said.code == 0
    assert [state["status"] for state in states] == ["discarded"]
    assert states[0]["id"] == run["id"]


def test_it_comes_back_once_the_dose_is_there_if_asked_to(call, serving, clock):
    post(serving, "/v1/runs", **KELP)
    clock.now_s += 3600.0
    said = call("run", "watch", "--until-reached", "--server", serving.url)
    assert said.code == 0
    assert re.search(r"it has had its dose, \d\.\d stops over: take it in", said.out)
    states = call("run", "watch", "--until-reached", "--json", "--server", serving.url)
    assert json.loads(states.out)["reached"] is True


def test_a_service_that_was_never_there_is_not_waited_for(call):
    said = call(
        "run", "watch", "3f2c1d8e-1111-4111-8111-111111111111", "--server", f"http://127.0.0.1:{free_port()}"
    )
    assert (said.code, said.out) == (3, "")
    assert "no answer from" in said.err


def test_stopping_it_leaves_the_run_and_says_so(call, serving, monkeypatch):
    run = post(serving, "/v1/runs", **KELP)

    async def stopped(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(watch, "watch", stopped)
    said = call("run", "watch", "--server", serving.url)
    assert said.code == 130
    assert f"the run goes on; noonframe run watch {run['id'][:8]}" in said.err
    assert httpx.get(f"{serving.url}/v1/runs/{run['id']}", trust_env=False).json()["status"] == "running"


async def collected(*parts):
    async def come():
        for part in parts:
            yield part

    return [message async for message in messages(come())]


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        # HTML standard, section 9.2.6: its examples of how a stream is read
        ((b"data: YHOO\ndata: +2\ndata: 10\n\n",), [("message", "", "YHOO\n+2\n10")]),
        ((b": test stream\n\ndata: first event\nid: 1\n\ndata:second event\nid\n\ndata:  third event\n",),
         [("message", "1", "first event"), ("message", "", "second event")]),
        ((b"data:test\n\ndata: test\n\n",), [("message", "", "test"), ("message", "", "test")]),
        # ends of lines of every kind, also cut in two
        ((b"event: state\r", b"\ndata: {}\r\n\r", b"\nid: 7\rdata: x\r\r", b"\n"),
         [("state", "", "{}"), ("message", "7", "x")]),
        # what breaks a line elsewhere is text here; a letter may be cut in two
        (("data: a\u2028b\u0085\x0c".encode() + b"\n\n", b"data: \xc3", b"\xa9\n\n"),
         [("message", "", "a\u2028b\u0085\x0c"), ("message", "", "é")]),
    ],
)  # fmt: skip
def test_a_stream_is_read_as_the_standard_says(parts, expected):
    assert asyncio.run(collected(*parts)) == expected


@pytest.mark.parametrize(
    ("status", "kind"), [(404, "application/problem+json"), (200, "text/html"), (502, "text/html")]
)
def test_something_else_than_a_stream_is_said_to_be(status, kind):
    def answer(request):
        return httpx.Response(status, headers={"Content-Type": kind}, text="<html>")

    async def read():
        async with httpx.AsyncClient(
            transport=httpx.MockTransport(answer), base_url="http://there"
        ) as client:
            service = Service(client, "http://there", streams=True)
            return [message async for message in service.stream("/v1/runs/x/stream", "")]

    with pytest.raises(Failed, match="not as noonframe does"):
        asyncio.run(read())


def test_coming_back_it_says_what_it_knows_already(quick):
    asked = []
    state = {"status": "running"}

    def answer(request):
        asked.append(request.headers.get("last-event-id"))
        text = f"event: state\nid: {len(asked)}\ndata: {json.dumps(state)}\n\n"
        if len(asked) == 3:
            state["status"] = "finished"
            text += f"event: state\nid: 9\ndata: {json.dumps(state)}\n\n"
        return httpx.Response(200, headers={"Content-Type": "text/event-stream"}, text=text)

    async def read():
        async with httpx.AsyncClient(
            transport=httpx.MockTransport(answer), base_url="http://there"
        ) as client:
            return [u async for u in watching.follow(Service(client, "http://there", streams=True), "x")]

    updates = asyncio.run(read())
    assert asked == [None, "1", "2"]
    assert [type(update).__name__ for update in updates] == [
        "State",
        "Away",
        "State",
        "Away",
        "State",
        "State",
    ]


class Screen(io.StringIO):
    def isatty(self):
        return True


def running(**more):
    run = {
        "id": "3f2c1d8e-1111-4111-8111-111111111111",
        "name": "a ferry ticket",
        "status": "running",
        "at": "2026-06-21T13:40:00+01:00",
        "end": "2026-06-21T13:45:00+01:00",
        "end_low": "2026-06-21T13:44:00+01:00",
        "end_high": "2026-06-21T13:49:00+01:00",
        "dose_share": 0.5,
        "effective_w_m2": 40.0,
        "target_j_m2": 24000.0,
        "reached": False,
        "over_stops": 0.0,
        "stopped": None,
        "sky": {"says": "a clear sky"},
        "advice": "About 5 minutes left.",
    }
    return run | more


def test_on_a_terminal_one_line_keeps_up_and_the_bell_rings_once(monkeypatch):
    screen = Screen()
    monkeypatch.setattr("sys.stdout", screen)
    monkeypatch.setenv("TERM", "xterm")
    seconds = iter([0.0, 0.0, 60.0, 300.0, 301.0, 302.0, 302.0])
    monkeypatch.setattr("time.monotonic", lambda: next(seconds))
    page = watch.Page(Ticker())
    page.begin(running())
    page.take(watching.State("", running()))
    assert screen.getvalue().count("\n") == 1  # the title's
    page.take(None)
    assert (
        "\r13:41:00   60 %  ends at 13:45:00, in 4 min" in screen.getvalue()
    )  # 40 W/m2 for 60 s of 24000 J/m2
    assert "\a" not in screen.getvalue()
    page.take(None)
    page.take(None)
    ended = running(status="finished", stopped="2026-06-21T13:45:02+01:00", advice="Finished.")
    page.take(watching.State("", ended))
    page.close()
    assert screen.getvalue().count("\a") == 1
    assert "it has had its dose" in screen.getvalue()
    assert screen.getvalue().endswith("13:45:02  Finished.\n")
    assert "\x1b" not in screen.getvalue()


@pytest.mark.parametrize(
    ("more", "after_s", "shown"),
    [
        ({}, 0, "13:40:00   50 %  ends at 13:45:00, in 5 min (13:44 to 13:49); a clear sky"),
        ({"end_high": None}, 0, "13:40:00   50 %  ends at 13:45:00, in 5 min; a clear sky"),
        ({"status": "covered", "advice": "Covered."}, 60, "13:41:00   50 %  Covered."),
        ({"end": None, "advice": "The light goes."}, 0, "13:40:00   50 %  The light goes."),
        ({"dose_share": 0.999}, 0,
         "13:40:00   99 %  ends at 13:45:00, in 5 min (13:44 to 13:49); a clear sky"),
        ({}, 300, "13:45:00  100 %  it has had its dose: take it in"),
        ({"reached": True, "dose_share": 1.5, "over_stops": 0.58}, 0,
         "13:40:00  150 %  it has had its dose, 0.6 stops over: take it in"),
    ],
)  # fmt: skip
def test_the_line_says_share_end_and_sky(more, after_s, shown):
    run = running(**more)
    assert watch_line(run, dt.datetime.fromisoformat(run["at"]) + dt.timedelta(seconds=after_s)) == shown
