"""Running exposures over the API: started, told about, listed, ended; on every kind of database."""

import pytest
from api.test_runs_support import NOBODY, NOON_S, SHEET, WINDOW, YARD, Clock, desk_on, errors, new_id, when
from databases import database_url
from dose.test_live_support import event, scene

from noonframe.dose.live import follow
from noonframe.dose.scene import Target
from noonframe.stack.sensitizers import find_sensitizer

__all__ = ["database_url"]

OPEN = {"kind": "open", "tilt_deg": 30, "aim_azimuth_deg": 180}
METER = {"quantity": "uv", "ratio": 0.6, "reference": when(10), "relative_uncertainty": 0.1}


@pytest.fixture
def desk(database_url):
    with desk_on(database_url) as made:
        yield made


def test_a_sheet_is_put_into_the_light_now(desk):
    run = desk.start(name="kelp fronds")
    assert run["name"] == "kelp fronds"
    assert (run["status"], run["dose_j_m2"], run["last_sequence"]) == ("running", 0.0, 1)
    assert run["start"] == run["at"] == "2026-06-21T13:00:00+01:00"
    assert (run["target_j_m2"], run["target_spread_stops"], run["target_source"]) == (24000, 0.25, "given")
    assert run["effective_w_m2"] > 0
    assert run["end_low"] < run["end"] < run["end_high"]
    assert any("sun" in caution for caution in run["cautions"])
    assert desk.state(run) == run
    assert [one["kind"] for one in desk.events(run)] == ["started"]


def test_a_sheet_may_have_lain_in_the_light_already(desk):
    run = desk.start(start=when(-300))
    assert run["start"] == "2026-06-21T12:55:00+01:00"
    now = desk.start()
    assert run["dose_j_m2"] == pytest.approx(300 * now["effective_w_m2"], rel=0.01)
    assert run["remaining_s"] == pytest.approx(now["remaining_s"] - 300, rel=0.02)


def test_a_sheet_may_be_started_by_a_clock_that_is_somewhat_fast(desk):
    run = desk.start(start=when(90))
    assert (run["status"], run["start"], run["dose_j_m2"]) == ("ready", None, 0.0)
    desk.clock.now_s += 91
    assert (desk.state(run)["status"], desk.state(run)["start"]) == ("running", "2026-06-21T13:01:30+01:00")


@pytest.mark.parametrize(
    ("start", "said"), [(when(121), "13:00:00+01:00"), (when(-32 * 86400), "31 days ago")]
)
def test_a_start_too_far_from_now_is_refused(desk, start, said):
    response = desk.post("/v1/runs", {**SHEET, "start": start})
    assert errors(response, 422) == ["start"]
    assert said in response.json()["errors"][0]["limit"]
    assert desk.answer("/v1/runs", {}) == {"runs": []}


def test_a_frame_inside_a_window(desk):
    run = desk.start(spot=WINDOW, start=when(-600))
    assert 0.0 < run["dose_low_j_m2"] < run["dose_j_m2"] < run["dose_high_j_m2"]
    assert "window" in run["basis"]["spot"]
    bare = desk.start(start=when(-600))
    assert run["dose_high_j_m2"] < bare["dose_j_m2"] == bare["dose_low_j_m2"] == bare["dose_high_j_m2"]


def test_without_a_target_the_sensitizers_prior_is_taken_with_its_wide_spread(desk):
    response = desk.post("/v1/runs", YARD)
    assert response.status_code == 201
    prior = find_sensitizer("citrate-classic")
    run = response.json()
    assert run["target_j_m2"] == prior.target_j_m2
    assert run["target_spread_stops"] == prior.target_spread_stops > 0.25
    assert "prior" in run["target_source"]


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({**SHEET, "latitude_deg": 95}, "latitude_deg"),
        ({**SHEET, "sensitizer": "gold-dust"}, "sensitizer"),
        ({**SHEET, "name": "x" * 201}, "name"),
        ({**SHEET, "name": "half\ud800"}, "name"),
        ({**SHEET, "name": "nought\0"}, "name"),
        ({**SHEET, "colour": "blue"}, "colour"),
        ({**YARD, "target_spread_stops": 0.2}, "target_spread_stops"),
        ({**SHEET, "start": "2026-06-21T12:00:00"}, "start"),
        ({**SHEET, "spot": {"kind": "window", "window": WINDOW["window"]}}, "spot.frame"),
    ],
)
def test_a_start_that_makes_no_sense_names_its_field_and_keeps_nothing(desk, body, field):
    import json

    response = desk.post("/v1/runs", json.dumps(body).encode())
    if field == "name" and "half" in str(body.get("name", "")):
        assert response.status_code == 422  # half a surrogate pair is no JSON to begin with
    else:
        assert errors(response, 422) == [field]
    assert desk.answer("/v1/runs", {}) == {"runs": []}


# Events: every kind does what it says


def after_five_minutes(desk, **fields):
    run = desk.start(**fields)
    desk.clock.now_s += 300
    return run


def test_covered_and_uncovered(desk):
    run = after_five_minutes(desk)
    covered = desk.tell(run, "covered")
    assert (covered["status"], covered["effective_w_m2"]) == ("covered", 0.0)
    desk.clock.now_s += 600
    assert desk.state(run)["dose_j_m2"] == covered["dose_j_m2"] > 0
    again = desk.tell(run, "uncovered")
    assert (again["status"], again["dose_j_m2"]) == ("running", covered["dose_j_m2"])
    desk.clock.now_s += 60
    assert desk.state(run)["dose_j_m2"] > covered["dose_j_m2"]


def test_a_sky_seen(desk):
    run = after_five_minutes(desk)
    seen = desk.tell(run, "sky", sky="overcast", vouched_s=900)
    assert (seen["sky"]["seen"], seen["sky"]["seen_at"]) == ("overcast", "2026-06-21T13:05:00+01:00")
    assert seen["sky"]["weight"] == 1.0
    assert seen["effective_w_m2"] < run["effective_w_m2"] / 2
    assert seen["remaining_s"] > run["remaining_s"] - 300
    desk.clock.now_s += 1800
    assert desk.state(run)["sky"]["weight"] < 1.0


def test_a_move(desk):
    run = after_five_minutes(desk)
    moved = desk.tell(run, "moved", spot=OPEN)
    assert moved["effective_w_m2"] != run["effective_w_m2"]


def test_a_move_out_of_doors_brings_the_cautions_for_being_outdoors(desk):
    run = after_five_minutes(desk, spot=WINDOW)
    outside = desk.tell(run, "moved", spot={**OPEN, "skyline": None})
    assert outside["cautions"] != run["cautions"]
    assert any("UV" in caution for caution in outside["cautions"])


def test_a_meter_reading(desk):
    run = after_five_minutes(desk)
    read = desk.tell(run, "meter", **METER)
    # weighed against what is known of the sky, so somewhere between the reading and the model
    assert 0.6 <= read["sky"]["metered"] < 0.95
    assert read["effective_w_m2"] == pytest.approx(run["effective_w_m2"] * read["sky"]["metered"], rel=0.01)
    assert read["readings_unused"] == 0


def test_another_target(desk):
    run = after_five_minutes(desk)
    changed = desk.tell(run, "target", target_j_m2=48000, target_spread_stops=0.1)
    assert (changed["target_j_m2"], changed["target_spread_stops"]) == (48000, 0.1)
    assert changed["dose_share"] == pytest.approx(changed["dose_j_m2"] / 48000, abs=1e-5)


@pytest.mark.parametrize(("kind", "status"), [("finished", "finished"), ("discarded", "discarded")])
def test_an_end(desk, kind, status):
    run = after_five_minutes(desk)
    ended = desk.tell(run, kind)
    assert (ended["status"], ended["stopped"]) == (status, "2026-06-21T13:05:00+01:00")
    assert (ended["end"], ended["effective_w_m2"], ended["cautions"]) == (None, 0.0, [])
    desk.clock.now_s += 3600
    assert desk.state(run)["dose_j_m2"] == ended["dose_j_m2"] > 0
    assert [one["status"] for one in desk.answer("/v1/runs", {})["runs"]] == [status]


BAD_EVENTS = [
    ({"kind": "eclipse"}, "kind"),
    ({"kind": "started"}, "kind"),
    ({}, "kind"),
    ({"kind": "covered", "sky": "overcast"}, "sky"),
    ({"kind": "covered", "colour": "blue"}, "colour"),
    ({"kind": "uncovered", "vouched_s": 60}, "vouched_s"),
    ({"kind": "finished", "target_j_m2": 24000}, "target_j_m2"),
    ({"kind": "discarded", "spot": OPEN}, "spot"),
    ({"kind": "sky"}, "sky"),
    ({"kind": "sky", "sky": None}, "sky"),
    ({"kind": "sky", "sky": "plaid"}, "sky"),
    ({"kind": "sky", "sky": "overcast", "vouched_s": -1}, "vouched_s"),
    ({"kind": "sky", "sky": "overcast", "vouched_s": 3601}, "vouched_s"),
    ({"kind": "sky", "sky": "overcast", "ratio": 2}, "ratio"),
    ({"kind": "moved"}, "spot"),
    ({"kind": "moved", "spot": {"kind": "cellar"}}, "spot"),
    ({"kind": "moved", "spot": {"kind": "open", "tilt_deg": 91}}, "spot.tilt_deg"),
    ({"kind": "moved", "spot": {**WINDOW, "frame": {}}}, "spot.frame.distance_m"),
    ({"kind": "moved", "spot": {**OPEN, "skyline": [[10, 95]]}}, "spot.skyline.0.elevation_deg"),
    ({"kind": "moved", "spot": OPEN, "sky": "clear"}, "sky"),
    ({"kind": "meter", **METER, "quantity": "sound"}, "quantity"),
    ({"kind": "meter", **METER, "ratio": 0}, "ratio"),
    ({"kind": "meter", **METER, "relative_uncertainty": 0}, "relative_uncertainty"),
    ({"kind": "meter", **METER, "reference": when(-1)}, "reference"),
    ({"kind": "meter", **METER, "reference": when(200)}, "reference"),
    *(({"kind": "meter", **{k: v for k, v in METER.items() if k != name}}, name) for name in METER),
    ({"kind": "target"}, "target_j_m2"),
    ({"kind": "target", "target_j_m2": 0.5}, "target_j_m2"),
    ({"kind": "target", "target_j_m2": 24000, "target_spread_stops": 5}, "target_spread_stops"),
    ({"kind": "covered", "at": "yesterday"}, "at"),
    ({"kind": "covered", "at": 1782043200}, "at"),
    ({"kind": "covered", "at": when(-1)}, "at"),
    ({"kind": "covered", "at": when(221)}, "at"),
    ({"kind": "covered", "event_id": "7"}, "event_id"),
]


def test_an_event_that_makes_no_sense_names_its_field_and_nothing_is_kept(desk):
    run = desk.start()
    desk.clock.now_s += 100
    before = desk.state(run)
    for body, field in BAD_EVENTS:
        response = desk.post(f"/v1/runs/{run['id']}/events", body)
        named = errors(response, 422)
        assert named == [field], (body, response.text)
        limit = response.json()["errors"][0]["limit"]
        assert limit
        assert "17820" not in limit, "times are told with an offset, not in unix seconds"
    assert desk.state(run) == before
    assert len(desk.events(run)) == 1


# Late, out of order, twice


def test_events_told_late_and_in_any_order_give_the_same_exposure(desk):
    told = [
        ("covered", 60.0, {}),
        ("uncovered", 180.0, {}),
        ("sky", 240.0, {"sky": "covered"}),
        ("moved", 300.0, {"spot": OPEN}),
        ("sky", 420.0, {"sky": "sun-out"}),
        ("target", 430.0, {"target_j_m2": 30000}),
    ]
    live, late, backwards = desk.start(), desk.start(), desk.start()
    for kind, at, fields in told:
        desk.clock.now_s = NOON_S + at
        desk.tell(live, kind, **fields)
    desk.clock.now_s = NOON_S + 600
    without = desk.state(late)["dose_j_m2"]
    for run, order in ((late, told), (backwards, told[::-1])):
        for kind, at, fields in order:
            desk.tell(run, kind, at, **fields)
    same = ("dose_j_m2", "dose_share", "effective_w_m2", "remaining_s", "end", "end_low", "end_high", "sky")
    states = [{name: desk.state(run)[name] for name in same} for run in (live, late, backwards)]
    assert states[0] == states[1] == states[2]
    assert states[0]["dose_j_m2"] < without
    assert [one["sequence"] for one in desk.events(backwards)] == list(range(1, 8))
    assert [one["at"] for one in desk.events(backwards)][1:] == [
        one["at"] for one in desk.events(late)[:0:-1]
    ]


def test_an_event_told_twice_under_its_id_counts_once(desk):
    run = desk.start()
    desk.clock.now_s += 60
    ident = new_id()
    first = desk.told(run, "covered", event_id=ident).json()
    desk.clock.now_s += 30  # told again without a time of its own, after the answer was lost
    again = desk.told(run, "covered", event_id=ident)
    assert again.status_code == 201
    assert again.json()["event"] == first["event"]
    assert again.json()["run"]["version"] == first["run"]["version"]
    assert desk.told(run, "covered", 60, event_id=ident).json()["event"] == first["event"]
    assert len(desk.events(run)) == 2


def test_one_id_for_two_events_is_a_conflict_and_nothing_is_kept(desk):
    run, other = desk.start(), desk.start()
    ident = new_id()
    desk.clock.now_s += 60
    desk.tell(run, "covered", event_id=ident)
    before = desk.state(run), desk.state(other)
    assert errors(desk.told(run, "uncovered", event_id=ident), 409) == ["event_id"]
    assert errors(desk.told(run, "covered", 30, event_id=ident), 409) == ["event_id"]
    assert errors(desk.told(other, "covered", event_id=ident), 409) == ["event_id"]
    assert (desk.state(run), desk.state(other)) == before


def test_an_event_somewhat_ahead_of_the_clock_waits_for_it(desk):
    run = desk.start()
    waiting = desk.tell(run, "covered", 100)
    assert (waiting["status"], waiting["events_ahead"]) == ("running", 1)
    desk.clock.now_s += 101
    due = desk.state(run)
    assert (due["status"], due["events_ahead"]) == ("covered", 0)
    assert due["dose_j_m2"] == pytest.approx(100 * run["effective_w_m2"], rel=0.01)


def test_an_end_told_by_a_fast_clock_comes_without_another_word(desk):
    run = desk.start()
    assert desk.tell(run, "finished", 100)["status"] == "running"
    desk.clock.now_s += 200
    assert desk.state(run)["status"] == "finished"
    assert desk.answer("/v1/runs", {"status": "running"}) == {"runs": []}
    assert len(desk.answer("/v1/runs", {"status": "finished"})["runs"]) == 1


def test_what_is_told_of_after_the_end_is_kept_and_does_not_count(desk):
    run = after_five_minutes(desk)
    first = desk.tell(run, "finished")
    desk.clock.now_s += 60
    assert desk.tell(run, "finished")["stopped"] == first["stopped"]
    desk.tell(run, "sky", sky="rain")
    ended = desk.tell(run, "uncovered")
    assert ended["dose_j_m2"] == first["dose_j_m2"]
    assert ended["last_sequence"] == 5
    earlier = desk.tell(run, "finished", 200)
    assert earlier["dose_j_m2"] < first["dose_j_m2"]
    assert earlier["stopped"] == "2026-06-21T13:03:20+01:00"
    assert desk.tell(run, "discarded")["status"] == "discarded"


# What is told


def test_versions_and_sequences_grow_by_one_with_every_event(desk):
    run = desk.start()
    for number in range(2, 5):
        told = desk.tell(run, "sky", sky="clear")
        assert told["last_sequence"] == number
        assert told["version"] == run["version"] + number - 1
    assert desk.tell(run, "finished")["version"] == run["version"] + 4
    assert [one["sequence"] for one in desk.events(run, after=3)] == [4, 5]
    assert desk.events(run, after=5) == desk.events(run, after=99) == []


def test_lists_are_newest_first_and_can_be_narrowed(desk):
    names = ["fern", "kelp", "moss", "dill"]
    runs = {name: desk.start(name=name, start=when(-60 * age)) for age, name in enumerate(names)}
    desk.tell(runs["kelp"], "covered")
    desk.tell(runs["moss"], "finished")
    desk.tell(runs["dill"], "discarded")

    def listed(**fields):
        return [run["name"] for run in desk.answer("/v1/runs", fields)["runs"]]

    assert listed() == names
    assert listed(limit=2) == names[:2]
    assert [listed(status=s) for s in ("running", "covered", "finished", "discarded")] == [[n] for n in names]
    item = desk.answer("/v1/runs", {"status": "covered"})["runs"][0]
    assert item["id"] == runs["kelp"]["id"]
    assert item["created"] == "2026-06-21T12:59:00+01:00"


@pytest.mark.parametrize(
    ("query", "field"), [("status=lost", "status"), ("limit=0", "limit"), ("page=2", "page")]
)
def test_a_list_is_not_narrowed_by_what_it_does_not_know(desk, query, field):
    assert errors(desk.get("/v1/runs", query), 422) == [field]


def test_nothing_is_known_of_an_exposure_that_never_began(desk):
    for path in ("", "/events", "/stream"):
        assert errors(desk.get(f"{NOBODY}{path}"), 404) == ["run_id"]
    assert errors(desk.post(f"{NOBODY}/events", {"kind": "covered"}), 404) == ["run_id"]
    for path in ("/v1/runs/7", "/v1/runs/7/events", "/v1/runs/7/stream"):
        assert errors(desk.get(path), 422) == ["run_id"]


def test_the_state_is_the_engines(desk):
    run = desk.start(start=when(-30))
    told = [("covered", 60, {}), ("uncovered", 100, {}), ("sky", 130, {"sky": "thin-cloud"})]
    desk.clock.now_s += 400
    for kind, at, fields in told:
        desk.tell(run, kind, at, **fields)
    known = [event("started", -30.0), *(event(kind, float(at), **fields) for kind, at, fields in told)]
    engine = follow(scene(), Target(24000.0, 0.25, "given"), known, NOON_S + 400)
    state = desk.state(run)
    assert state["dose_j_m2"] == pytest.approx(engine.dose_j_m2, abs=1e-3)
    assert state["effective_w_m2"] == pytest.approx(engine.rate_w_m2, abs=1e-4)
    assert state["remaining_s"] == pytest.approx(engine.remaining_s, abs=1e-3)
    assert state["if_sun_stays_s"] == pytest.approx(engine.remaining_sun_out_s, abs=1e-3)
    assert state["if_cloud_covers_s"] == pytest.approx(engine.remaining_clouded_s, abs=1e-3)
    assert state["end_epoch"] == round(engine.end_s)
    assert state["advice"] == engine.advice
    assert state["sky"]["says"] == engine.sky.says


def test_another_worker_and_a_later_one_tell_the_same(desk):
    run = desk.start(name="kelp", spot=WINDOW)
    desk.clock.now_s += 300
    desk.tell(run, "sky", 100, sky="broken")
    desk.tell(run, "covered", 250)
    ended = desk.start()
    desk.clock.now_s += 60
    desk.tell(ended, "finished")
    clock = Clock(desk.clock.now_s)
    with desk_on(desk.database_url, clock) as later:
        for each in (run, ended):
            assert later.state(each) == desk.state(each)
            assert later.events(each) == desk.events(each)
        later.tell(run, "uncovered", 300)
        assert desk.state(run) == later.state(run)
        assert desk.state(run)["last_sequence"] == 4
