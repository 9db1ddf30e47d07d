"""Keys, studios, tickets and who changed what; and the numbers for Prometheus."""

from typing import TYPE_CHECKING, Annotated, cast

from fastapi import APIRouter, Depends, Request, Response

from noonframe.api.access import Principal, Scope
from noonframe.api.access_errors import not_the_house
from noonframe.api.door import Door
from noonframe.api.gate import PRINCIPAL
from noonframe.api.keys_bodies import (
    KEY,
    STUDIO,
    AccessAnswer,
    AuditAnswer,
    AuditItem,
    AuditQuery,
    KeyBody,
    KeyItem,
    KeyMadeAnswer,
    KeysAnswer,
    KeysQuery,
    ScopeWord,
    StudioBody,
    StudioItem,
    StudiosAnswer,
    TicketAnswer,
    TicketBody,
    utc,
)
from noonframe.api.reading import body_of, json_body, no_query, query_parameters, read_query
from noonframe.api.records import Records
from noonframe.api.routes.common import now_of, settings_of
from noonframe.errors import UnknownName
from noonframe.store.actors import HOUSE, Studio, current_actor

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.keys import ApiKey

router = APIRouter(tags=["access"])


def principal_of(request: Request) -> Principal:
    """Whoever asks."""
    principal: Principal = request.scope[PRINCIPAL]
    return principal


@router.get("/v1/access", operation_id="access")
def get_access(request: Request) -> AccessAnswer:
    """Who the caller is: the studio and scope of its key."""
    no_query(request)
    me = principal_of(request)
    return AccessAnswer(
        studio=me.studio_name,
        scope=cast("ScopeWord", me.scope.word),
        key_id=me.key_id,
        key_name=None if me.key_id is None else me.who,
        expires=None if me.expires_s is None else utc(me.expires_s),
        keys_asked_for=_door(request).asks_for_keys,
    )


@router.post("/v1/keys", operation_id="make_key", status_code=201, openapi_extra=json_body(KeyBody, KEY))
def make_key(request: Request, body: Annotated[KeyBody, Depends(body_of(KeyBody))]) -> KeyMadeAnswer:
    """A key, shown this once.  It needs a key of the same studio that manages, or the command line.

    An Idempotency-Key is of no effect, because the answer to be repeated would have to be kept.
    """
    from noonframe.store import keys

    me, pepper = _manager(request), settings_of(request).key_pepper
    with _records(request).house().write() as db:
        studio = _whose(request, db, body.studio)
        key, text = keys.create(
            db,
            name=body.name,
            studio=studio,
            scope=body.scope,
            expires_s=None if body.expires is None else body.expires.timestamp(),
            now_s=now_of(request),
            pepper=None if pepper is None else pepper.get_secret_value(),
        )
    _told_to_studio(request, me, key.id)
    _door(request).forget()
    item = _item(key)
    reach = f"It opens the records of {item.studio} with the scope {item.scope}."
    summary = f"Keep the key now: it is not shown again. {reach}"
    return KeyMadeAnswer(**item.model_dump(), key=text, summary=summary)


@router.get("/v1/keys", operation_id="keys", openapi_extra=query_parameters(KeysQuery, {"limit": 20}))
def list_keys(request: Request) -> KeysAnswer:
    """Keys, newest first, never in full: all of them for the house, else those of the own studio."""
    from noonframe.store import keys

    query, me = read_query(KeysQuery, request), _manager(request)
    with _records(request).house().read() as db:
        if me.operates and query.studio is None:
            found = keys.newest(db, whole=True, limit=query.limit)
        else:
            studio = _whose(request, db, query.studio)
            found = keys.newest(db, studio=None if studio is None else studio.name, limit=query.limit)
    return KeysAnswer(keys=[_item(key) for key in found])


@router.post("/v1/keys/{key_id}/revoke", operation_id="revoke_key")
def revoke_key(request: Request, key_id: str) -> KeyItem:
    """Let a key open nothing any more, for good; other workers know within five seconds."""
    from noonframe.store import keys

    no_query(request)
    me = _manager(request)
    with _records(request).house().write() as db:
        if not me.operates and keys.get(db, key_id).studio != me.studio:
            raise UnknownName("key_id", key_id[:60], "the id of a key")
        key = keys.revoke(db, key_id, now_s=now_of(request))
    _told_to_studio(request, me, key_id)
    _door(request).forget()
    return _item(key)


@router.post(
    "/v1/studios", operation_id="make_studio", status_code=201, openapi_extra=json_body(StudioBody, STUDIO)
)
def make_studio(request: Request, body: Annotated[StudioBody, Depends(body_of(StudioBody))]) -> StudioItem:
    """A studio with records of its own, which no other studio's keys open."""
    from noonframe.store import studios

    _operator(request, "making a studio")
    now_s, records = now_of(request), _records(request)
    with records.house().write() as db:
        studio = studios.create(db, body.name, now_s=now_s)
    records.of(studio)  # its tables are made now rather than at somebody's first question
    return StudioItem(name=studio.name, created=utc(now_s))


@router.get("/v1/studios", operation_id="studios")
def list_studios(request: Request) -> StudiosAnswer:
    """All studios, the house first."""
    from noonframe.store import studios

    no_query(request)
    _operator(request, "looking at the studios")
    with _records(request).house().read() as db:
        found = studios.every(db)
    items = [StudioItem(name=studio.name, created=utc(created_s)) for studio, created_s in found]
    return StudiosAnswer(studios=[StudioItem(name=HOUSE, created=None), *items])


@router.get("/v1/audit", operation_id="audit", openapi_extra=query_parameters(AuditQuery, {"limit": 20}))
def list_changes(request: Request) -> AuditAnswer:
    """Who changed what in the studio's records, newest first."""
    from noonframe.store import audit

    query = read_query(AuditQuery, request)
    with _records(request).open().read() as db:
        found = audit.newest(db, before=query.before, limit=query.limit)
    return AuditAnswer(
        changes=[
            AuditItem(
                number=one.sequence,
                at=utc(one.at_s),
                key_id=one.key_id,
                who=one.who,
                method=one.method,
                route=one.route,
                record=one.record,
                request_id=one.request_id,
            )
            for one in found
        ]
    )


@router.post(
    "/v1/tickets", operation_id="make_ticket", status_code=201, openapi_extra=json_body(TicketBody, {})
)
def make_ticket(request: Request, body: Annotated[TicketBody, Depends(body_of(TicketBody))]) -> TicketAnswer:
    """A ticket that opens one stream, once, within a minute: for readers that can send no headers."""
    from noonframe.store import keys

    with _records(request).house().write() as db:
        text, expires_s = keys.make_ticket(db, principal_of(request).key_id, now_s=now_of(request))
    return TicketAnswer(ticket=text, expires=utc(expires_s))


@router.get("/metrics", include_in_schema=False)
async def get_metrics(request: Request) -> Response:
    """Counts of this worker in the text form of Prometheus; in the loop that counts, so nothing is torn."""
    no_query(request)
    if principal_of(request).studio is not None:
        raise not_the_house("looking at the installation's numbers")
    state = request.app.state
    gauges = {
        "noonframe_streams_open": ("Streams open in this worker.", float(state.streams.total)),
        "noonframe_runs_watched": ("Exposures watched for streams.", float(state.watcher.watched)),
        "noonframe_studios_open": ("Studios whose records are open.", float(state.records.studios_open)),
    }
    text, kind = state.metrics.text(gauges)
    return Response(text, headers={"Content-Type": kind})


def _records(request: Request) -> Records:
    records: Records = request.app.state.records
    return records


def _door(request: Request) -> Door:
    door: Door = request.app.state.door
    return door


def _manager(request: Request) -> Principal:
    """Whoever may make and revoke keys: never somebody who was not asked for one."""
    me = principal_of(request)
    if not me.operates and (me.key_id is None or me.scope < Scope.MANAGE):
        raise not_the_house("making, seeing and revoking keys without one")
    return me


def _operator(request: Request, what: str) -> Principal:
    me = principal_of(request)
    if not me.operates:
        raise not_the_house(what)
    return me


def _whose(request: Request, db: "Connection", name: str | None) -> Studio | None:
    """The studio that a request names, or that of whoever asks."""
    from noonframe.store import studios

    me = principal_of(request)
    if name is None or name == me.studio_name:
        return me.studio
    if not me.operates:
        raise UnknownName("studio", name[:60], "left out, or the studio of your own key")
    return studios.get(db, name)


def _told_to_studio(request: Request, me: Principal, key_id: str) -> None:
    """Keys lie in the house's records; a studio that changes its own is to find that among its changes."""
    from noonframe.store import audit

    actor = current_actor.get()
    if me.studio is not None and actor is not None:
        with _records(request).open().write() as db:
            audit.note(db, actor, key_id)


def _item(key: "ApiKey") -> KeyItem:
    return KeyItem(
        id=key.id,
        name=key.name,
        studio=HOUSE if key.studio is None else key.studio.name,
        scope=cast("ScopeWord", key.scope),
        created=utc(key.created_s),
        expires=None if key.expires_s is None else utc(key.expires_s),
        revoked=None if key.revoked_s is None else utc(key.revoked_s),
        last_used_day=None if key.last_used_day is None else key.last_used_day.isoformat(),
    )
