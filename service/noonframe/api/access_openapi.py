"""What the OpenAPI document says of keys: the scheme, and the scope of each operation.

OpenAPI 3.1.1, "Security Requirement Object": for a scheme that is not OAuth the names in the list are roles.
"""

from collections.abc import Callable
from typing import Any

from noonframe.api.access import STREAMS, Scope, scope_of
from noonframe.api.door import Door

_SCHEME = {
    "type": "http",
    "scheme": "bearer",
    "bearerFormat": "nf_ID_SECRET",
    "description": "A key of this service. The role of an operation is the scope it needs: read, run or"
    " manage, of which each may do what those before it may.",
}
_TICKET = {
    "name": "ticket",
    "in": "query",
    "required": False,
    "schema": {"type": "string"},
    "description": "in place of a key, for readers that can send no headers; of POST /v1/tickets",
}


def with_security(make: Callable[[], dict[str, Any]], door: Door) -> Callable[[], dict[str, Any]]:
    """What makes the document, with keys in it; nobody needs one where nobody is asked."""

    def openapi() -> dict[str, Any]:
        schema = make()
        if "securitySchemes" in schema["components"]:
            return schema
        schema["components"]["securitySchemes"] = {"key": _SCHEME}
        for path, operations in schema["paths"].items():
            for method, operation in operations.items():
                scope = scope_of(method.upper(), path)
                unasked: list[dict[str, Any]] = [] if door.asks_for_keys else [{}]
                public = scope is Scope.NOTHING
                operation["security"] = [] if public else [{"key": [scope.word]}, *unasked]
                if path in STREAMS:
                    operation.setdefault("parameters", []).append(dict(_TICKET))
        return schema

    return openapi
