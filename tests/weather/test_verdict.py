"""What statuses and headers mean, without a socket."""

from datetime import UTC, datetime
from email.utils import formatdate

import httpx
import pytest

from noonframe.weather.errors import UpstreamError
from noonframe.weather.fetch import Reply
from noonframe.weather.verdict import check, lifetime_s

NOW_S = datetime(2026, 12, 31, 23, 59, 30, tzinfo=UTC).timestamp()


def at(seconds: float) -> str:
    return formatdate(NOW_S + seconds, usegmt=True)


@pytest.mark.parametrize(
    ("headers", "seconds"),
    [
        ({}, 900),
        ({"Expires": at(1800)}, 1800),
        ({"Expires": at(1800), "Date": at(-600)}, 2400),  # this clock is ten minutes fast
        ({"Expires": at(-5)}, 60),
        ({"Expires": "0"}, 900),  # RFC 9111 section 5.3: an invalid date tells nothing but "expired"
        ({"Cache-Control": "public, max-age=1200"}, 1200),
        ({"Cache-Control": "max-age=300", "Expires": at(1800)}, 1800),
        ({"Cache-Control": "s-maxage=5"}, 900),
        ({"Expires": at(10 * 86400)}, 86400),
    ],
)
def test_an_answer_is_held_as_long_as_it_says(headers, seconds):
    assert lifetime_s(httpx.Headers(headers), NOW_S, 900.0) == seconds


def pause_of(status: int, body: bytes = b"", **headers: str) -> float | None:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    with pytest.raises(UpstreamError) as caught:
        check(Reply(status, httpx.Headers(named), body), False, NOW_S)
    return caught.value.pause_s


def reason(text: str) -> bytes:
    return f'{{"error":true,"reason":"{text}"}}'.encode()


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("Minutely API request limit exceeded. Please try again in one minute.", 60),
        ("Hourly API request limit exceeded. Please try again in the next hour.", 30),
        ("Daily API request limit exceeded. Please try again tomorrow.", 30),
        ("Too many concurrent requests", None),
    ],
)
def test_a_throttling_text_gives_the_pause(text, seconds):
    assert pause_of(429, reason(text)) == seconds


@pytest.mark.parametrize(
    ("told", "seconds"),
    [("120", 120), (at(90), 90), (at(-90), 0), ("soon", None), ("-5", None), ("999999999", 90000)],
)
@pytest.mark.parametrize("status", [429, 503])
def test_retry_after_in_seconds_or_as_a_date(status, told, seconds):
    assert pause_of(status, retry_after=told) == seconds


def test_the_longer_of_text_and_header_counts():
    text = reason("Minutely API request limit exceeded. Please try again in one minute.")
    assert pause_of(429, text, retry_after="300") == 300
    assert pause_of(429, text, retry_after="5") == 60


def test_words_from_outside_are_short_plain_text():
    with pytest.raises(UpstreamError) as caught:
        check(Reply(400, httpx.Headers(), reason("a\\u0000b\\u001b[31m" + "x" * 500)), False, NOW_S)
    assert caught.value.reason.startswith("status 400: ab[31mx")
    assert caught.value.reason.isprintable()
    assert len(caught.value.reason) < 200


@pytest.mark.parametrize("body", [b"[]", b'{"reason":5}', b"<html>", b"\xff", b'{"reason":"\\u0007"}'])
def test_a_body_without_a_reason_leaves_the_status(body):
    with pytest.raises(UpstreamError, match=r"^status 400$"):
        check(Reply(400, httpx.Headers(), body), False, NOW_S)


@pytest.mark.parametrize(("status", "conditional"), [(200, False), (203, False), (304, True), (200, True)])
def test_usable_answers_pass(status, conditional):
    check(Reply(status, httpx.Headers(), b""), conditional, NOW_S)


@pytest.mark.parametrize("status", [201, 204, 206, 300, 304, 402, 410, 418, 499, 500, 501, 599])
def test_everything_else_fails(status):
    with pytest.raises(UpstreamError):
        check(Reply(status, httpx.Headers(), b""), False, NOW_S)
