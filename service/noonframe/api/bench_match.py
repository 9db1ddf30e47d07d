"""Changes that name the version they were made from: ETag and If-Match (RFC 9110, 13.1.1; RFC 6585, 3)."""

import re
from typing import Any

from fastapi import Request, Response

from noonframe.errors import Malformed, NoonframeError

_TAG = re.compile(r'(W/)?"([^"]*)"|(\d{1,12})', re.ASCII)
_SHAPE = 'the ETag that came with what you changed, such as "3"'


class MatchMissing(NoonframeError):
    """A change that does not say which version it was made from."""

    def __init__(self) -> None:
        super().__init__("If-Match is missing", field="If-Match", limit=f"given: {_SHAPE}")


class Stale(NoonframeError):
    """Somebody else changed it since; `current` is the version there is now."""

    def __init__(self, given: str, current: int) -> None:
        limit = f'the version there is now, "{current}": get it again and repeat your change'
        super().__init__("somebody else changed it", field="If-Match", value=given, limit=limit)
        self.current = current


class Matching:
    """The versions an If-Match header names."""

    def __init__(self, header: str) -> None:
        self._header = header
        self._versions: set[str] = set()
        rest = header.strip()
        while rest:
            tag = _TAG.match(rest)
            if tag is None:
                raise Malformed("If-Match", header[:60], _SHAPE)
            if tag[1] is None:  # a weak tag matches nothing here
                self._versions.add(tag[3] or tag[2])
            rest = rest[tag.end() :].lstrip()
            if rest:
                if not rest.startswith(","):
                    raise Malformed("If-Match", header[:60], _SHAPE)
                rest = rest[1:].lstrip()

    def check(self, version: int) -> None:
        """Raise `Stale` unless `version` is among them."""
        if str(version) not in self._versions:
            raise Stale(self._header[:60], version)


def match_of(request: Request) -> Matching:
    """What a change must match; raises `MatchMissing` where the request does not say."""
    header = request.headers.get("if-match")
    if header is None or not header.strip():
        raise MatchMissing()
    return Matching(header)


def tagged(response: Response, version: int) -> Response:
    """A response that carries the version of what it shows."""
    response.headers["ETag"] = f'"{version}"'
    return response


CHANGE: dict[str, Any] = {
    "parameters": [
        {
            "name": "If-Match",
            "in": "header",
            "required": True,
            "schema": {"type": "string"},
            "description": "ETag of the version that the change was made from",
            "example": '"1"',
        }
    ]
}
"""`openapi_extra` of a route that changes something saved."""
