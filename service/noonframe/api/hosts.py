"""By which names this service may be reached.

A page of somebody else's can have its own name lead to this machine (DNS rebinding) and then speak to a
service on it as if it were its own.  So a name must be known.  Numbers are no names, and a name without a dot
is none that a stranger could own.
"""

import ipaddress
import socket
from collections.abc import Callable

from fastapi import Request

from noonframe.api.access_errors import strange_host
from noonframe.api.say_address import own_address
from noonframe.settings import Settings

_MOST_KNOWN = 1024


class Hosts:
    """Remembers which Host headers are good."""

    def __init__(self, settings: Settings, own_name: Callable[[], str] = socket.gethostname) -> None:
        self._any = "*" in settings.hosts
        self._told = frozenset(settings.hosts) - {"*"}
        own = own_name().lower()
        self._names = frozenset({*self._told, settings.host.lower(), own, f"{own}.local"})
        self.good: set[bytes] = set()
        """Headers that were found good."""

    def check(self, request: Request, header: bytes) -> None:
        """Raise `Refusal` for a name that is not this service's, `Malformed` for a header that is no name."""
        own_address(request)
        host = header.decode("latin-1").strip().lower()
        name = host if host.startswith("[") else host.partition(":")[0]
        if not (self._any or self._is_ours(name)):
            raise strange_host(host)
        if len(self.good) < _MOST_KNOWN:
            self.good.add(header)

    def is_own_site(self, origin: bytes, host: bytes | None) -> bool:
        """Whether a page with this Origin is this service's own."""
        site = origin.decode("latin-1").strip().lower().partition("://")[2]
        if host is not None and site == host.decode("latin-1").strip().lower():
            return True
        return site in self._told  # a proxy may hand on another Host than the one its readers see

    def _is_ours(self, name: str) -> bool:
        if name.startswith("[") or "." not in name.rstrip("."):
            return True
        try:
            ipaddress.ip_address(name)
        except ValueError:
            return name.rstrip(".") in self._names or name.rstrip(".").endswith(".localhost")
        return True
