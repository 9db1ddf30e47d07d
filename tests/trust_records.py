"""A studio with keys, a feed, a ticket, counted requests and a change told of, for tests."""

from noonframe.store import audit, keys, limits, studios
from noonframe.store.actors import Actor

NOW_S = 1_782_032_400.25


def fill_trust(store):
    """One or two of each."""
    with store.write() as db:
        studio = studios.create(db, "evening-class", now_s=NOW_S)
        studios.own_feed(db, "ab" * 32, studio)
        made, _ = keys.create(db, name="yard phone", studio=studio, scope="run", expires_s=None, now_s=NOW_S)
        old, _ = keys.create(
            db, name="old", studio=None, scope="manage", expires_s=NOW_S + 9.5, now_s=NOW_S, pepper="salt"
        )
        keys.revoke(db, old.id, now_s=NOW_S + 1.0)
        keys.make_ticket(db, made.id, now_s=NOW_S)
        limits.take(db, f"key:{made.id}", NOW_S, 5, 600)
        audit.note(db, Actor(made.id, made.name, "POST", "/v1/prints", None, "r1", NOW_S), "made")
