"""The clock jumps forwards and backwards under exposures that are followed: nothing breaks or is lost."""

import itertools

import pytest
from api.test_runs_support import NOON_S, YARD, Clock, desk_on, errors
from databases import database_url

__all__ = ["database_url"]
DAY_S = 86400.0
JUMPS_S = (60.0, -3600.0, 7200.0, -7000.0, 2 * DAY_S, -2 * DAY_S, 9 * DAY_S, -8 * DAY_S, -DAY_S)
PATHS = ("/v1/runs", "/v1/recipes", "/v1/sessions", "/v1/saved-places", "/v1/prints", "/v1/feeds")


@pytest.fixture
def desk(database_url):
    with desk_on(database_url) as one:
        yield one


def test_every_jump_is_survived_and_every_event_kept_once_in_order(desk):
    run = desk.start("started")
    told = 1
    for number, jump_s in enumerate(JUMPS_S):
        desk.clock.now_s += jump_s
        state = desk.state(run)
        assert 0.0 <= state["dose_j_m2"] < 2e7
        answer = desk.told(run, "sky", key=f"sky {number}", sky="clear")
        assert answer.status_code == 201, answer.text  # a sky may be seen before the sheet lies in the light
        told += 1
        if desk.clock.now_s < NOON_S:
            assert errors(desk.told(run, "covered"), 422) == ["at"]  # a sheet cannot be covered before that
        for path in PATHS:
            listed = desk.get(path, {})
            assert listed.status_code == 200, (path, listed.text)
        asked = desk.get("/v1/exposure", {**YARD, "target_j_m2": 24000})
        assert asked.status_code == 200, asked.text
    events = desk.events(run)
    assert [one["sequence"] for one in events] == list(range(1, told + 1))
    desk.clock.now_s = NOON_S + 300.0
    assert desk.state(run)["version"] == told + 1


def test_a_clock_that_went_ahead_and_came_back_leaves_the_dose_as_it_would_have_been(desk):
    """Time alone changes nothing that is kept: what is there to see at a moment depends on it alone."""
    run, steady = desk.start(), desk.start()
    desk.clock.now_s = NOON_S + 300.0
    before = desk.state(run)
    for at_s in (NOON_S + 3 * DAY_S, NOON_S - DAY_S, NOON_S + 1.0):
        desk.clock.now_s = at_s
        desk.state(run)
    desk.clock.now_s = NOON_S + 300.0
    assert desk.state(run) == before
    assert desk.state(steady)["dose_j_m2"] == before["dose_j_m2"]


def test_a_request_sent_again_after_a_jump_back_is_still_the_same_request(desk):
    first = desk.start("key-1")
    for jump_s in (-600.0, -DAY_S, DAY_S + 600.0):
        desk.clock.now_s += jump_s
        assert desk.start("key-1")["id"] == first["id"]
    assert len(desk.answer("/v1/runs", {})["runs"]) == 1


def test_a_followed_course_goes_on_after_the_clock_was_set_right(desk):
    """It ran an hour fast, was set back in the middle, and events are told by both."""
    desk.clock.now_s = NOON_S + 3600.0
    fast = desk.start()
    desk.clock.now_s = NOON_S
    assert errors(desk.told(fast, "covered"), 422) == ["at"]  # it lies ahead of the start
    assert desk.state(fast)["dose_j_m2"] == 0.0
    desk.clock.now_s = NOON_S + 3700.0
    assert desk.told(fast, "covered").status_code == 201
    doses = []
    for after_s in range(3700, 4000, 60):
        desk.clock.now_s = NOON_S + after_s
        doses.append(desk.state(fast)["dose_j_m2"])
    assert all(later >= earlier for earlier, later in itertools.pairwise(doses))


def test_limits_count_on_after_a_jump(database_url):
    with desk_on(database_url, Clock(), requests_per_minute=10) as desk:

        def asked():
            return [desk.get("/v1/materials", {}).status_code for _ in range(12)]

        assert asked().count(200) == 10
        desk.clock.now_s += 3600.0
        assert asked().count(200) == 10
        desk.clock.now_s -= 1800.0  # a minute that was never counted
        assert asked().count(200) == 10
        assert asked().count(429) == 12
        response = desk.get("/v1/materials", {})
        assert 1 <= int(response.headers["Retry-After"]) <= 60
