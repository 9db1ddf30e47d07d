"""The address that a request came by, validated, to be handed on; and what it is good for."""

import ipaddress
import re
from dataclasses import dataclass

from fastapi import Request

from noonframe.errors import Malformed
from noonframe.settings import is_loopback

_LONGEST = 300
_LABEL = r"[A-Za-z0-9_](?:[A-Za-z0-9_-]{0,61}[A-Za-z0-9_])?"
_NAME = re.compile(rf"{_LABEL}(?:\.{_LABEL})*\.?", re.ASCII)
_HOST = re.compile(r"(?P<host>\[[0-9A-Fa-f:.]+\]|[^\[\]:@/?#\\\s]+)(?::(?P<port>\d{1,5}))?", re.ASCII)
_SHAPE = "a host name or an IP address, with a port or without"


@dataclass(frozen=True)
class OwnAddress:
    """Where the service was reached: `base` has no path; `loopback` is its own machine alone."""

    base: str
    loopback: bool

    @property
    def summary(self) -> str:
        """What the address is good for, in one sentence."""
        if self.loopback:
            return (
                f"{self.base} leads to this machine only, so a phone cannot open it: serve on an address of"
                " your network (noonframe serve --host), and ask for this by that address."
            )
        if self.base.startswith("http:"):
            return (
                f"{self.base} is for phones on the same network; it is not encrypted, so a phone gives such"
                " pages neither its position nor an alarm."
            )
        return f"{self.base} is for any phone that can reach this service."

    def webcal(self, path: str) -> str:
        """The address of a calendar in the form that calendars subscribe to."""
        return f"webcal://{self.base.partition('://')[2]}{path}"


def own_address(request: Request) -> OwnAddress:
    """The address by its Host header; raises `Malformed` for one that is none.

    The header is whatever the sender says: it is given back to that sender alone.
    """
    header = request.headers.get("host", "").strip()
    found = _HOST.fullmatch(header) if len(header) <= _LONGEST else None
    if found is None or not _is_host(found["host"]) or not 0 < int(found["port"] or 80) < 65536:
        raise Malformed("Host", header[:60], f"must be {_SHAPE}")
    scheme = "https" if request.url.scheme == "https" else "http"
    return OwnAddress(f"{scheme}://{header.lower()}", is_loopback(found["host"]))


def _is_host(host: str) -> bool:
    if host.startswith("["):
        try:
            return ipaddress.ip_address(host[1:-1]).version == 6
        except ValueError:
            return False
    return len(host) <= 253 and _NAME.fullmatch(host) is not None
