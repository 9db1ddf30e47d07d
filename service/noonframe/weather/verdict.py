"""What an answer's status, headers and text mean: use it, keep what is stored, or leave the provider alone.

Statuses after https://docs.api.met.no/doc/StatusCodes.html; throttling texts after the rate limiter of the
Open-Meteo server, which sends no Retry-After; HTTP fields after RFC 9110 section 10.2.3 and RFC 9111
section 4.2.
"""

import json
import math
import re
from collections.abc import Mapping
from email.utils import parsedate_to_datetime

from noonframe.weather.errors import FailureKind, UpstreamError, UpstreamMalformed
from noonframe.weather.fetch import Reply

HOUR_S, DAY_S = 3600.0, 86400.0
LONGEST_PAUSE_S = DAY_S + HOUR_S
LONGEST_HOLD_S = DAY_S
SHORTEST_HOLD_S = 60.0
FORBIDDEN_PAUSE_S = HOUR_S
REFUSED_PAUSE_S = HOUR_S
NOT_COVERED_PAUSE_S = 6 * HOUR_S
_LONGEST_REASON = 160


def check(reply: Reply, asked_conditionally: bool, now_s: float) -> None:
    """Return for a usable answer (200, 203, or 304 to a conditional request), else raise `UpstreamError`."""
    status = reply.status
    if status in (200, 203) or (status == 304 and asked_conditionally):
        return
    if 200 <= status < 400:
        raise UpstreamMalformed(f"status {status} is no answer to this request")
    reason = f"status {status}{_told_reason(reply)}"
    told_pause_s = _retry_after_s(reply.headers, now_s)
    if status == 429:
        raise UpstreamError(
            FailureKind.THROTTLED, reason, pause_s=_throttle_pause_s(reply, told_pause_s, now_s)
        )
    if status in (401, 403):
        raise UpstreamError(FailureKind.FORBIDDEN, reason, pause_s=FORBIDDEN_PAUSE_S)
    if status in (404, 422):
        raise UpstreamError(FailureKind.NOT_COVERED, reason, pause_s=NOT_COVERED_PAUSE_S, place_only=True)
    if status >= 500 or status == 499:
        retry = status in (502, 503, 504) and told_pause_s is None
        raise UpstreamError(FailureKind.UNAVAILABLE, reason, pause_s=told_pause_s, worth_retrying=retry)
    raise UpstreamError(FailureKind.REFUSED, reason, pause_s=REFUSED_PAUSE_S, place_only=True)


def lifetime_s(headers: Mapping[str, str], now_s: float, default_s: float) -> float:
    """How long an answer is to be kept: until the later of `Expires` and `max-age`, at least a minute.

    `Expires` is measured from the answer's own `Date`, so that a wrong clock on either side does no harm.
    """
    told = [s for s in (_max_age_s(headers), _expires_s(headers, now_s)) if s is not None]
    return min(max([*told, SHORTEST_HOLD_S]) if told else default_s, LONGEST_HOLD_S)


def _max_age_s(headers: Mapping[str, str]) -> float | None:
    found = re.search(r"(?:^|[\s,])max-age=(\d{1,9})(?:$|[\s,;])", headers.get("cache-control", ""))
    return float(found[1]) if found else None


def _expires_s(headers: Mapping[str, str], now_s: float) -> float | None:
    expires_s = _http_date_s(headers.get("expires", ""))
    if expires_s is None:
        return None
    date_s = _http_date_s(headers.get("date", ""))
    return expires_s - (now_s if date_s is None else date_s)


def _http_date_s(text: str) -> float | None:
    try:
        found = parsedate_to_datetime(text)
    except (ValueError, OverflowError):
        return None
    return found.timestamp() if found.tzinfo else None


def _retry_after_s(headers: Mapping[str, str], now_s: float) -> float | None:
    text = headers.get("retry-after", "").strip()
    if re.fullmatch(r"\d{1,9}", text):
        return min(float(text), LONGEST_PAUSE_S)
    at_s = _http_date_s(text)
    if at_s is None:
        return None
    date_s = _http_date_s(headers.get("date", ""))
    return min(max(at_s - (now_s if date_s is None else date_s), 0.0), LONGEST_PAUSE_S)


def _throttle_pause_s(reply: Reply, told_pause_s: float | None, now_s: float) -> float | None:
    text = _told_reason(reply).lower()
    if "minute" in text:
        named: float | None = 60.0
    elif "hour" in text:
        named = (math.floor(now_s / HOUR_S) + 1) * HOUR_S - now_s
    elif "daily" in text or "tomorrow" in text:
        named = (math.floor(now_s / DAY_S) + 1) * DAY_S - now_s  # its days are counted in UTC
    else:
        named = None
    told = [s for s in (named, told_pause_s) if s is not None]
    return max(told) if told else None


def _told_reason(reply: Reply) -> str:
    """The provider's own words, from a JSON body only; they come from outside, so only plain text passes."""
    try:
        body = json.loads(reply.body)
    except (ValueError, RecursionError):
        return ""
    reason = body.get("reason") if isinstance(body, dict) else None
    if not isinstance(reason, str):
        return ""
    plain = "".join(c for c in reason if c.isprintable())[:_LONGEST_REASON].strip()
    return f": {plain}" if plain else ""
