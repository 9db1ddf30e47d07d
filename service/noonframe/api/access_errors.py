"""Why somebody is turned away before a route runs, each as what a problem document says."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from noonframe.api.access import Rule, Scope

QUOTA = "https://iana.org/assignments/http-problem-types#quota-exceeded"
"""Registered by draft-ietf-httpapi-ratelimit-headers-11."""
_REALM = 'Bearer realm="noonframe"'


@dataclass(frozen=True)
class Refusal(Exception):
    """Turned away with `status`; the rest is for the problem document."""

    status: int
    kind: str
    title: str
    detail: str
    errors: Sequence[Mapping[str, Any]] = ()
    headers: Mapping[str, str] = field(default_factory=dict)
    more: Mapping[str, Any] = field(default_factory=dict)


def key_needed() -> Refusal:
    """No key was sent where one is asked for."""
    return Refusal(
        401,
        "key-needed",
        "A key is asked for",
        "Send a key as Authorization: Bearer nf_...; whoever looks after this service makes them"
        " (noonframe keys add)",
        headers={"WWW-Authenticate": _REALM},
    )


def key_refused(why: str) -> Refusal:
    """A key that opens nothing (RFC 6750, section 3.1)."""
    return Refusal(
        401,
        "key-refused",
        "This key opens nothing",
        why,
        headers={"WWW-Authenticate": f'{_REALM}, error="invalid_token"'},
    )


def scope_too_small(has: Scope, rule: Rule) -> Refusal:
    """A good key that may not do this."""
    limit = rule.scope.or_more
    return Refusal(
        403,
        "scope",
        "This key may not do that",
        f"the scope of the key is {has.word}; this needs {limit}",
        [{"field": "scope", "value": has.word, "limit": limit}],
        {"WWW-Authenticate": f'{_REALM}, error="insufficient_scope", scope="{rule.scope.word}"'},
    )


def not_the_house(what: str) -> Refusal:
    """Something that only whoever looks after the installation may do."""
    return Refusal(
        403,
        "scope",
        "This key may not do that",
        f"{what} needs a key of the house with the scope manage, or the command line on the machine itself",
        [{"field": "studio", "value": None, "limit": "house"}],
    )


def cross_site(origin: str) -> Refusal:
    """A page of somebody else's asks for a change in a reader's name."""
    return Refusal(
        403,
        "cross-site",
        "Another site may not change anything here",
        "The request came from a page of another site; only this service's own page may change things",
        [{"field": "Origin", "value": origin[:80], "limit": "that of this service"}],
    )


def strange_host(host: str) -> Refusal:
    """Reached by a name that is not this service's (RFC 9110, 15.5.20); so a rebound name leads nowhere."""
    return Refusal(
        421,
        "host",
        "This service is not known by that name",
        "Reach it by a name it knows, or by its number; NOONFRAME_HOSTS tells it more names",
        [{"field": "Host", "value": host[:80], "limit": "a name of this service (NOONFRAME_HOSTS)"}],
    )


def quota_exceeded(policy: str, wait_s: int, detail: str, headers: Mapping[str, str]) -> Refusal:
    """Too many requests (RFC 6585); `policy` names which limit."""
    return Refusal(
        429,
        QUOTA,
        "Too many requests",
        detail,
        headers={"Retry-After": str(wait_s), **headers},
        more={"violated-policies": [policy]},
    )
