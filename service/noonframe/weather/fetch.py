"""One GET to a provider: bounded in time and size, over https or on this machine, redirects looked at."""

import logging
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import httpx

from noonframe.settings import is_loopback
from noonframe.weather.errors import FailureKind, UpstreamError, UpstreamMalformed
from noonframe.weather.provider import ProviderRequest

MOST_REDIRECTS = 3
MOST_BODY_BYTES = 8_000_000  # an ensemble of fifty members is about a tenth of this
_LOOPBACK = ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True)
class Reply:
    """A provider's whole answer; `body` without transfer and content coding."""

    status: int
    headers: httpx.Headers
    body: bytes = field(repr=False)


def make_client() -> httpx.Client:
    """A client for `fetch`; this machine itself is never reached through a proxy.

    At level INFO these libraries log whole addresses, with place and key: they are kept to warnings.
    """
    for name in ("httpx", "httpcore"):
        logging.getLogger(name).setLevel(logging.WARNING)
    direct: Mapping[str, httpx.BaseTransport | None] = {f"all://{host}": None for host in _LOOPBACK}
    return httpx.Client(follow_redirects=False, mounts=direct, limits=httpx.Limits(max_connections=8))


def fetch(
    client: httpx.Client,
    question: ProviderRequest,
    conditions: Mapping[str, str],
    time_left_s: Callable[[], float],
) -> Reply:
    """The answer to `question`, whatever its status; raises `UpstreamError` when none comes whole.

    `conditions` are the headers of a conditional request; `time_left_s` counts down to the end of patience.
    """
    headers = {"Accept": "application/json", "Accept-Encoding": "gzip", **question.headers, **conditions}
    try:
        request = client.build_request(
            "GET", question.url, params={**question.query, **question.secret}, headers=headers
        )
        for _ in range(MOST_REDIRECTS + 1):
            reply, onward = _once(client, request, time_left_s)
            if onward is None:
                return reply
            _check_redirect(request.url, onward.url)
            request = onward
    except (httpx.TimeoutException, TimeoutError):
        raise UpstreamError(FailureKind.TIMED_OUT, "no answer in time") from None
    except (httpx.HTTPError, httpx.InvalidURL) as problem:
        raise UpstreamError(
            FailureKind.UNREACHABLE,
            f"no connection ({type(problem).__name__})",
            worth_retrying=isinstance(problem, httpx.NetworkError | httpx.RemoteProtocolError),
        ) from None
    raise UpstreamError(FailureKind.UNREACHABLE, f"more than {MOST_REDIRECTS} redirects")


def _once(
    client: httpx.Client, request: httpx.Request, time_left_s: Callable[[], float]
) -> tuple[Reply, httpx.Request | None]:
    request.extensions = {**request.extensions, "timeout": httpx.Timeout(_patience(time_left_s)).as_dict()}
    response = client.send(request, stream=True)
    try:
        if response.next_request is not None:
            return Reply(response.status_code, response.headers, b""), response.next_request
        body = bytearray()
        for piece in response.iter_bytes():
            body += piece
            if len(body) > MOST_BODY_BYTES:
                raise UpstreamMalformed(f"the answer is longer than {MOST_BODY_BYTES} bytes")
            _patience(time_left_s)  # each read has its own timeout; a trickle would outlast them all
    except httpx.DecodingError:
        raise UpstreamMalformed("the answer's compression is damaged") from None
    except httpx.TimeoutException:
        raise
    except httpx.TransportError:
        raise UpstreamMalformed("the answer is cut off") from None
    finally:
        response.close()
    return Reply(response.status_code, response.headers, bytes(body)), None


def _patience(time_left_s: Callable[[], float]) -> float:
    left_s = time_left_s()
    if left_s <= 0.0:
        raise TimeoutError
    return left_s


def _check_redirect(source: httpx.URL, target: httpx.URL) -> None:
    both_here = is_loopback(source.host) and is_loopback(target.host)
    if target.scheme != "https" and not (target.scheme == source.scheme and both_here):
        raise UpstreamError(FailureKind.UNREACHABLE, "redirected to an address without https")


def countdown(seconds: float, clock: Callable[[], float] = time.monotonic) -> Callable[[], float]:
    """Seconds left out of `seconds`, from now on."""
    end = clock() + seconds
    return lambda: end - clock()
