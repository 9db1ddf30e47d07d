"""What kind of file a picture is, by its first bytes alone, and the limits on it."""

from dataclasses import dataclass
from typing import Literal

from noonframe.errors import Malformed, OutOfDomain

Kind = Literal["JPEG", "PNG", "TIFF", "WebP"]

MOST_BYTES = 64 * 1024 * 1024
MOST_PIXELS = 64_000_000
"""Read from the header before anything is unpacked, so that a small file cannot ask for much memory."""

MOST_SIDE_PX = 65_535
KINDS = "a JPEG, PNG, TIFF or WebP picture"

_OTHERS = (
    (b"%PDF", "a PDF document"),
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"\x00\x00\x00\x0cjP", "a JPEG 2000 picture"),
    (b"8BPS", "a layered picture of an editor"),
    (b"PK\x03\x04", "a zip archive"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"%!PS", "a PostScript document"),
)
_TEXTS = (
    ((b"<svg",), "an SVG drawing"),
    ((b"<html", b"<!doctype html"), "a web page"),
    ((b"<?xml",), "an XML document"),
)


@dataclass(frozen=True)
class Source:
    """The bytes of a picture's file and what the file is called in errors; the bytes are only ever read."""

    data: bytes
    called: str = "picture"


def kind_of(source: Source) -> Kind:
    """The kind of picture in a file; refuses everything else, and a file that is too long."""
    data = source.data
    if len(data) > MOST_BYTES:
        raise OutOfDomain(source.called, len(data), f"at most {MOST_BYTES} bytes long")
    head = data[:16]
    if head.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if head[:4] in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"):
        return "TIFF"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "WebP"
    raise Malformed(source.called, None, f"{_guess(data)}; it must be {KINDS}")


def check_size(source: Source, width_px: int, height_px: int) -> None:
    """Refuse a picture by what its header says of its size."""
    if width_px < 1 or height_px < 1:
        raise OutOfDomain(source.called, f"{width_px} x {height_px} pixels", "at least one pixel large")
    if width_px * height_px > MOST_PIXELS or max(width_px, height_px) > MOST_SIDE_PX:
        limit = f"at most {MOST_PIXELS // 10**6} million pixels and {MOST_SIDE_PX} to a side; make it smaller"
        raise OutOfDomain(source.called, f"{width_px} x {height_px} pixels", limit)


def _guess(data: bytes) -> str:
    if not data:
        return "the file is empty"
    for opening, name in _OTHERS:
        if data.startswith(opening):
            return f"this is {name}"
    if data[4:12] in (b"ftypheic", b"ftypheix", b"ftypmif1", b"ftypavif"):
        return "this is a HEIF or AVIF picture"
    start = data[:1024].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    for words, name in _TEXTS:
        if any(word in start for word in words):
            return f"this is {name}"
    if all(byte >= 32 or byte in (9, 10, 13) for byte in start):
        return "this is text"
    return "this is no picture of a kind that is known here"
