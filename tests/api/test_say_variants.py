"""One sentence for tomorrow, the next move, what is in the light and the time left; and the same flat."""

import datetime as dt
import uuid

import pytest
from api.conftest import Caller

from noonframe.api.app import create_app
from noonframe.settings import Settings
from noonframe.store.sessions import SESSIONS, SessionFields

NOON_S = dt.datetime(2026, 6, 21, 12, 0, tzinfo=dt.UTC).timestamp()
PLACE = {"place": "quayside-yard", "target_j_m2": 24000, "stack": "float-glass-4mm"}
WINDOW = {
    "window_outward_azimuth_deg": 135,
    "window_width_m": 0.4,
    "window_sill_m": 0.1,
    "window_head_m": 0.9,
    "window_reveal_depth_m": 0.2,
    "frame_distance_m": 0.6,
    "frame_width_m": 0.2,
    "frame_height_m": 0.25,
}
MOVING = {**PLACE, **WINDOW, "target_j_m2": 45000, "most_places": 12}
MOVING["start"] = "2026-06-21T09:00:00+01:00"
KINDS = ("", "/tomorrow", "/next-move", "/running", "/time-left")
NOTHING = "Nothing is in the light."


class Clock:
    def __init__(self):
        self.now_s = NOON_S

    def __call__(self):
        return self.now_s


class Sayer(Caller):
    """An app with records of its own, asked for sentences."""

    def __init__(self, folder):
        self.clock = Clock()
        super().__init__(create_app(Settings(state_dir=folder), clock=self.clock))

    def text(self, what, **fields):
        response = self.get(f"/v1/say{what}", fields)
        assert response.status_code == 200, response.text
        assert response.headers["content-type"] == "text/plain; charset=utf-8"
        assert response.headers["vary"] == "Accept"
        assert "\n" not in response.text
        return response.text

    def flat(self, what, **fields):
        response = self.get(f"/v1/say{what}", fields, headers={"Accept": "application/json"})
        assert response.status_code == 200, response.text
        assert response.json()["summary"] == self.text(what, **fields)
        return response.json()

    def start(self, after_s=0.0, **fields):
        begin = dt.datetime.fromtimestamp(NOON_S + after_s, dt.UTC).isoformat()
        response = self.post("/v1/runs", {**PLACE, "start": begin, **fields})
        assert response.status_code == 201, response.text
        return response.json()

    def tell(self, run, kind):
        response = self.post(f"/v1/runs/{run['id']}/events", {"kind": kind})
        assert response.status_code == 201, response.text

    def state(self, run):
        return self.answer(f"/v1/runs/{run['id']}", {})


@pytest.fixture
def sayer(tmp_path):
    made = Sayer(tmp_path)
    yield made
    made.app.state.records.close()


def epoch(text):
    return round(dt.datetime.fromisoformat(text).timestamp())


@pytest.mark.parametrize("what", KINDS)
def test_every_answer_is_flat_with_plain_keys_and_true_kinds(sayer, what):
    sayer.start(name="kelp fronds")
    flat = sayer.flat(what, **({} if what in ("/running", "/time-left") else PLACE))
    for name, value in flat.items():
        assert name.isascii()
        assert name.replace("_", "").isalnum()
        assert value is None or isinstance(value, str | int | float)
        if name.endswith("_epoch") and value is not None:
            assert value == epoch(flat[name.removesuffix("_epoch")])
        if name.removesuffix("_epoch") in ("at", "start", "end", "best_start") and isinstance(value, str):
            assert dt.datetime.fromisoformat(value).utcoffset() == dt.timedelta(hours=1)


def test_tomorrow_is_the_best_slot_of_the_next_day_there(sayer):
    best = sayer.answer("/v1/slots", {**PLACE, "date": "2026-06-22"})["slots"][0]
    flat = sayer.flat("/tomorrow", **PLACE)
    assert flat["found"] is True
    assert flat["date"] == "2026-06-22"
    for name in ("best_start", "best_end", "first_start", "last_start", "pace"):
        assert flat[name] == best[name]
    assert flat["seconds"] == round(best["length_s"])
    begins = dt.datetime.fromisoformat(best["best_start"])
    assert flat["summary"].startswith(f"Tomorrow begin at {begins:%H:%M}, for ")


@pytest.mark.parametrize(
    ("now", "day"),
    [
        ("2026-06-21T23:30:00+00:00", "2026-06-23"),  # past midnight in Porto already
        ("2026-03-28T12:00:00+00:00", "2026-03-29"),  # a day of 23 hours (Directive 2000/84/EC)
        ("2026-10-24T12:00:00+00:00", "2026-10-25"),  # and one of 25
        ("2026-12-31T12:00:00+00:00", "2027-01-01"),
    ],
)
def test_tomorrow_is_a_day_by_the_clock_of_the_place(sayer, now, day):
    sayer.clock.now_s = dt.datetime.fromisoformat(now).timestamp()
    assert sayer.flat("/tomorrow", **PLACE)["date"] == day


def test_tomorrow_without_light_tells_the_next_chance(sayer):
    sayer.clock.now_s = dt.datetime(2026, 12, 21, 12, tzinfo=dt.UTC).timestamp()
    flat = sayer.flat("/tomorrow", latitude_deg=78.2, longitude_deg=15.6, target_j_m2=24000)
    assert flat["found"] is False
    assert flat["best_start"] is flat["minutes"] is flat["best_start_epoch"] is None
    assert flat["next_start"] > "2027-01"
    assert flat["next_start_epoch"] == epoch(flat["next_start"])
    assert "the next chance is" in flat["summary"]


def test_nothing_in_the_light_is_a_sentence_and_no_error(sayer):
    assert sayer.text("/running") == sayer.text("/time-left") == NOTHING
    assert sayer.text("/running", name="kelp fronds") == "Nothing called kelp fronds is in the light."
    flat = sayer.flat("/time-left")
    assert (flat["count"], flat["reached"], flat["names"]) == (0, False, "")
    assert flat["run_id"] is flat["seconds_left"] is flat["end_epoch"] is None
    move = sayer.flat("/next-move")
    assert (move["found"], move["of"], move["at"]) == (False, "nothing", None)


def test_one_print_has_so_much_time_left(sayer):
    run = sayer.start(-120.0, name="kelp fronds")
    state = sayer.state(run)
    flat = sayer.flat("/time-left")
    assert flat["end_epoch"] == state["end_epoch"]
    assert flat["seconds_left"] == round(state["remaining_s"])
    assert flat["minutes_left"] == pytest.approx(state["remaining_s"] / 60.0, abs=0.05)
    assert flat["dose_percent"] == round(100 * state["dose_share"])
    end = dt.datetime.fromisoformat(state["end"])
    assert f"until {end + dt.timedelta(seconds=30):%H:%M}" in flat["summary"]
    assert flat["summary"].startswith("Kelp fronds has ")
    assert "if cloud covers the sun" in flat["summary"]
    assert sayer.text("/running").startswith("Kelp fronds is in the light with ")
    sayer.clock.now_s += 60.0
    assert sayer.flat("/time-left")["seconds_left"] == pytest.approx(flat["seconds_left"] - 60, abs=2)


def test_of_several_the_next_to_finish_comes_first_with_how_many(sayer):
    sayer.start(0.0, name="tide table")
    sayer.start(-240.0, name="kelp fronds")
    sayer.start(-120.0, name="ferry ticket")
    flat = sayer.flat("/running")
    assert flat["count"] == 3
    assert flat["names"] == "kelp fronds, ferry ticket, tide table"
    assert flat["name"] == "kelp fronds"
    assert flat["summary"].startswith("3 prints are in the light: kelp fronds until ")
    assert sayer.text("/time-left").endswith("; 2 more prints are in the light.")
    assert sayer.flat("/time-left", name=" Ferry  TICKET".strip())["count"] == 1
    assert sayer.text("/next-move").startswith("Next: take in kelp fronds at ")


def test_a_print_that_has_its_dose_is_to_be_taken_in(sayer):
    run = sayer.start(-120.0, name="kelp fronds")
    sayer.start(name="ferry ticket")
    sayer.clock.now_s += sayer.state(run)["remaining_s"] + 60.0
    flat = sayer.flat("/time-left")
    assert (flat["reached"], flat["seconds_left"], flat["minutes_left"]) == (True, 0, 0.0)
    assert "has had its dose since" in flat["summary"]
    move = sayer.flat("/next-move")
    assert move["summary"] == "Now take in kelp fronds: it has had its dose."
    assert move["seconds_left"] == pytest.approx(-60, abs=5)
    sayer.tell(run, "finished")
    assert sayer.flat("/time-left")["name"] == "ferry ticket"


def test_a_print_that_was_forgotten_does_not_hide_the_others(sayer):
    sayer.start(-3 * 86400.0, name="tide table")
    sayer.start(-60.0, name="kelp fronds")
    flat = sayer.flat("/running")
    assert (flat["name"], flat["count"]) == ("kelp fronds", 2)


def test_a_covered_print_says_what_it_needs(sayer):
    run = sayer.start(-120.0, name="kelp fronds")
    sayer.tell(run, "covered")
    sayer.clock.now_s += 60.0
    assert sayer.text("/time-left").startswith("Kelp fronds lies covered")
    assert "lies covered" in sayer.text("/running")
    assert sayer.flat("/next-move")["at"] is None


def test_a_print_without_a_name_is_the_print(sayer):
    sayer.start()
    assert sayer.text("/time-left").startswith("The print has ")
    assert sayer.flat("/running")["name"] == ""


def test_the_next_move_is_that_of_the_plan(sayer):
    plan = sayer.answer("/v1/moves", MOVING)
    times = [epoch(move["time"]) for move in plan["moves"]]
    assert len(times) == 1
    sayer.clock.now_s = epoch(MOVING["start"]) + 60.0
    first = sayer.flat("/next-move", **MOVING)
    assert (first["of"], first["at_epoch"], first["moves_left"]) == ("plan", times[0], 1)
    assert first["says"] == plan["moves"][0]["says"]
    assert first["seconds_left"] == pytest.approx(times[0] - sayer.clock.now_s, abs=1)
    assert f" move it to {first['says']}." in first["summary"]
    sayer.clock.now_s = times[0] + 1.0
    last = sayer.flat("/next-move", **MOVING)
    assert (last["found"], last["moves_left"], last["end"]) == (False, 0, plan["end"])
    assert last["summary"].startswith("No move is left; the dose is there at ")


def test_a_plan_without_moves_says_how_to_lay_it(sayer):
    said = sayer.text("/next-move", **PLACE)
    assert said.startswith("No move is needed: lay it ")
    dark = sayer.flat("/next-move", **{**PLACE, "start": "2026-06-21T23:30:00+01:00"})
    assert dark["found"] is False
    assert "does not give the dose" in dark["summary"]


def plan_of(*steps):
    basis = {"place": "x", "latitude_deg": 41.15, "longitude_deg": -8.61, "time_zone": "Europe/Lisbon"}
    made = []
    for kind, start, end, state, hands in steps:
        made.append(
            {
                "id": f"kelp-1:{kind}",
                "kind": kind,
                "sheet_id": "kelp-1",
                "sheet": "kelp 1",
                "start": f"2026-06-21T{start}:00+01:00",
                "end": f"2026-06-21T{end}:00+01:00",
                "hands": hands,
                "state": state,
                "says": f"{kind.capitalize()} kelp 1.",
            }
        )
    return {"steps": made, "basis": basis, "cautions": ["Mind the glass."], "summary": "x"}


def keep(sayer, plan, name="Kelp day", begins_s=NOON_S):
    with sayer.app.state.records.open().write() as db:
        fields = SessionFields(name, begins_s, begins_s + 36000.0, {}, plan)
        SESSIONS.create(db, uuid.uuid4(), fields, now_s=NOON_S - 3600.0)


def test_the_next_move_of_a_session_is_the_next_work_for_the_hands(sayer):
    steps = (
        ("load", "12:50", "12:53", "done", True),
        ("expose", "12:53", "13:10", "running", False),
        ("unload", "13:10", "13:12", "planned", True),
        ("wash", "13:12", "13:20", "planned", True),
    )
    keep(sayer, plan_of(*steps))
    sayer.start(name="something else")
    flat = sayer.flat("/next-move")
    assert (flat["of"], flat["name"], flat["moves_left"]) == ("session", "kelp 1", 2)
    assert flat["summary"] == "Next, at 13:10: unload kelp 1."
    assert (flat["seconds_left"], flat["caution"]) == (600, "Mind the glass.")
    sayer.clock.now_s += 900.0
    assert sayer.text("/next-move") == "Due since 13:10: unload kelp 1."
    assert sayer.text("/next-move", session="kelp DAY") == "Due since 13:10: unload kelp 1."


def test_a_session_of_another_day_is_not_the_one_that_is_on(sayer):
    keep(sayer, plan_of(("load", "12:50", "12:53", "planned", True)), begins_s=NOON_S - 2 * 86400.0)
    keep(sayer, plan_of(("load", "12:50", "12:53", "planned", True)), "Later", begins_s=NOON_S + 2 * 86400.0)
    assert sayer.flat("/next-move")["of"] == "nothing"
    assert sayer.flat("/next-move", session="Later")["of"] == "session"


def test_a_session_whose_plan_cannot_be_read_hides_nothing(sayer):
    keep(sayer, {"steps": "none"})
    sayer.start(name="kelp fronds")
    assert sayer.flat("/next-move")["of"] == "run"
    response = sayer.get("/v1/say/next-move", {"session": "Kelp day"})
    assert (response.status_code, response.json()["errors"][0]["field"]) == (422, "session")


def test_a_session_that_is_done_says_so(sayer):
    keep(sayer, plan_of(("wash", "12:50", "12:53", "done", True)))
    assert sayer.text("/next-move") == "Nothing more is to be done in the session Kelp day."


def test_saved_names_are_all_that_a_question_needs(sayer):
    recipe = {"name": "kelp on cotton", "sensitizer": "citrate-classic", "stack": ["float-glass-4mm"]}
    spot = {"name": "yard bench", "place": "quayside-yard", "spot": {"kind": "open"}}
    for path, body in (("/v1/recipes", recipe), ("/v1/spots", spot)):
        assert sayer.post(path, body).status_code == 201
    names = {"saved_spot": "yard bench", "recipe": "kelp on cotton"}
    plain = {"place": "quayside-yard", "stack": "float-glass-4mm"}
    for what in ("/tomorrow", "/next-move"):
        saved, told = sayer.flat(what, **names), sayer.flat(what, **plain)
        same = ("best_start", "first_start", "end")
        assert {name: saved.get(name) for name in same} == {name: told.get(name) for name in same}


@pytest.mark.parametrize(
    ("what", "fields", "field"),
    [
        ("/tomorrow", {}, "latitude_deg"),
        ("/tomorrow", {**PLACE, "start": "2026-06-21T12:00:00Z"}, "start"),
        ("/tomorrow", {**PLACE, "limit": 1}, "limit"),
        ("/running", {"place": "quayside-yard"}, "place"),
        ("/time-left", {"name": ""}, "name"),
        ("/time-left", {"run": "x"}, "run"),
        ("/next-move", {"session": "nobody"}, "session"),
        ("/next-move", {**PLACE, "session": "Kelp day"}, "session"),
        ("/next-move", {"stack": "none"}, "latitude_deg"),
        ("/next-move", {**PLACE, "saved_spot": "yard bench"}, "place"),
    ],
)
def test_what_an_answer_has_no_use_for_is_refused(sayer, what, fields, field):
    response = sayer.get(f"/v1/say{what}", fields)
    assert response.status_code == 422
    assert response.headers["content-type"] == "application/problem+json"
    assert [error["field"] for error in response.json()["errors"]] == [field]
