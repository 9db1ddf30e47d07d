"""What can be told of an exposure, read strictly, and put in order."""

import math
import uuid

import pytest
from dose.test_live_support import NOON_S, event, reading, target

from noonframe.dose.live_events import SEEN_SKIES, event_from, event_payload
from noonframe.dose.live_timeline import AHEAD_LIMIT_S, LiveStatus, check_events, timeline
from noonframe.errors import Malformed, NoonframeError, OutOfDomain, UnknownName
from noonframe.sky.words import SKY_WORDS
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.sheet import Frame
from noonframe.spot.skyline import Skyline
from noonframe.spot.window import Window

SKYLINE = Skyline((90.0, 270.0), (10.0, 35.0))
AT_WINDOW = WindowSpot(
    Window(135.0, 1.2, 0.1, 1.4, reveal_depth_m=0.2, skyline=SKYLINE), Frame(0.5, 0.1, 0.3, 0.4)
)
OPEN = {"kind": "open", "tilt_deg": 30, "aim_azimuth_deg": 180}
WINDOW = {
    "kind": "window",
    "window": {"outward_azimuth_deg": 135, "width_m": 1.2, "sill_m": 0.1, "head_m": 1.4},
    "frame": {"distance_m": 0.5, "offset_m": 0, "width_m": 0.3, "height_m": 0.4},
}
METER = {"quantity": "uv", "ratio": 0.5, "reference_s": NOON_S, "relative_uncertainty": 0.1}


def read(kind, payload, at_s=NOON_S + 60.0):
    return event_from(kind, at_s, payload, event_id=uuid.UUID(int=1), sequence=1)


@pytest.mark.parametrize(
    "told",
    [
        *(event(kind, 0.0) for kind in ("started", "covered", "uncovered", "finished", "discarded")),
        event("sky", 1.0, sky="covered"),
        event("sky", 1.0, sky="rain", vouched_s=0.0),
        event("moved", 2.0, spot=OpenSpot()),
        event("moved", 2.0, spot=OpenSpot(Aim(30.0, 90.0), SKYLINE)),
        event("moved", 2.0, spot=AT_WINDOW),
        reading(60.0, 0.5, 0.0),
        event("target", 3.0, target_j_m2=9000.0),
        event("target", 3.0, target_j_m2=9000.0, spread_stops=0.1),
    ],
    ids=lambda told: told.kind,
)
def test_an_event_survives_being_stored(told):
    again = event_from(
        told.kind, told.at_s, event_payload(told), event_id=told.event_id, sequence=told.sequence
    )
    assert again == told


def test_every_word_for_a_sky_can_be_told_and_two_more():
    assert set(SEEN_SKIES) == {*SKY_WORDS, "sun-out", "covered"}
    assert all(read("sky", {"sky": word}).word is SEEN_SKIES[word] for word in SEEN_SKIES)
    assert SEEN_SKIES["sun-out"].parts == SKY_WORDS["clear"].parts


@pytest.mark.parametrize(
    ("kind", "payload", "error", "field"),
    [
        ("paused", {}, UnknownName, "kind"),
        ("started", {"why": 1}, Malformed, "why"),
        ("started", [], Malformed, "payload"),
        ("sky", {}, Malformed, "sky"),
        ("sky", {"sky": "sunny"}, UnknownName, "sky"),
        ("sky", {"sky": 3}, Malformed, "sky"),
        ("sky", {"sky": "rain", "vouched_s": -1}, OutOfDomain, "vouched_s"),
        ("sky", {"sky": "rain", "vouched_s": True}, Malformed, "vouched_s"),
        ("sky", {"sky": "rain", "vouched_s": 10**400}, Malformed, "vouched_s"),
        ("target", {"target_j_m2": 0}, OutOfDomain, "target_j_m2"),
        ("target", {"target_j_m2": math.nan}, OutOfDomain, "target_j_m2"),
        ("target", {"target_j_m2": 100, "target_spread_stops": 5}, OutOfDomain, "target_spread_stops"),
        ("target", {"target_j_m2": "100"}, Malformed, "target_j_m2"),
        ("meter", METER | {"quantity": "wb"}, UnknownName, "quantity"),
        ("meter", METER | {"ratio": 0.0}, OutOfDomain, "ratio"),
        ("meter", METER | {"relative_uncertainty": 0.0}, OutOfDomain, "relative_uncertainty"),
        ("meter", METER | {"reference_s": NOON_S + 60.0}, OutOfDomain, "reference_s"),
        ("meter", METER | {"reference_s": None}, Malformed, "reference_s"),
        ("moved", {}, Malformed, "spot"),
        ("moved", {"spot": "yard"}, Malformed, "spot"),
        ("moved", {"spot": {"kind": "roof"}}, UnknownName, "spot.kind"),
        ("moved", {"spot": OPEN | {"tilt_deg": 91}}, OutOfDomain, "spot.tilt_deg"),
        ("moved", {"spot": OPEN | {"tilt_deg": "flat"}}, Malformed, "spot.tilt_deg"),
        ("moved", {"spot": OPEN | {"window": {}}}, Malformed, "spot.window"),
        ("moved", {"spot": OPEN | {"skyline": [[0]]}}, Malformed, "spot.skyline.0"),
        (
            "moved",
            {"spot": OPEN | {"skyline": [[0, 5], [0, 6]]}},
            OutOfDomain,
            "spot.skyline.1.azimuth_deg",
        ),
        ("moved", {"spot": OPEN | {"skyline": []}}, OutOfDomain, "spot.skyline"),
        ("moved", {"spot": WINDOW | {"frame": None}}, Malformed, "spot.frame"),
        ("moved", {"spot": WINDOW | {"window": {}}}, Malformed, "spot.window.outward_azimuth_deg"),
        (
            "moved",
            {"spot": WINDOW | {"window": WINDOW["window"] | {"width_m": 0}}},
            OutOfDomain,
            "spot.window.width_m",
        ),
        (
            "moved",
            {"spot": WINDOW | {"frame": WINDOW["frame"] | {"distance_m": 0.1}}},
            OutOfDomain,
            "spot.frame.distance_m",
        ),
        ("moved", {"spot": WINDOW | {"table": {}}}, Malformed, "spot.table"),
    ],
)
def test_a_payload_that_is_wrong_is_refused_by_field(kind, payload, error, field):
    with pytest.raises(error) as caught:
        read(kind, payload)
    assert caught.value.field == field


@pytest.mark.parametrize("at_s", [math.nan, math.inf, "noon", None, True])
def test_a_time_that_is_none_is_refused(at_s):
    with pytest.raises(NoonframeError, match="at_s"):
        read("started", {}, at_s)


@pytest.mark.parametrize(
    ("events", "field"),
    [
        ([event("started", 0.0), event("started", 5.0)], "kind"),
        ([event("started", 0.0), event("finished", -1.0)], "at_s"),
        ([event("started", 0.0), event("discarded", -1.0)], "at_s"),
        ([event("started", 0.0), event("covered", -1.0)], "at_s"),
        ([event("started", 0.0), event("moved", -1.0, spot=OpenSpot())], "at_s"),
        ([event("started", 50.0), reading(60.0, 0.5, 40.0)], "reference_s"),
        ([event("started", 600.0 + AHEAD_LIMIT_S + 0.1)], "at_s"),
    ],
)
@pytest.mark.parametrize("turn", [1, -1])
def test_events_that_cannot_be_are_refused_in_whatever_order(events, field, turn):
    with pytest.raises(OutOfDomain) as caught:
        check_events(events[::turn], NOON_S + 600.0)
    assert caught.value.field == field


def test_one_id_stands_for_one_event():
    start = event("started", 0.0)
    other = type(start)(event_id=start.event_id, sequence=start.sequence, at_s=start.at_s + 1.0)
    assert check_events([start, start], NOON_S) == (start,)
    with pytest.raises(OutOfDomain, match="event_id"):
        check_events([start, other], NOON_S + 5.0)


def test_a_sky_and_a_target_may_be_told_before_the_start():
    told = [event("sky", -60.0, sky="rain"), event("target", -30.0, target_j_m2=500.0), event("started", 0.0)]
    line = timeline(target(), check_events(told, NOON_S), NOON_S)
    assert (line.skies, line.target.target_j_m2) == ((told[0],), 500.0)


def test_at_one_moment_the_order_of_telling_counts():
    start = event("started", 0.0)
    on, off = event("covered", 10.0), event("uncovered", 10.0)
    line = timeline(target(), check_events([off, on, start], NOON_S + 20.0), NOON_S + 20.0)
    assert (line.status, line.covers) == (LiveStatus.RUNNING, ())
    off, on = event("uncovered", 10.0), event("covered", 10.0)
    line = timeline(target(), check_events([on, off, start], NOON_S + 20.0), NOON_S + 20.0)
    assert line.status is LiveStatus.COVERED


def test_covering_twice_is_covering_once():
    told = [event("started", 0.0)]
    told += [
        event(kind, at)
        for at, kind in [(5, "uncovered"), (10, "covered"), (12, "covered"), (20, "uncovered")]
    ]
    line = timeline(target(), check_events(told, NOON_S + 30.0), NOON_S + 30.0)
    assert line.covers == ((NOON_S + 10.0, NOON_S + 20.0),)


@pytest.mark.parametrize(
    ("kinds", "status", "stopped"),
    [
        ([], LiveStatus.READY, None),
        (["finished"], LiveStatus.READY, None),  # its start is not known yet
        (["started"], LiveStatus.RUNNING, None),
        (["started", "covered"], LiveStatus.COVERED, None),
        (["started", "finished", "covered"], LiveStatus.FINISHED, 1.0),
        (["started", "finished", "discarded"], LiveStatus.DISCARDED, 1.0),
        (["started", "discarded", "finished"], LiveStatus.DISCARDED, 1.0),
        (["discarded"], LiveStatus.DISCARDED, None),
    ],
)
def test_the_state_follows_from_the_events(kinds, status, stopped):
    told = [event(kind, float(at)) for at, kind in enumerate(kinds)]
    line = timeline(target(), check_events(told, NOON_S + 10.0), NOON_S + 10.0)
    assert line.status is status
    assert line.stopped_s == (None if stopped is None else NOON_S + stopped)
