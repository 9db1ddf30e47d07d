"""What the engine says of times told as the request said it, and fingerprints of requests."""

import datetime as dt
import hashlib
import json
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from noonframe.api.times import format_time
from noonframe.errors import Malformed, OutOfDomain

_UNIX_S = re.compile(r"-?\d{6,}(?:\.\d+)?")


@contextmanager
def in_the_askers_words(zone: dt.tzinfo, names: Mapping[str, str]) -> Iterator[None]:
    """Complaints about times, raised within, as the request wrote them: its names, and an offset."""
    try:
        yield
    except (OutOfDomain, Malformed) as problem:
        if problem.field not in names:
            raise
        value = problem.value
        if isinstance(value, int | float):
            value = format_time(float(value), zone)
        limit = _UNIX_S.sub(lambda found: format_time(float(found[0]), zone), problem.limit)
        raise type(problem)(names[problem.field], value, limit) from None


def request_hash(parts: Mapping[str, Any]) -> str:
    """A fingerprint of a request's content."""
    return hashlib.sha256(plain_json_text(parts).encode()).hexdigest()


def plain_json_text(value: Mapping[str, Any]) -> str:
    """JSON that is the same for the same content."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"))
