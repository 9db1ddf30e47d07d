"""Whatever is sent as a picture is taken, or refused with a reason, before it can cost much."""

import io
import struct
import tracemalloc
import zlib

import numpy as np
import pytest
from PIL import Image

from noonframe.errors import Malformed, OutOfDomain
from noonframe.negative import kinds
from noonframe.negative.deadline import Deadline, TookTooLong
from noonframe.negative.kinds import Source
from noonframe.negative.mixes import find_mix
from noonframe.negative.opened import open_picture
from noonframe.negative.picture import linear_grey, look

LUMINANCE = find_mix("luminance")


def chunk(kind, body):
    return struct.pack(">I4s", len(body), kind) + body + struct.pack(">I", zlib.crc32(kind + body))


def png_of(width, height, rows=b""):
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    packed = zlib.compress(rows or b"\0" * 1000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")


def tiff_of(width, height, *, next_at=0):
    """A TIFF of one grey strip whose header claims this size; `next_at` chains to another directory."""
    entries = [
        (256, 4, 1, width),
        (257, 4, 1, height),
        (258, 3, 1, 8),
        (259, 3, 1, 1),
        (262, 3, 1, 1),
        (273, 4, 1, 200),
        (277, 3, 1, 1),
        (278, 4, 1, height),
        (279, 4, 1, 100),
    ]
    body = struct.pack("<H", len(entries)) + b"".join(struct.pack("<HHII", *entry) for entry in entries)
    head = b"II*\x00" + struct.pack("<I", 8) + body + struct.pack("<I", next_at)
    return head.ljust(200, b"\0") + b"\x80" * 100


@pytest.mark.parametrize(
    ("data", "named"),
    [
        (b"", "empty"),
        (b"The tide turns at noon.", "text"),
        ("tides".encode("utf-16"), "no picture"),
        (b"%PDF-1.7\n1 0 obj", "PDF"),
        (b"GIF89a" + b"\0" * 40, "GIF"),
        (b'<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg"/>', "SVG"),
        (b"<svg/>", "SVG"),
        (b"<!doctype html><p>", "web page"),
        (b"BM" + b"\0" * 60, "BMP"),
        (b"PK\x03\x04" + b"\0" * 40, "zip"),
        (b"\0\0\0\x20ftypheic" + b"\0" * 20, "HEIF"),
        (b"8BPS\0\1", "layered"),
        (b"\x7fELF" + b"\0" * 40, "no picture"),
        (b"RIFF\x10\0\0\0WAVEfmt ", "no picture"),
    ],
)
def test_what_is_no_picture_is_named_for_what_it_is(data, named):
    with pytest.raises(Malformed, match=named):
        open_picture(Source(data))


@pytest.mark.parametrize(
    "head",
    [
        b"\xff\xd8\xff",
        b"\xff\xd8\xff\xe0\0\x10JFIF",
        b"\x89PNG\r\n\x1a\n",
        b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0",
        b"II*\x00",
        b"MM\x00*\xff\xff\xff\xff",
        b"RIFF\x08\0\0\0WEBP",
        b"RIFF\xff\xff\xff\xffWEBPVP8 \0\0",
    ],
)
def test_a_magic_number_with_nothing_behind_it_is_refused(head):
    with pytest.raises(Malformed, match="damaged"):
        look(Source(head))


@pytest.mark.parametrize(
    "data", [png_of(50_000, 50_000), png_of(2**31 - 1, 2**31 - 1), tiff_of(60_000, 60_000)]
)
def test_a_bomb_is_refused_by_its_header_without_unpacking(data):
    tracemalloc.start()
    try:
        with pytest.raises((OutOfDomain, Malformed)):
            look(Source(data))
        assert tracemalloc.get_traced_memory()[1] < 5_000_000
    finally:
        tracemalloc.stop()


def test_a_hundred_megapixels_are_refused_and_the_limit_is_told():
    with pytest.raises(OutOfDomain, match="at most 64 million pixels") as refused:
        open_picture(Source(png_of(10_000, 10_000)))
    assert refused.value.value == "10000 x 10000 pixels"


def test_twenty_four_and_sixty_four_megapixels_are_not_too_many():
    for width, height in ((6000, 4000), (8000, 8000)):
        assert open_picture(Source(png_of(width, height))).look.width_px == width
    with pytest.raises(OutOfDomain):
        open_picture(Source(png_of(8001, 8000)))


def test_a_picture_longer_to_a_side_than_any_is_refused():
    with pytest.raises(OutOfDomain, match="65535 to a side"):
        open_picture(Source(png_of(70_000, 10)))


def test_a_file_that_is_too_long_is_refused_before_it_is_looked_at(monkeypatch):
    monkeypatch.setattr(kinds, "MOST_BYTES", 100)
    with pytest.raises(OutOfDomain, match="at most 100 bytes"):
        open_picture(Source(b"\xff\xd8\xff" + b"\0" * 98))


@pytest.mark.parametrize("data", [png_of(4000, 4000), tiff_of(4000, 4000)])
def test_pixels_that_the_header_promises_and_the_file_lacks_are_missed(data):
    with pytest.raises(Malformed, match="cut short"):
        linear_grey(Source(data), LUMINANCE, Deadline.within())


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
@pytest.mark.parametrize("share", [0.02, 0.3, 0.7, 0.97])
def test_a_file_cut_short_is_refused(made, colours, kind, share):
    how = {"TIFF": {"compression": "tiff_lzw"}}.get(kind, {})
    data = made(colours(300, 200), kind, **how)
    with pytest.raises(Malformed):
        linear_grey(Source(data[: int(len(data) * share)]), LUMINANCE, Deadline.within())


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_bytes_that_were_changed_are_survived(made, colours, kind):
    rng = np.random.default_rng(3)
    data = made(colours(80, 60), kind)
    for _ in range(60):
        broken = bytearray(data)
        for at in rng.integers(4, len(data), 6):
            broken[at] = rng.integers(0, 256)
        try:
            grey = linear_grey(Source(bytes(broken)), LUMINANCE, Deadline.within())
        except (Malformed, OutOfDomain):
            continue
        assert grey.min() >= 0.0
        assert grey.max() <= 1.0


def test_a_chain_of_directories_that_bites_its_tail_ends():
    seen = open_picture(Source(tiff_of(10, 10, next_at=8))).look
    assert (seen.width_px, seen.height_px) == (10, 10)


def test_directories_without_end_are_not_counted(made):
    many = b"".join(struct.pack("<HI", 0, 400 + 6 * (index + 1)) for index in range(200_000))
    data = tiff_of(10, 10, next_at=400).ljust(400, b"\0") + many
    assert "the first picture of several in the file is taken" in open_picture(Source(data)).look.conversions


@pytest.mark.parametrize("mode", ["F", "I"])
def test_numbers_without_a_scale_are_refused(made, mode):
    data = made(Image.new(mode, (4, 4), 1), "TIFF")
    with pytest.raises(OutOfDomain, match="1, 8 or 16 bits"):
        open_picture(Source(data))


def test_a_text_that_would_swell_is_no_danger():
    swelling = chunk(b"zTXt", b"note\0\0" + zlib.compress(b"a" * 80_000_000, 9))
    data = png_of(10, 10, b"\0" * 31 * 10)
    with pytest.raises(Malformed):
        look(Source(data[:33] + swelling + data[33:]))


def test_a_colour_profile_that_would_swell_is_no_danger():
    swelling = chunk(b"iCCP", b"p\0\0" + zlib.compress(b"a" * 80_000_000, 9))
    data = png_of(10, 10, b"\0" * 31 * 10)
    try:
        seen = look(Source(data[:33] + swelling + data[33:]))
    except Malformed:
        return
    assert seen.profile is None


def test_work_that_takes_too_long_is_given_up(made, colours):
    with pytest.raises(TookTooLong, match="within 60 s"):
        linear_grey(Source(made(colours())), LUMINANCE, Deadline(0.0, 60.0))


def test_the_bytes_of_a_file_are_only_read(made, colours):
    data = made(colours(), "TIFF")
    before = bytes(bytearray(data))
    linear_grey(Source(data), LUMINANCE, Deadline.within())
    assert data == before


def test_an_animation_gives_its_first_picture(made):
    frames = [Image.new("RGB", (8, 8), (value, 0, 0)) for value in (200, 10)]
    for kind in ("WEBP", "PNG", "TIFF"):
        out = io.BytesIO()
        frames[0].save(
            out,
            kind,
            save_all=True,
            append_images=frames[1:],
            **({"lossless": True} if kind == "WEBP" else {}),
        )
        source = Source(out.getvalue())
        assert any("first picture" in said for said in open_picture(source).look.conversions), kind
        red = linear_grey(source, find_mix("red"), Deadline.within())
        assert red.mean() == pytest.approx(((200 / 255 + 0.055) / 1.055) ** 2.4, abs=0.01)
