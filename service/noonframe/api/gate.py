"""What every request goes through before its route, and every answer before it leaves.

In this order: a request id; the Host header; a foreign Origin; the key or ticket and the studio it belongs
to; the scope of the route; the count of requests.  Then the route, in the records of that studio.  At the
end: headers, counts and the log.  Nothing of a request's body is read for somebody who is turned away.
"""

import hashlib
import re
import secrets
import time
from collections.abc import Callable
from contextvars import Token
from itertools import count
from typing import Any, cast
from urllib.parse import parse_qsl

from fastapi import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from noonframe.api.access import ANYBODY, CALENDAR, NOBODY, Principal, Rule, Rules
from noonframe.api.access import Scope as May
from noonframe.api.access_errors import Refusal, cross_site, key_needed, scope_too_small
from noonframe.api.door import Door
from noonframe.api.headers import Headers, with_safe_headers
from noonframe.api.hosts import Hosts
from noonframe.api.limits import USUAL, Limits, OpenStreams
from noonframe.api.logs import REQUESTS, log_request, rounded_place
from noonframe.api.metrics import Metrics
from noonframe.api.problems import refusal_response
from noonframe.api.records import Records, kept_from
from noonframe.errors import NoonframeError
from noonframe.settings import Settings, is_loopback
from noonframe.store.actors import Actor, current_actor, current_studio

PRINCIPAL, REQUEST_ID = "noonframe.principal", "noonframe.request_id"
"""Where the scope of a request holds them."""

_TROUBLE = "noonframe.trouble"
_SANE_ID = re.compile(rb"[A-Za-z0-9_.-]{1,64}")
_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
_TICKET = b"ticket="
_CHECK_STREAM_S = 5.0
_INFO = 20


class StreamOver(OSError):
    """The key that a stream was opened with opens nothing any more."""


class Gate:
    """ASGI middleware; what it counts and knows is its app's own."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        settings: Settings,
        records: Records,
        door: Door,
        metrics: Metrics,
        streams: OpenStreams,
        clock: Callable[[], float],
    ) -> None:
        self._app = app
        self._door = door
        self._metrics = metrics
        self._streams = streams
        self._clock = clock
        self._hosts = None if door.is_for_operator else Hosts(settings)
        quota = USUAL if settings.requests_per_minute is None else settings.requests_per_minute
        self._limits = Limits(records, clock, quota) if quota and not door.is_for_operator else None
        self._limits_everybody = settings.requests_per_minute is not None or not is_loopback(settings.host)
        self._rules: Rules | None = None
        self._id_start = secrets.token_hex(4)
        self._ids = count(1)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through to its route, or answer it here."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began_s = time.perf_counter()
        headers: dict[bytes, bytes] = dict(scope["headers"])
        visit = self._begin(scope, headers)
        answer = visit.through(send)
        try:
            refused = await self._admit(scope, headers, visit)
            if refused is not None:
                await refused(scope, receive, answer)
            elif visit.is_plain and scope["method"] in _SAFE_METHODS:
                await self._app(scope, receive, answer)
            else:
                await self._inside(scope, receive, answer, visit)
        finally:
            took_s = time.perf_counter() - began_s
            counted_s = None if visit.rule.streams else took_s
            self._metrics.count(visit.rule.template, scope["method"], visit.status, counted_s)
            if REQUESTS.isEnabledFor(_INFO):
                _log(scope, visit, took_s)

    def _begin(self, scope: Scope, headers: dict[bytes, bytes]) -> "_Visit":
        if self._rules is None:
            self._rules = Rules(scope["app"].routes)
        given = headers.get(b"x-request-id")
        if given is not None and _SANE_ID.fullmatch(given):
            request_id = given.decode("ascii")
        else:
            request_id = f"{self._id_start}-{next(self._ids):x}"
        scope[REQUEST_ID] = request_id
        path, root = scope["path"], scope.get("root_path")
        if root and path.startswith(root):
            path = path[len(root) :]
        return _Visit(*self._rules.find(scope["method"], path), request_id)

    async def _admit(self, scope: Scope, headers: dict[bytes, bytes], visit: "_Visit") -> Response | None:
        """Find out who asks, and whether that may be; what to answer if it may not."""
        rule = visit.rule
        try:
            if self._hosts is not None:
                self._check_whence(self._hosts, scope, headers)
            principal = self._at_once(headers, rule)
            if principal is None:
                principal = await self._looked_up(scope, headers, rule)
            visit.principal = scope[PRINCIPAL] = principal
            if rule.scope > principal.scope:
                raise key_needed() if principal is NOBODY else scope_too_small(principal.scope, rule)
            if self._limits is not None and (self._limits_everybody or principal.key_id is not None):
                await self._count(self._limits, scope, visit)
        except Refusal as refusal:
            return refusal_response(Request(scope), refusal)
        except NoonframeError as error:
            return await _handled(scope, error)
        return None

    @staticmethod
    def _check_whence(hosts: Hosts, scope: Scope, headers: dict[bytes, bytes]) -> None:
        """Refuse what may not be asked here whoever asks: by a strange name, or from another site's page."""
        host = headers.get(b"host")
        if host is not None and host not in hosts.good:
            hosts.check(Request(scope), host)
        origin = headers.get(b"origin")
        if origin is None or scope["method"] in _SAFE_METHODS or hosts.is_own_site(origin, host):
            return
        raise cross_site(origin.decode("latin-1"))

    def _at_once(self, headers: dict[bytes, bytes], rule: Rule) -> Principal | None:
        """Who asks, where that is known without a look into the records."""
        if rule.scope is May.NOTHING:
            return NOBODY if rule.template != CALENDAR else None
        authorization = headers.get(b"authorization")
        if authorization is not None:
            return self._door.believed(authorization)
        return None if rule.streams else self._door.unasked()

    async def _looked_up(self, scope: Scope, headers: dict[bytes, bytes], rule: Rule) -> Principal:
        if rule.template == CALENDAR:
            token = scope["path"].rpartition("/")[2].removesuffix(".ics")
            return Principal(May.NOTHING, "a calendar", await self._door.owner_of_feed(token))
        authorization = headers.get(b"authorization")
        if authorization is not None:
            return await self._door.look_up(authorization, _address(scope))
        if rule.streams and _TICKET in scope["query_string"]:
            ticket, rest = _without_ticket(scope["query_string"])
            if ticket is not None:
                scope["query_string"] = rest
                return await self._door.take_ticket(ticket, _address(scope))
        known = self._door.unasked()
        if known is None:
            known, trouble = await self._door.look_whether_keys_were_made()
            if trouble is not None:
                known = _UNREADABLE
                scope[_TROUBLE] = trouble
        return known

    async def _count(self, limits: Limits, scope: Scope, visit: "_Visit") -> None:
        if visit.rule.scope is May.NOTHING and visit.rule.template != CALENDAR:
            return
        remaining = await limits.count(_caller(scope, visit.principal))
        visit.extra.append((b"ratelimit-policy", limits.policy_field.encode()))
        visit.extra.append((b"ratelimit", remaining.encode()))

    async def _inside(self, scope: Scope, receive: Receive, send: Send, visit: "_Visit") -> None:
        """Run the route in the records of the studio, with whoever changes something written down."""
        principal, method = visit.principal, scope["method"]
        actor = None
        if method not in _SAFE_METHODS:
            actor = Actor(
                key_id=principal.key_id,
                who=principal.who,
                method=method,
                route=visit.rule.template,
                record=visit.record,
                request_id=visit.request_id,
                at_s=self._clock(),
            )
        turned: list[tuple[Any, Token[Any]]] = [
            (current_studio, current_studio.set(principal.studio)),
            (current_actor, current_actor.set(actor)),
            (kept_from, kept_from.set(scope.get(_TROUBLE))),
        ]
        try:
            if visit.rule.streams:
                await self._stream(scope, receive, send, principal)
            else:
                await self._app(scope, receive, send)
        finally:
            for variable, token in reversed(turned):
                variable.reset(token)

    async def _stream(self, scope: Scope, receive: Receive, send: Send, principal: Principal) -> None:
        """An answer that goes on for as long as its key is good."""
        caller = _caller(scope, principal)
        try:
            self._streams.begin(caller)
        except Refusal as refusal:
            await refusal_response(Request(scope), refusal)(scope, receive, send)
            return
        checked_s = time.monotonic()
        over = False

        async def while_good(message: Message) -> None:
            nonlocal checked_s, over
            if principal.key_id is not None and time.monotonic() - checked_s >= _CHECK_STREAM_S:
                checked_s = time.monotonic()
                if not await self._door.still_good(principal):
                    over = True
                    await send({"type": "http.response.body", "body": b"", "more_body": False})
                    raise StreamOver
            await send(message)

        try:
            await self._app(scope, receive, while_good)
        except Exception:
            if not over:
                raise
        finally:
            self._streams.end(caller)


_UNREADABLE = Principal(ANYBODY.scope, ANYBODY.who)
"""Anybody, while the records cannot say whether that is enough: no record is touched for them."""


class _Visit:
    """One request on its way: what is known of it so far, and the status it was answered with."""

    __slots__ = ("extra", "principal", "record", "request_id", "rule", "status")

    def __init__(self, rule: Rule, record: str | None, request_id: str) -> None:
        self.rule = rule
        self.record = record
        self.request_id = request_id
        self.principal: Principal = NOBODY
        self.extra: Headers = [(b"x-request-id", request_id.encode())]
        self.status = 500  # until something else is sent

    @property
    def is_plain(self) -> bool:
        """Whether the house is asked, by somebody of whom all is known, for an answer that ends."""
        principal = self.principal
        return principal.studio is None and principal is not _UNREADABLE and not self.rule.streams

    def through(self, send: Send) -> Send:
        """`send`, with the headers that every answer carries."""

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                self.status = message["status"]
                headers = with_safe_headers(message.get("headers", ()))
                has_id = self.status == 500 and any(name == b"x-request-id" for name, _ in headers)
                headers += self.extra[1:] if has_id else self.extra
                message["headers"] = headers
            await send(message)

        return answer


def _log(scope: Scope, visit: _Visit, took_s: float) -> None:
    told: dict[str, Any] = {
        "request_id": visit.request_id,
        "method": scope["method"],
        "route": visit.rule.template,
        "status": visit.status,
        "took_ms": round(took_s * 1e3, 2),
    }
    if visit.principal.key_id is not None:
        told["key_id"] = visit.principal.key_id
    if visit.principal.studio is not None:
        told["studio"] = visit.principal.studio.name
    log_request({**told, **rounded_place(scope["query_string"])})


async def _handled(scope: Scope, error: NoonframeError) -> Response:
    """What the app itself answers to such an error."""
    handler = scope["app"].exception_handlers[NoonframeError]
    return cast("Response", await handler(Request(scope), error))


def _address(scope: Scope) -> str:
    client = scope.get("client")
    return client[0] if client else "unknown"


def _caller(scope: Scope, principal: Principal) -> str:
    """The name under which somebody's requests are counted; never an address as it stands."""
    if principal.key_id is not None:
        return f"key:{principal.key_id}"
    return f"address:{hashlib.blake2b(_address(scope).encode(), digest_size=12).hexdigest()}"


def _without_ticket(query: bytes) -> tuple[str | None, bytes]:
    """The ticket in a query, if there is one and only one, and the query without it."""
    parts = query.split(b"&")
    tickets = [part for part in parts if part.startswith(_TICKET)]
    if len(tickets) != 1:
        return None, query
    found = parse_qsl(tickets[0].decode("latin-1"), keep_blank_values=True)
    return found[0][1], b"&".join(part for part in parts if part is not tickets[0])
