"""Calendars from what is asked and saved, and the private addresses that they can be fetched from."""

import datetime as dt
import hashlib
import json
import re
import secrets
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid4

from fastapi import Request
from pydantic import ValidationError

from noonframe.api.ask import find_target, find_where, understand
from noonframe.api.bench_fill import bench_of, filled
from noonframe.api.bench_names import named
from noonframe.api.calendar_entries import CalendarSheet
from noonframe.api.calendar_inputs import CalendarQuery, FeedBody, FeedSlots
from noonframe.api.calendar_outputs import FeedItem
from noonframe.api.calendar_session import read_plan, session_entries
from noonframe.api.calendar_slots import ASK_AGAIN, SlotsAhead, slots_ahead
from noonframe.api.inputs_spot import SpotBody
from noonframe.api.routes.common import now_of, settings_of, weather_of
from noonframe.api.runs_words import plain_json_text
from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.store.errors import StoreError
from noonframe.sun.events import civil_day

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.feeds import Feed
    from noonframe.store.sessions import SessionFields
    from noonframe.store.versioned import Saved

REFRESH_S = 3600
TOKEN = re.compile(r"[A-Za-z0-9_-]{43}", re.ASCII)
_TOKEN_BYTES = 32
_OLDER_PLANS = 8  # how far back steps are looked for that a session has no more
# What may change without making it another question: how much is shown, and what is learned of a target.
_PASSING = {
    *("days", "per_day", "reminder", "reminder_min"),
    *("target_j_m2", "target_spread_stops", "target_source", "recipe_version"),
}


@dataclass(frozen=True)
class _Known:
    """A question whose names are replaced by ids, so that it outlives a change of name."""

    query: CalendarQuery
    title: str | None
    changed_s: float


def path_of(token: str) -> str:
    """The private path of a feed."""
    return f"/v1/calendars/{token}.ics"


def hash_of(token: str) -> str:
    """What is kept of a token."""
    return hashlib.sha256(token.encode("ascii")).hexdigest()


def slots_calendar(request: Request, query: CalendarQuery) -> CalendarSheet:
    """The slots of a question as a calendar to be downloaded once."""
    known, now_s = _known(request, query), now_of(request)
    full, spot = filled(request, known.query)
    asked = known.query.model_dump(mode="json", exclude_unset=True, exclude=_PASSING)
    told = hashlib.sha256(json.dumps(asked, sort_keys=True).encode()).hexdigest()
    # Nobody kept the question, so it is as new as the day it is asked on.
    since_s = max(known.changed_s, _day_began(full, now_s))
    ahead = _ahead(request, full, spot, identity=f"slots|{told}", known_s=since_s, title=known.title)
    return CalendarSheet(
        identity=f"calendar|slots|{told}",
        name=ahead.title,
        text=f"The best times to expose. {ASK_AGAIN}",
        revised_s=ahead.revised_s,
        entries=ahead.entries,
    )


def session_calendar(request: Request, words: str) -> CalendarSheet:
    """A saved session, by name or id, as a calendar to be downloaded once; raises `UnknownName`."""
    with bench_of(request).records.open().read() as db, named({"session": "session_id"}):
        saved = session_named(db, words)
        return _session_sheet(db, saved, f"calendar|session|{saved.id}", saved.fields.name)


def make_feed(request: Request, body: FeedBody) -> tuple["Feed", str]:
    """A new feed, and its token, of which only the hash is kept.

    Raises whatever the question itself would be refused for.
    """
    from noonframe.store import feeds

    if (body.slots is None) == (body.session is None):
        limit = "given, or session" if body.slots is None else "left out when session is given"
        raise OutOfDomain("slots", None, limit)
    now_s, store = now_of(request), bench_of(request).records.open()
    what: dict[str, Any] = {"form": 1}
    if body.slots is not None:
        known = _known(request, body.slots)
        what |= {"shows": "slots", "says": _checked(request, known, body.slots.spot)}
        what["asked"] = known.query.model_dump(mode="json", exclude_unset=True)
    token = secrets.token_urlsafe(_TOKEN_BYTES)
    bench_of(request).records.own_feed(hash_of(token))
    with store.write() as db:
        if body.session is not None:
            saved = session_named(db, body.session)
            read_plan(saved.fields.plan)
            what |= {"shows": "session", "says": f"the session {saved.fields.name}"}
            what["session_id"] = str(saved.id)
        with named():
            feed = feeds.create(
                db, feed_id=uuid4(), name=body.name, token_hash=hash_of(token), what=what, now_s=now_s
            )
    return feed, token


def find_feed(request: Request, token: str) -> "Feed | None":
    """The feed of a token; None for one that is unknown, revoked, or no token at all."""
    from noonframe.store import feeds

    if not TOKEN.fullmatch(token):
        return None
    store = bench_of(request).records.open()
    with store.read() as db:
        feed = feeds.by_token_hash(db, hash_of(token))
    day = dt.datetime.fromtimestamp(now_of(request), dt.UTC).date()
    if feed is not None and (feed.last_used_day is None or feed.last_used_day < day):
        with suppress(StoreError), store.write() as db:  # to be read matters more than to be marked
            feeds.mark_used(db, feed.id, day)
    return feed


def feed_calendar(request: Request, feed: "Feed", source: str) -> CalendarSheet:
    """What a feed shows now; `source` is the address it was fetched from."""
    from noonframe.store.sessions import SESSIONS

    identity = f"feed|{feed.id}"
    if feed.what.get("shows") == "session":
        with bench_of(request).records.open().read() as db:
            saved = SESSIONS.get(db, UUID(str(feed.what["session_id"])))
            sheet = _session_sheet(db, saved, identity, feed.name)
    else:
        query, spot = _kept(feed)
        known = _known(request, query)
        full, spot = filled(request, known.query, spot)
        since_s = max(feed.created_s, known.changed_s)
        ahead = _ahead(request, full, spot, identity=identity, known_s=since_s, title=known.title)
        sheet = CalendarSheet(
            identity=identity,
            name=feed.name,
            text=f"{ahead.title}: the best times to expose. {ASK_AGAIN}",
            # the days that are shown moved on at midnight
            revised_s=max(ahead.revised_s, _day_began(full, now_of(request))),
            entries=ahead.entries,
        )
    return replace(sheet, source=source, refresh_s=REFRESH_S)


def feed_item(feed: "Feed") -> FeedItem:
    """A feed as it is listed."""
    return FeedItem(
        id=str(feed.id),
        name=feed.name,
        shows="session" if feed.what.get("shows") == "session" else "slots",
        says=str(feed.what.get("says", "")),
        created=_utc(feed.created_s),
        revoked=None if feed.revoked_s is None else _utc(feed.revoked_s),
        last_used_day=None if feed.last_used_day is None else feed.last_used_day.isoformat(),
    )


def _ahead(
    request: Request,
    full: CalendarQuery,
    spot: SpotBody | None,
    *,
    identity: str,
    known_s: float,
    title: str | None,
) -> SlotsAhead:
    return slots_ahead(
        full,
        spot,
        identity=identity,
        settings=settings_of(request),
        now_s=now_of(request),
        known_s=known_s,
        weather=weather_of(request),
        title=title,
    )


def _session_sheet(
    db: "Connection", saved: "Saved[SessionFields]", identity: str, name: str
) -> CalendarSheet:
    from noonframe.store.sessions import SESSIONS

    oldest = max(saved.version - _OLDER_PLANS, 1)
    older = [SESSIONS.get(db, saved.id, version) for version in range(saved.version - 1, oldest - 1, -1)]
    plan, before = read_plan(saved.fields.plan), []
    for one in older:
        with suppress(Malformed):  # what nobody can read any more cancels nothing
            before.append(read_plan(one.fields.plan))
    entries = session_entries(
        str(saved.id),
        plan,
        revised_s=saved.saved_s,
        before=before,
        called_off=saved.retired,
    )
    text = f"{plan.summary} {ASK_AGAIN}".strip()
    return CalendarSheet(identity, name, text, saved.saved_s, entries)


def session_named(db: "Connection", words: str) -> "Saved[SessionFields]":
    """A session by name or id; errors name the field `session`."""
    from noonframe.store.sessions import SESSIONS

    with named({"name": "session"}):
        found = SESSIONS.find(db, words)
    if found is not None:
        return found
    with suppress(ValueError, UnknownName):
        return SESSIONS.get(db, UUID(words))
    raise UnknownName("session", words, "the name or the id of a session that is saved")


def _known(request: Request, query: CalendarQuery) -> _Known:
    """The question by ids, what its entries are called, and when what is saved for it last changed."""
    if query.recipe is None and query.saved_spot is None and query.saved_place is None:
        return _Known(query, None, 0.0)
    from noonframe.store import evidence_records
    from noonframe.store.places_saved import PLACES

    desk, ids, title = bench_of(request), dict[str, str](), None
    moments = [0.0]
    with desk.records.open().read() as db:
        if query.saved_spot is not None:
            spot = desk.spot(db, query.saved_spot)
            ids["saved_spot"] = str(spot.id)
            moments.append(spot.saved_s)
            there = None if spot.fields.place is None else PLACES.find(db, spot.fields.place)
            moments += [] if there is None else [there.saved_s]
        if query.saved_place is not None:
            place = desk.place(db, query.saved_place)
            ids["saved_place"] = str(place.id)
            moments.append(place.saved_s)
        if query.recipe is not None:
            recipe = desk.recipe(db, query.recipe, query.recipe_version)
            ids["recipe"] = str(recipe.id)
            title = recipe.fields.name
            moments.append(recipe.saved_s)
            for record in evidence_records.of_recipe(db, recipe.id):
                moments += [record.recorded_s, record.withdrawn_s or 0.0]
    return _Known(query.model_copy(update=ids), title, max(moments))


def _checked(request: Request, known: _Known, spot: SpotBody | None) -> str:
    """What a feed will show, in words; raises what its every answer would."""
    full, spot = filled(request, known.query, spot)
    moment = dt.datetime.fromtimestamp(now_of(request), dt.UTC)
    ask = understand(full, moment, settings_of(request), spot)
    find_target(full, ask.scene.sensitizer)
    sheet = "" if known.title is None else f" for {known.title}"
    days = "today" if full.days == 1 else f"{full.days} days"
    return f"the best slots of {days}{sheet} at {ask.where.label}, {ask.basis.spot}"


def _kept(feed: "Feed") -> tuple[FeedSlots, SpotBody | None]:
    try:
        query = FeedSlots.model_validate_json(plain_json_text(dict(feed.what["asked"])))
    except (KeyError, TypeError, ValidationError):
        raise Malformed("feed_id", str(feed.id), "a feed that this version of noonframe can read") from None
    return query, query.spot


def _day_began(full: CalendarQuery, now_s: float) -> float:
    zone = find_where(full).zone
    return civil_day(dt.datetime.fromtimestamp(now_s, zone).date(), zone)[0]


def _utc(unix_s: float) -> str:
    return dt.datetime.fromtimestamp(round(unix_s), dt.UTC).isoformat().replace("+00:00", "Z")
