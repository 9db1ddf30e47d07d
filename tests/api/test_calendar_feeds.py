"""Feeds: private addresses that are shown once, can be read until they are revoked, and are never logged."""

import datetime as dt
import uuid

import icalendar
import pytest
import sqlalchemy as sa
from api.conftest import Caller
from databases import database_url
from ical.calendar_stream import IcsCalendarStream

from noonframe.api.app import create_app
from noonframe.api.calendar_examples import PLAN
from noonframe.api.calendar_feeds import hash_of
from noonframe.settings import Settings
from noonframe.store.sessions import SESSIONS, SessionFields
from noonframe.store.tables import FEEDS, IDEMPOTENCY_RECORDS
from noonframe.store.versioned import Saved

__all__ = ["database_url"]

NOON_S = dt.datetime(2026, 6, 21, 12, 0, tzinfo=dt.UTC).timestamp()
SLOTS = {"place": "quayside-yard", "target_j_m2": 24000, "days": 2}
BODY = {"name": "Yard", "slots": SLOTS}


class Clock:
    def __init__(self):
        self.now_s = NOON_S

    def __call__(self):
        return self.now_s


class Feeds(Caller):
    """An app on a database of its own, with a clock that moves when told."""

    def __init__(self, url):
        self.clock = Clock()
        super().__init__(create_app(Settings(database_url=url), clock=self.clock))

    def made(self, **body):
        response = self.post("/v1/feeds", {**BODY, **body})
        assert response.status_code == 201, response.text
        return response.json()

    def revoke(self, feed):
        return self.request("POST", f"/v1/feeds/{feed['id']}/revoke")

    @property
    def store(self):
        return self.app.state.records.open()

    def session(self, plan=PLAN, name="Kelp day") -> Saved[SessionFields]:
        with self.store.write() as db:
            fields = SessionFields(name, NOON_S, NOON_S + 36000.0, {}, plan)
            return SESSIONS.create(db, uuid.uuid4(), fields, now_s=self.clock.now_s)


@pytest.fixture
def feeds(database_url):
    made = Feeds(database_url)
    yield made
    made.app.state.records.close()


def events(response):
    assert response.status_code == 200, response.text
    return icalendar.Calendar.from_ical(response.content).events


def test_a_feed_is_read_at_its_private_address_by_both_readers(feeds):
    feed = feeds.made()
    assert feed["address"] == f"http://localhost{feed['path']}"
    assert feed["webcal_address"] == f"webcal://localhost{feed['path']}"
    assert "not shown again" in feed["summary"]
    assert "this machine only" in feed["summary"]
    response = feeds.get(feed["path"])
    assert response.headers["content-type"] == "text/calendar; charset=utf-8"
    assert response.headers["cache-control"] == "private, no-cache"
    assert len(events(response)) == len(IcsCalendarStream.calendar_from_ics(response.text).events) == 2
    calendar = icalendar.Calendar.from_ical(response.content)
    assert str(calendar["name"]) == "Yard"
    assert str(calendar["source"]) == feed["address"]
    assert calendar["refresh-interval"].dt == dt.timedelta(hours=1)


def test_the_token_is_nowhere_but_in_the_answer_that_made_it(feeds):
    feed = feeds.made()
    token = feed["path"].removeprefix("/v1/calendars/").removesuffix(".ics")
    assert len(token) == 43  # 256 bits in base64
    listed = feeds.get("/v1/feeds")
    assert [one["id"] for one in listed.json()["feeds"]] == [feed["id"]]
    assert token not in listed.text
    with feeds.store.read() as db:
        assert token not in str(db.execute(sa.select(FEEDS)).all())
        assert db.execute(sa.select(FEEDS.c.token_hash)).scalar_one() == hash_of(token)


def test_a_key_for_repetition_keeps_no_address(feeds):
    key = {"Idempotency-Key": '"k1"'}
    first, second = (feeds.post("/v1/feeds", BODY, headers=key).json() for _ in range(2))
    assert first["path"] != second["path"]
    with feeds.store.read() as db:
        assert db.execute(sa.select(IDEMPOTENCY_RECORDS)).all() == []


@pytest.mark.parametrize("again", [False, True])
def test_a_revoked_feed_is_not_there(feeds, again):
    feed, other = feeds.made(), feeds.made(name="Other")
    revoked = feeds.revoke(feed)
    if again:
        feeds.clock.now_s += 60.0
        assert feeds.revoke(feed).json() == revoked.json()
    assert revoked.json()["revoked"] == "2026-06-21T12:00:00Z"
    response = feeds.get(feed["path"])
    unknown = feeds.get("/v1/calendars/" + "x" * 43 + ".ics")
    assert response.status_code == unknown.status_code == 404
    same = ("type", "title", "status", "detail", "errors")
    assert [response.json()[name] for name in same] == [unknown.json()[name] for name in same]
    assert feeds.get(other["path"]).status_code == 200
    assert [one["name"] for one in feeds.answer("/v1/feeds", {})["feeds"]] == ["Other"]
    assert [one["name"] for one in feeds.answer("/v1/feeds", {"revoked": "yes"})["feeds"]] == ["Yard"]


@pytest.mark.parametrize("token", ["x", "x" * 43, "x" * 300, "%00" * 43, "é" * 43, "..%2F..%2Fv1"])
def test_what_is_no_token_is_not_there_either(feeds, token):
    response = feeds.get(f"/v1/calendars/{token}.ics")
    assert response.status_code == 404
    assert response.headers["content-type"] == "application/problem+json"


def test_who_has_the_newest_is_told_so(feeds):
    feed = feeds.made()
    response = feeds.get(feed["path"])
    tag = response.headers["etag"]
    for header in (tag, f"W/{tag}", f'"x", {tag}', "*"):
        feeds.clock.now_s += 600.0
        again = feeds.get(feed["path"], headers={"If-None-Match": header})
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["etag"] == tag
        assert again.headers["last-modified"] == response.headers["last-modified"]
    assert feeds.get(feed["path"], headers={"If-None-Match": '"x"'}).status_code == 200
    head = feeds.request("HEAD", feed["path"])
    assert (head.status_code, head.content, head.headers["etag"]) == (200, b"", tag)


def test_the_last_change_is_never_later_than_the_answer(feeds):
    feed = feeds.made()
    feeds.clock.now_s -= 3600.0  # a clock that was put right
    assert feeds.get(feed["path"]).headers["last-modified"] == "Sun, 21 Jun 2026 11:00:00 GMT"


def test_reading_is_marked_by_the_day_and_no_finer(feeds):
    feed = feeds.made()
    assert feed["last_used_day"] is None
    feeds.get(feed["path"])
    assert feeds.answer("/v1/feeds", {})["feeds"][0]["last_used_day"] == "2026-06-21"


def test_a_feed_follows_what_is_saved_by_that_name_also_when_it_is_called_otherwise(feeds):
    spot = {"name": "yard bench", "place": "quayside-yard", "spot": {"kind": "open"}}
    saved = feeds.post("/v1/spots", spot).json()
    recipe = {"name": "kelp on cotton", "sensitizer": "citrate-classic", "stack": ["float-glass-4mm"]}
    kelp = feeds.post("/v1/recipes", recipe).json()
    feed = feeds.made(slots={"saved_spot": "yard bench", "recipe": "kelp on cotton", "days": 1})
    assert "for kelp on cotton" in feed["says"]
    first = feeds.get(feed["path"])
    assert events(first)[0]["summary"].startswith("kelp on cotton: ")

    feeds.clock.now_s += 60.0
    tilted = {"name": "bench by the wall", "spot": {"kind": "open", "tilt_deg": 60}}
    changed = feeds.request("PATCH", f"/v1/spots/{saved['id']}", json=tilted, headers={"If-Match": '"1"'})
    assert changed.status_code == 200, changed.text
    second = feeds.get(feed["path"])
    assert second.headers["etag"] != first.headers["etag"]

    feeds.clock.now_s += 60.0
    strip = {"first_j_m2": 6000, "step_stops": 0.5, "strip_count": 9}
    evidence = {"kind": "strip", "ladder": strip, "first_full": 3, "first_toned": 1}
    learned = feeds.post(f"/v1/recipes/{kelp['id']}/evidence", evidence)
    assert learned.status_code == 201, learned.text
    third = feeds.get(feed["path"])
    old, moved, sharper = (events(response)[0] for response in (first, second, third))
    assert str(old["uid"]) == str(moved["uid"]) == str(sharper["uid"])
    assert old["sequence"] < moved["sequence"] < sharper["sequence"]
    assert "from 1 strip" in sharper["description"]


def test_a_feed_of_a_session_shows_its_plan(feeds):
    saved = feeds.session()
    feed = feeds.made(slots=None, session="kelp DAY")
    assert (feed["shows"], feed["says"]) == ("session", "the session Kelp day")
    (event,) = events(feeds.get(feed["path"]))
    assert event["summary"] == "kelp 1: in the light, frame 2"
    once = feeds.get("/v1/sessions/Kelp day/calendar.ics")
    assert str(events(once)[0]["uid"]) == str(event["uid"])
    by_id = feeds.get(f"/v1/sessions/{saved.id}/calendar.ics")
    assert by_id.content == once.content
    assert "attachment" in once.headers["content-disposition"]
    gone = feeds.get("/v1/sessions/nobody/calendar.ics")
    assert (gone.status_code, gone.json()["errors"][0]["field"]) == (404, "session_id")


def test_a_session_that_is_called_off_is_cancelled_in_calendars(feeds):
    saved = feeds.session()
    feed = feeds.made(slots=None, session=str(saved.id))
    before = events(feeds.get(feed["path"]))[0]
    with feeds.store.write() as db:
        SESSIONS.retire(db, saved.id, version=1, now_s=NOON_S + 60.0)
    after = events(feeds.get(feed["path"]))[0]
    assert (before["status"], after["status"]) == ("TENTATIVE", "CANCELLED")
    assert after["sequence"] > before["sequence"]
    assert not after.walk("VALARM")


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"name": "Yard"}, "slots"),
        ({**BODY, "session": "Kelp day"}, "slots"),
        ({"name": "Yard", "session": "nobody"}, "session"),
        ({**BODY, "name": ""}, "name"),
        ({**BODY, "name": " "}, "name"),
        ({**BODY, "token": "mine"}, "token"),
        ({**BODY, "slots": {**SLOTS, "days": 99}}, "slots.days"),
        ({**BODY, "slots": {**SLOTS, "stack": "nothing-known"}}, "stack"),
        ({**BODY, "slots": {"days": 2}}, "latitude_deg"),
    ],
)
def test_a_feed_that_could_show_nothing_is_refused(feeds, body, field):
    response = feeds.post("/v1/feeds", body)
    assert response.status_code == 422
    assert response.json()["errors"][0]["field"] == field
    assert feeds.answer("/v1/feeds", {}) == {"feeds": []}


def test_feeds_are_listed_page_by_page(feeds):
    for number in range(3):
        feeds.clock.now_s += 1.0
        feeds.made(name=f"feed {number}")
    first = feeds.answer("/v1/feeds", {"limit": 2})["feeds"]
    rest = feeds.answer("/v1/feeds", {"limit": 2, "before": first[-1]["id"]})["feeds"]
    assert [one["name"] for one in first + rest] == ["feed 2", "feed 1", "feed 0"]
    nobody = feeds.get("/v1/feeds", {"before": str(uuid.uuid4())})
    assert (nobody.status_code, nobody.json()["errors"][0]["field"]) == (422, "before")
    assert feeds.request("POST", f"/v1/feeds/{uuid.uuid4()}/revoke").status_code == 404


@pytest.mark.parametrize(
    "host", ["evil.example/..", "a b", "x" * 400, "user@host", "[::1", "host:99999", "host:0", "", "a..b"]
)
def test_no_address_is_made_of_a_host_that_is_none(feeds, host):
    response = feeds.post("/v1/feeds", BODY, headers={"Host": host})
    assert response.status_code == 422
    assert response.json()["errors"][0]["field"] == "Host"
    assert feeds.answer("/v1/feeds", {}) == {"feeds": []}
