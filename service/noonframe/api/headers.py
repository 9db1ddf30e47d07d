"""Headers that every answer carries."""

from collections.abc import Iterable

SAFE_HEADERS: dict[str, str] = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",  # a request's address holds a position
    "Cache-Control": "no-store",
    # an answer that is opened by itself runs nothing and loads nothing; drawings have their styles inside
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none';"
        " frame-ancestors 'none'"
    ),
    "Cross-Origin-Resource-Policy": "same-origin",
}
_RAW = tuple((name.lower().encode(), value.encode()) for name, value in SAFE_HEADERS.items())
_NAMES = frozenset(name for name, _ in _RAW)
Headers = list[tuple[bytes, bytes]]


def with_safe_headers(own: Iterable[tuple[bytes, bytes]]) -> Headers:
    """The headers of an answer, with `SAFE_HEADERS` wherever it has not set its own."""
    headers = list(own)
    present = {name for name, _ in headers}
    if present.isdisjoint(_NAMES):  # as most answers are
        headers.extend(_RAW)
    else:
        headers.extend(pair for pair in _RAW if pair[0] not in present)
    return headers
