"""Session plans over HTTP: days looked at, kept, planned anew; every word and figure hangs together."""

import datetime as dt
import json
from itertools import pairwise
from xml.etree import ElementTree as Tree

import pytest

from noonframe.api.app import create_app
from noonframe.api.examples import OPEN_SPOT, WINDOW_SPOT
from noonframe.settings import Settings

PLACE = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
GLASS = {"stack": "float-glass-4mm,polyester-film"}
SPOTS = [
    {"name": "yard", "spot": OPEN_SPOT},
    {"name": "window", "spot": WINDOW_SPOT, "moves": "table"},
]
KELP = {"name": "kelp fronds", "count": 3, "target_j_m2": 24000}
TICKET = {"name": "ferry ticket", "count": 2, "target_j_m2": 40000}
TABLE = {"name": "tide table", "count": 2, "target_j_m2": 18000, "priority": 2}
DAY = {
    **PLACE,
    **GLASS,
    "start": "2026-06-21T10:00:00+01:00",
    "end": "2026-06-21T18:00:00+01:00",
    "spots": SPOTS,
    "frames": [{"name": "frame", "count": 3}],
    "sheets": [KELP, TICKET, TABLE],
}
MORNING = dt.datetime(2026, 6, 21, 8, 0, tzinfo=dt.UTC).timestamp()


def seconds(text):
    return dt.datetime.fromisoformat(text).timestamp()


def planned(caller, **changes):
    response = caller.post("/v1/session", {**DAY, **changes})
    assert response.status_code == 200, response.text
    return response.json()


def of(plan, kind):
    return [step for step in plan["steps"] if step["kind"] == kind]


def check(plan, *, frames=3, sheets=7):
    """What holds for every plan: nothing lost, one pair of hands, one sheet in a frame, steps in turn."""
    assert len(plan["sheets"]) == sheets
    assert len({sheet["sheet_id"] for sheet in plan["sheets"]}) == sheets
    assert all(sheet["says"] for sheet in plan["sheets"])
    ids = [step["id"] for step in plan["steps"]]
    assert len(ids) == len(set(ids))
    busy = sorted(
        (seconds(s["start"]), seconds(s["end"]))
        for s in plan["steps"]
        if s["hands"] and s["state"] == "planned"
    )
    assert all(one[1] <= other[0] + 0.002 for one, other in pairwise(busy))
    for sheet in plan["sheets"]:
        own = {step["kind"]: step for step in plan["steps"] if step["sheet_id"] == sheet["sheet_id"]}
        if sheet["state"] in ("not-fitting", "dropped"):
            assert not own or sheet["state"] == "dropped"
            continue
        for before, after in (("load", "expose"), ("expose", "unload"), ("unload", "wash"), ("wash", "soak")):
            assert own[before]["end"] == own[after]["start"]
        assert (own["expose"]["start"], own["expose"]["end"]) == (sheet["start"], sheet["end"])
        assert own["soak"]["end"] == sheet["done"]
    for frame in {sheet["frame"] for sheet in plan["sheets"]} - {None}:
        spans = sorted(
            (seconds(load["start"]), seconds(unload["end"]))
            for load in of(plan, "load")
            for unload in of(plan, "unload")
            if load["sheet_id"] == unload["sheet_id"] and load["frame"] == frame
        )
        assert all(one[1] <= other[0] + 0.002 for one, other in pairwise(spans))
    assert len({sheet["frame"] for sheet in plan["sheets"]} - {None}) <= frames
    left = [sheet for sheet in plan["sheets"] if sheet["state"] == "not-fitting"]
    assert plan["sheets_left_out"] == len(left)
    assert all(sheet["reason"] for sheet in left)


@pytest.fixture(scope="module")
def june(caller):
    return planned(caller)


def test_a_june_day_is_planned_whole_and_near_to_the_best(june):
    check(june)
    assert june["sheets_planned"] == 7
    assert june["most_proven"]
    assert june["within_share"] <= 0.05
    assert june["next"] == june["steps"][0]["id"]
    assert any("UV index" in caution for caution in june["cautions"])


def test_each_length_is_the_one_the_exposure_has(caller, june):
    for sheet in june["sheets"]:
        if sheet["spot"] != "yard":
            continue
        asked = {
            **PLACE,
            **GLASS,
            "start": sheet["start"],
            "target_j_m2": sheet["target_j_m2"],
            "spot": OPEN_SPOT,
        }
        alone = caller.post("/v1/exposure", asked).json()
        # a session reads the light at whole minutes: within a second or two in the open
        assert sheet["length_s"] == pytest.approx(alone["length_s"], abs=2.0)
        assert sheet["length_low_s"] == pytest.approx(alone["length_low_s"], abs=2.0)
        assert sheet["chance_by_end"] == pytest.approx(0.5, abs=0.01)
        assert sheet["chance_by_limit"] >= sheet["chance_by_end"]


def test_priorities_go_first(june):
    starts = {}
    for sheet in june["sheets"]:
        starts.setdefault(sheet["priority"], []).append(seconds(sheet["start"]))
    assert min(starts[2]) < min(starts[1])
    assert sum(starts[2]) / len(starts[2]) < sum(starts[1]) / len(starts[1])


def test_a_december_day_takes_longer_and_still_fits(caller, june):
    december = planned(caller, start="2026-12-21T09:00:00Z", end="2026-12-21T17:30:00Z")
    check(december)
    assert december["sheets_planned"] == 7
    june_s, december_s = (sum(s["length_s"] for s in plan["sheets"]) for plan in (june, december))
    assert december_s > 1.5 * june_s
    assert all(seconds(s["end"]) < seconds("2026-12-21T17:30:00Z") for s in december["sheets"])


def test_without_times_the_day_is_the_daylight_and_the_wash_after_it(caller):
    asked = {name: value for name, value in DAY.items() if name not in ("start", "end")}
    response = caller.post("/v1/session", {**asked, "date": "2026-12-21", "sheets": [KELP]})
    plan = response.json()
    rise, set_ = (
        "2026-12-21T07:56:00Z",
        "2026-12-21T17:08:00Z",
    )  # within minutes: day_events is tested elsewhere
    assert abs(seconds(plan["start"]) - seconds(rise)) < 600.0
    assert abs(seconds(plan["end"]) - seconds(set_) - 1200.0) < 600.0
    check(plan, sheets=3)


def test_an_impossible_day_says_what_does_not_fit_and_why(caller):
    sheets = [
        {"name": "kelp", "target_j_m2": 24000},
        {"name": "black flag", "target_j_m2": 5_000_000},
        {"name": "early bird", "target_j_m2": 24000, "done_by": "2026-12-21T09:30:00Z"},
        {"name": "shell", "count": 12, "target_j_m2": 60000},
    ]
    plan = planned(
        caller,
        start="2026-12-21T09:00:00Z",
        end="2026-12-21T17:30:00Z",
        sheets=sheets,
        frames=[{"name": "frame", "count": 2}],
    )
    check(plan, frames=2, sheets=15)
    why = {sheet["sheet"]: sheet for sheet in plan["sheets"] if sheet["state"] == "not-fitting"}
    assert why["black flag"]["reason"] == "too-dim"
    assert "5.0 MJ/m²" in why["black flag"]["says"]
    assert why["early bird"]["reason"] == "too-late"
    assert "09:30" in why["early bird"]["says"]
    shells = [sheet for name, sheet in why.items() if name.startswith("shell")]
    assert shells
    assert {sheet["reason"] for sheet in shells} == {"frames-busy"}
    assert all("2 frames" in sheet["says"] for sheet in shells)
    assert "do not fit" in plan["summary"]


def test_a_night_has_no_light(caller):
    plan = planned(caller, start="2026-06-21T23:00:00+01:00", end="2026-06-22T03:00:00+01:00", sheets=[KELP])
    check(plan, sheets=3)
    assert plan["sheets_planned"] == 0
    assert all("no light" in sheet["says"] for sheet in plan["sheets"])
    assert plan["cautions"] == []


def test_forty_sheets_work(caller):
    sheets = [
        {**KELP, "count": 14},
        {**TICKET, "count": 8},
        {**TABLE, "count": 12},
        {**KELP, "name": "rope", "count": 6},
    ]
    plan = planned(caller, sheets=sheets, frames=[{"name": "frame", "count": 4}])
    check(plan, frames=4, sheets=40)
    assert plan["sheets_planned"] >= 35


def test_a_window_takes_one_frame_and_its_moves_are_steps(caller):
    narrow = {**WINDOW_SPOT, "window": {**WINDOW_SPOT["window"], "width_m": 0.8, "head_m": 1.2}}
    spots = [{"name": "window", "spot": narrow, "moves": "table", "max_moves": 3}]
    plan = planned(
        caller,
        spots=spots,
        sheets=[{**KELP, "count": 2, "target_j_m2": 45000}],
        start="2026-06-21T08:00:00+01:00",
    )
    check(plan, sheets=2)
    spans = sorted((s["start"], s["end"]) for s in plan["sheets"] if s["start"])
    assert spans
    assert all(one[1] <= other[0] for one, other in pairwise(spans))
    for sheet in plan["sheets"]:
        moves = [step for step in of(plan, "move") if step["sheet_id"] == sheet["sheet_id"]]
        assert [step["start"] for step in moves] == [move["time"] for move in sheet["moves"]]
        if sheet["start"]:
            assert sheet["begin_says"]
            assert -0.51 <= sheet["evenness"]["lowest_stops"] <= sheet["evenness"]["highest_stops"] <= 0.51


def test_breaks_leave_the_hands_alone(caller):
    tea = {"name": "tea", "start": "2026-06-21T11:00:00+01:00", "end": "2026-06-21T11:45:00+01:00"}
    plan = planned(caller, breaks=[tea])
    check(plan)
    (told,) = of(plan, "break")
    assert told["says"] == "Tea"
    for step in plan["steps"]:
        if step["hands"]:
            assert seconds(step["end"]) <= seconds(tea["start"]) or seconds(step["start"]) >= seconds(
                tea["end"]
            )


def test_sureness_plans_longer(caller, june):
    sure = planned(caller, sureness=0.9)
    check(sure)
    for sheet in sure["sheets"]:
        if not sheet["begin"]:
            assert sheet["chance_by_end"] == pytest.approx(0.9, abs=0.02)
    assert seconds(max(s["done"] for s in sure["sheets"])) > seconds(max(s["done"] for s in june["sheets"]))


def test_the_picture_says_in_words_what_it_draws(caller, june):
    response = caller.post("/v1/session/picture", DAY)
    assert response.headers["content-type"] == "image/svg+xml"
    tree = Tree.fromstring(response.text)
    words = " ".join("".join(node.itertext()) for node in tree.iter())
    for sheet in june["sheets"]:
        assert f"{sheet['sheet']}:" in words
    for lane in ("frame 1", "hands", "wash tray", "yard (line)", "window (broken line)"):
        assert lane in words
    height = float(tree.get("height"))
    for node in tree.iter("{http://www.w3.org/2000/svg}text"):
        assert 0.0 <= float(node.get("x")) <= 960.0
        assert 0.0 <= float(node.get("y")) <= height


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"sheets": []}, "sheets"),
        ({"sheets": [{**KELP, "count": 61}]}, "sheets.0.count"),
        ({"sheets": [{**KELP, "count": 40}, {**TICKET, "count": 40}]}, "sheets"),
        ({"sheets": [{**KELP, "colour": "blue"}]}, "sheets.0.colour"),
        ({"sheets": [{**KELP, "spots": ["roof"]}]}, "sheets.spots"),
        ({"frames": [{"count": 1, "spots": ["roof"]}]}, "frames.0.spots"),
        ({"frames": [{"name": "a"}, {"name": "a"}]}, "frames.0.name"),
        ({"spots": [SPOTS[0], SPOTS[0]]}, "spots.0.name"),
        ({"spots": [{**SPOTS[0], "moves": "table"}]}, "spots.moves"),
        ({"spots": [{**SPOTS[1], "moves": "free"}]}, "spots.moves"),
        ({"tilt_deg": 20}, "tilt_deg"),
        ({"end": "2026-06-21T09:00:00+01:00"}, "end"),
        ({"end": "2026-06-23T09:00:00+01:00"}, "end"),
        ({"date": "2026-06-21"}, "date"),
        ({"sureness": 0.99}, "sureness"),
        ({"work": {"load_s": 0}}, "work.load_s"),
        ({"lamp": "any"}, "lamp"),
        ({"breaks": [{"start": DAY["end"], "end": DAY["start"]}]}, "breaks"),
    ],
)
def test_bad_input_is_refused_by_name(caller, changes, field):
    response = caller.post("/v1/session", {**DAY, **changes})
    assert response.status_code == 422, response.text
    assert response.json()["errors"][0]["field"] == field


def test_the_flat_spot_of_a_request_will_do(caller):
    asked = {name: value for name, value in DAY.items() if name != "spots"}
    plan = caller.post("/v1/session", {**asked, "skyline": "90:10,180:0,270:35", "sheets": [KELP]}).json()
    check(plan, sheets=3)
    assert {sheet["spot"] for sheet in plan["sheets"]} == {"the spot"}


class Room:
    """A print room with its own records and a clock to turn."""

    def __init__(self, folder, kind):
        self.now_s = MORNING
        self.caller = kind(create_app(Settings(state_dir=folder), clock=lambda: self.now_s))
        saved = self.caller.post("/v1/sessions", {**DAY, "name": "kelp day"})
        assert saved.status_code == 201, saved.text
        self.saved = saved.json()
        self.path = f"/v1/sessions/{self.saved['id']}"

    def at(self, clock):
        self.now_s = seconds(f"2026-06-21T{clock}:00+01:00")

    def replan(self, *events, status=200, key=None, version=None, **more):
        headers = {"If-Match": f'"{version or self.saved["version"]}"'}
        if key is not None:
            headers["Idempotency-Key"] = key
        response = self.caller.post(f"{self.path}/replan", {"events": list(events), **more}, headers=headers)
        assert response.status_code == status, response.text
        if status == 200:
            self.saved = response.json()
        return response

    def sheet(self, sheet_id):
        return next(sheet for sheet in self.saved["plan"]["sheets"] if sheet["sheet_id"] == sheet_id)


@pytest.fixture
def room(tmp_path, caller):
    return Room(tmp_path, type(caller))


def cloud(at, until, **more):
    day = "2026-06-21T{}:00+01:00"
    return {"kind": "cloud", "at": day.format(at), "until": day.format(until), **more}


def test_after_a_half_hour_cloud_running_exposures_stay_and_nothing_is_lost(room):
    before = room.saved["plan"]
    room.at("10:30")
    under_way = {
        s["sheet_id"]: s for s in before["sheets"] if seconds(s["start"]) <= room.now_s < seconds(s["end"])
    }
    assert under_way
    room.replan(cloud("10:28", "10:58"), followed=True)
    plan = room.saved["plan"]
    check(plan)
    assert plan["sheets_left_out"] == 0
    for sheet_id, old in under_way.items():
        new = room.sheet(sheet_id)
        assert new["state"] == "running"
        assert (new["start"], new["frame"], new["spot"]) == (old["start"], old["frame"], old["spot"])
        assert seconds(new["end"]) > seconds(old["end"]) + 60.0
    for old in before["sheets"]:
        if seconds(old["end"]) <= room.now_s:
            new = room.sheet(old["sheet_id"])
            assert (new["state"], new["start"], new["end"]) == ("done", old["start"], old["end"])
    for step in plan["steps"]:
        if step["state"] == "planned" and step["sheet_id"] not in under_way:
            assert seconds(step["start"]) >= room.now_s - 600.0


def test_planning_again_without_news_moves_nothing_into_the_past_and_keeps_step_ids(room):
    names = {step["id"] for step in room.saved["plan"]["steps"] if ":move:" not in step["id"]}
    room.at("10:20")
    room.replan(followed=True)
    check(room.saved["plan"])
    assert {step["id"] for step in room.saved["plan"]["steps"] if ":move:" not in step["id"]} == names
    for sheet in room.saved["plan"]["sheets"]:
        if sheet["state"] == "planned":
            assert seconds(sheet["load_start"]) >= room.now_s


def test_what_was_not_followed_is_planned_anew(room):
    room.at("12:30")
    room.replan()
    plan = room.saved["plan"]
    check(plan)
    assert {sheet["state"] for sheet in plan["sheets"]} == {"planned"}
    assert all(seconds(sheet["load_start"]) >= room.now_s for sheet in plan["sheets"])


def told(kind, sheet_id, at, **more):
    return {"kind": kind, "sheet_id": sheet_id, "at": f"2026-06-21T{at}:00+01:00", **more}


def test_actual_times_doses_drops_and_additions_are_kept(room):
    room.at("11:00")
    room.replan(
        told("started", "kelp-fronds-1", "10:40", frame="frame 2", spot="yard"),
        told("dose", "kelp-fronds-1", "10:50", dose_j_m2=4000.0),
        told("started", "kelp-fronds-2", "10:20"),
        told("ended", "kelp-fronds-2", "10:32"),
        told("dropped", "ferry-ticket-1", "10:50"),
        {
            "kind": "added",
            "at": "2026-06-21T10:55:00+01:00",
            "sheets": [{"name": "rope", "target_j_m2": 30000}],
        },
        {
            "kind": "break",
            "at": "2026-06-21T13:00:00+01:00",
            "until": "2026-06-21T13:30:00+01:00",
            "name": "lunch",
        },
    )
    plan = room.saved["plan"]
    check(plan, sheets=8)
    first, second = room.sheet("kelp-fronds-1"), room.sheet("kelp-fronds-2")
    assert (first["state"], first["frame"]) == ("running", "frame 2")
    assert second["state"] == "done"
    assert second["length_s"] == pytest.approx(12 * 60.0)
    assert room.sheet("ferry-ticket-1")["state"] == "dropped"
    assert room.sheet("rope-1")["state"] == "planned"
    assert [step["says"] for step in of(plan, "break")] == ["Lunch"]
    # 20 kJ/m2 were missing at 10:50
    asked = {**PLACE, **GLASS, "start": "2026-06-21T10:50:00+01:00", "target_j_m2": 20000, "spot": OPEN_SPOT}
    rest = room.caller.post("/v1/exposure", asked).json()
    assert seconds(first["end"]) == pytest.approx(seconds(rest["end"]), abs=2.0)
    room.at("11:30")
    room.replan(followed=True)
    check(room.saved["plan"], sheets=8)
    assert room.sheet("ferry-ticket-1")["state"] == "dropped"
    assert room.sheet("kelp-fronds-1")["state"] == "done"


def test_an_exposure_that_has_its_dose_is_to_be_taken_in_now(room):
    room.at("11:30")
    room.replan(told("started", "kelp-fronds-1", "10:10"))
    sheet = room.sheet("kelp-fronds-1")
    assert sheet["state"] == "running"
    assert seconds(sheet["end"]) >= room.now_s
    assert any("take it in now" in words for words in room.saved["plan"]["advice"])


@pytest.mark.parametrize(
    ("event", "field"),
    [
        (told("started", "nobody-1", "10:05"), "events.0.sheet_id"),
        (told("ended", "kelp-fronds-1", "10:05"), "events.0.kind"),
        (told("started", "kelp-fronds-1", "23:00"), "events.0.at"),
        (told("started", "kelp-fronds-1", "10:05", frame="frame 9"), "events.0.frame"),
        (told("started", "kelp-fronds-1", "10:05", spot="roof"), "events.spot"),
        (cloud("11:00", "10:00"), "events.0.until"),
        (cloud("10:00", "11:00", sky="purple"), "sky"),
    ],
)
def test_what_cannot_have_happened_is_refused_and_changes_nothing(room, event, field):
    room.at("10:30")
    response = room.replan(event, status=422)
    assert response.json()["errors"][0]["field"] == field
    assert room.caller.get(room.path).json() == room.saved


def test_replanning_needs_the_version_and_happens_once(room):
    room.at("10:30")
    assert room.caller.post(f"{room.path}/replan", {}).status_code == 428
    room.replan(status=412, version=7)
    first = room.replan(cloud("10:28", "10:58"), key="one", followed=True)
    again = room.replan(cloud("10:28", "10:58"), key="one", version=1, followed=True)
    assert again.json() == first.json()
    assert again.headers["Idempotent-Replay"] == "true"
    assert room.caller.get(room.path).json()["version"] == 2


def test_a_session_is_saved_listed_shown_renamed_and_put_away(room):
    caller = room.caller
    unnamed = caller.post("/v1/sessions", {**DAY, "sheets": [KELP]}).json()
    assert unnamed["name"] == "session 2026-06-21"
    second = caller.post("/v1/sessions", {**DAY, "sheets": [KELP]}).json()
    assert second["name"] == "session 2026-06-21, 2"
    listed = caller.get("/v1/sessions").json()["sessions"]
    assert {each["name"] for each in listed} == {"kelp day", unnamed["name"], second["name"]}
    assert caller.get("/v1/sessions", {"name": "kelp day"}).json()["sessions"][0]["id"] == room.saved["id"]
    later = caller.get("/v1/sessions", {"start": "2026-06-22T00:00:00Z"}).json()
    assert later == {"sessions": []}
    assert caller.get(room.path).json() == room.saved
    picture = caller.get(f"{room.path}/picture")
    assert "kelp day" in picture.text
    headers = {"If-Match": '"1"'}
    renamed = caller.request("PATCH", room.path, json={"name": "kelp and ferry"}, headers=headers)
    assert renamed.json()["name"] == "kelp and ferry"
    put_away = caller.post(f"{room.path}/retire", None, headers={"If-Match": '"2"'})
    assert put_away.json()["retired"]
    assert len(caller.get("/v1/sessions").json()["sessions"]) == 2
    assert caller.get("/v1/sessions/00000000-0000-0000-0000-000000000009").status_code == 404


def test_what_was_asked_can_be_asked_again(room):
    asked = {**room.saved["asked"]}
    again = room.caller.post("/v1/session", json.loads(json.dumps(asked)))
    assert again.status_code == 200, again.text
    assert again.json() == room.saved["plan"]


def test_the_documented_requests_work_and_answers_have_the_fields_shown(room):
    document = room.caller.request("GET", "/openapi.json").json()
    room.now_s = MORNING + 3600.0
    for path, sent in (("/v1/session", 200), ("/v1/sessions", 201)):
        operation = document["paths"][path]["post"]
        body = operation["requestBody"]["content"]["application/json"]["example"]
        if "name" in body:
            body = {**body, "name": "another day"}
        answered = room.caller.post(path, body)
        assert answered.status_code == sent, answered.text
        shown = operation["responses"][str(sent)]["content"]["application/json"]["example"]
        assert answered.json().keys() == shown.keys()
    replan = document["paths"]["/v1/sessions/{session_id}/replan"]["post"]
    assert [entry["name"] for entry in replan["parameters"] if entry["in"] == "header"] == ["If-Match"]
    assert {"412", "428"} <= replan["responses"].keys()
    room.at("10:30")
    body = replan["requestBody"]["content"]["application/json"]["example"]
    address = f"/v1/sessions/{answered.json()['id']}"
    told = room.caller.post(f"{address}/replan", body, headers={"If-Match": '"1"'})
    assert told.status_code == 200, told.text
    shown = replan["responses"]["200"]["content"]["application/json"]["example"]
    assert told.json().keys() == shown.keys()
    assert shown["plan"]["next"] is not None
    for method, path in (("post", "/v1/session/picture"), ("get", "/v1/sessions/{session_id}/picture")):
        content = document["paths"][path][method]["responses"]["200"]["content"]
        assert content["image/svg+xml"]["example"].startswith("<svg")
