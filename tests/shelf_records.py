"""A session, its feed, a film printer and a lamp of an invented print room, for tests."""

import datetime as dt
import hashlib
import uuid
from dataclasses import replace

from noonframe.store import feeds
from noonframe.store.documents import DocumentFields
from noonframe.store.film_printers import FILM_PRINTERS
from noonframe.store.lamps import LAMPS
from noonframe.store.sessions import SESSIONS, SessionFields

NINE_S = 1_782_032_400.25
DAY_S = 86_400.0

SESSION = SessionFields(
    name="Kelp day",
    starts_s=NINE_S,
    ends_s=NINE_S + 5400.5,
    asked={"place": "quayside-yard", "prints": [{"name": "kelp fronds"}, {"name": "ferry ticket"}]},
    plan={"steps": [{"what": "expose", "length_s": 580.1}], "note": 'ü ☀ "quoted"\0'},
    happened=({"kind": "started", "at_s": NINE_S}, {"kind": "late", "by_s": 0.1 + 0.2}),
)
FILM_PRINTER = DocumentFields(
    "Inkjet upstairs",
    {"scale": [[0.0, 0.05], [0.5, 0.9], [1.0, 2.2]], "base_density": 0.05, "dpi": 720, "note": None},
)
LAMP = DocumentFields(
    "Box of tubes",
    {"spectrum": "tube-368", "readings": [{"at_mm": 80, "w_m2": 22.5}], "warm_up": {"half_s": 45.0}},
)


def token_hash(token):
    """What is stored of a token."""
    return hashlib.sha256(token.encode()).hexdigest()


def fill_shelves(store):
    """One or two of each, some of it changed, retired or revoked."""
    with store.write() as db:
        session = SESSIONS.create(db, uuid.uuid4(), SESSION, now_s=NINE_S - 60.0)
        told = replace(SESSION, happened=(*SESSION.happened, {"kind": "done"}))
        SESSIONS.change(db, session.id, told, version=1, now_s=NINE_S + 60.0)
        for shelf, fields in ((FILM_PRINTERS, FILM_PRINTER), (LAMPS, LAMP)):
            kept = shelf.create(db, uuid.uuid4(), fields, now_s=NINE_S)
            shelf.retire(db, kept.id, version=1, now_s=NINE_S + 1.0)
            shelf.create(db, uuid.uuid4(), fields, now_s=NINE_S + 2.0)
        for number, token in enumerate(("old", "new")):
            feed_id = uuid.uuid4()
            what = {"session_id": str(session.id)}
            feeds.create(
                db, feed_id=feed_id, name="phone", token_hash=token_hash(token), what=what, now_s=NINE_S
            )
            feeds.mark_used(db, feed_id, dt.date(2026, 6, 21))
            if number == 0:
                feeds.revoke(db, feed_id, now_s=NINE_S + 3.0)
