"""Requests that may come twice: the effect once, the answer each time.

The `Idempotency-Key` header (draft-ietf-httpapi-idempotency-key-header-07) is a quoted string; phones send it
plain, so both are read.  Claim, effect and answer share one transaction.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from fastapi import Request, Response
from pydantic import BaseModel

from noonframe.api.records import Records
from noonframe.api.runs_words import request_hash
from noonframe.errors import KeyInUse, Malformed, NoonframeError, OutOfDomain

if TYPE_CHECKING:
    from sqlalchemy import Connection

    Work = Callable[["Connection"], BaseModel]

_HEADER = "idempotency-key"
_LONGEST = 200
JSON = "application/json"


def key_of(request: Request) -> str | None:
    """The key of a request; raises `Malformed` when it is none."""
    given = request.headers.getlist(_HEADER)
    if not given:
        return None
    if len(given) > 1:
        raise Malformed("Idempotency-Key", None, "one key, given once")
    key = given[0].strip()
    if len(key) >= 2 and key[0] == key[-1] == '"':
        key = key[1:-1]
    if not (1 <= len(key) <= _LONGEST and key.isascii() and key.isprintable() and '"' not in key):
        raise Malformed("Idempotency-Key", given[0][:60], f"1 to {_LONGEST} printable ASCII characters")
    return key


def once(
    request: Request,
    records: Records,
    content: Mapping[str, Any],
    prepare: "Callable[[], Work]",
    *,
    status_code: int,
) -> Response:
    """Answer with what the prepared work returns; a repetition gets the same answer.

    `prepare` runs before the transaction and changes nothing; what it refuses is refused unless the request
    was answered before.
    """
    key, now_s = key_of(request), records.clock()
    store = records.open()
    if key is None:
        work = prepare()
        with store.write() as db:
            body = work(db).model_dump_json().encode()
        return Response(body, status_code, media_type=JSON)
    from noonframe.store import idempotency
    from noonframe.store.idempotency import ClaimState, StoredReply

    work = _prepared(prepare)
    route = f"{request.method} {request.url.path}"
    with store.write() as db:
        claim = idempotency.claim(db, key, route, request_hash(content), now_s=now_s)
        if claim.state is ClaimState.MISMATCH:
            raise OutOfDomain("Idempotency-Key", key, "new for another request: this one was used already")
        if claim.state is ClaimState.RUNNING:
            raise KeyInUse(key)
        if claim.state is ClaimState.DONE and claim.reply is not None:
            reply = claim.reply
            return Response(
                reply.body,
                reply.status_code,
                media_type=reply.content_type,
                headers={"Idempotent-Replay": "true"},
            )
        body = work(db).model_dump_json().encode()
        idempotency.finish(db, claim, StoredReply(status_code, JSON, body))
    return Response(body, status_code, media_type=JSON)


def _prepared(prepare: "Callable[[], Work]") -> "Work":
    try:
        return prepare()
    except NoonframeError as problem:
        refusal = problem

    def refuse(db: "Connection") -> BaseModel:
        raise refusal

    return refuse
