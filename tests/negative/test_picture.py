"""A picture becomes grey in linear light, whatever its channels, orientation and profile, and says how."""

import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps

from noonframe.errors import OutOfDomain, UnknownName
from noonframe.negative.code import decode, encode
from noonframe.negative.deadline import Deadline
from noonframe.negative.icc import read_profile
from noonframe.negative.kinds import Source
from noonframe.negative.mixes import GreyMix, find_mix, named_mixes
from noonframe.negative.opened import open_picture
from noonframe.negative.picture import linear_grey

LUMINANCE = find_mix("luminance")
STEP = 1.0 / 255.0
"""One code value of 8 bits: what a way through 8 bits may round."""


def grey_of(data, mix=LUMINANCE):
    return linear_grey(Source(data), mix, Deadline.within()).astype(np.float64)


def conversions(data):
    return " | ".join(open_picture(Source(data)).look.conversions)


def one_colour(*values, mode="RGB"):
    return Image.new(mode, (3, 2), values if len(values) > 1 else values[0])


@pytest.mark.reference
@pytest.mark.parametrize(
    ("encoded", "linear"),
    [(0.0, 0.0), (0.04045, 0.0031308), (0.5, 0.21404), (188 / 255, 0.50289), (1.0, 1.0)],
)
def test_the_curve_is_that_of_srgb(encoded, linear):
    """IEC 61966-2-1: breakpoint 0.04045 / 0.0031308; 0.5 and 188/255 by its formula, worked by hand."""
    assert float(decode(np.array(encoded))) == pytest.approx(linear, abs=1e-5)
    assert float(encode(np.array(linear))) == pytest.approx(encoded, abs=1e-5)


@pytest.mark.reference
@pytest.mark.parametrize(
    ("name", "weights"),
    [
        ("luma-709", (0.2126, 0.7152, 0.0722)),  # ITU-R BT.709-6, item 3.2 (from memory)
        ("luma-601", (0.299, 0.587, 0.114)),  # ITU-R BT.601-7, section 2.5.1 (from memory)
        ("luminance", (0.2126, 0.7152, 0.0722)),  # IEC 61966-2-1, Y of linear sRGB (from memory)
    ],
)
def test_weights_are_those_of_the_standards(made, name, weights):
    assert find_mix(name).weights == weights
    for channel, weight in enumerate(weights):
        values = [0, 0, 0]
        values[channel] = 255
        pure = float(grey_of(made(one_colour(*values)), find_mix(name)).mean())
        expected = weight if find_mix(name).light == "linear" else float(decode(np.array(weight)))
        assert pure == pytest.approx(expected, abs=1e-6)


@pytest.mark.reference
def test_luma_601_is_the_grey_of_a_general_purpose_library(made, colours):
    """Pillow's conversion to grey is documented as BT.601 luma: equal to its rounding."""
    picture = colours(200, 150)
    ours = encode(grey_of(made(picture), find_mix("luma-601")))
    theirs = np.asarray(picture.convert("L")) / 255.0
    assert np.abs(ours - theirs).max() <= 0.51 * STEP + 1e-4


@pytest.mark.reference
def test_luminance_is_the_y_of_a_colour_engine(made):
    """LittleCMS: Y of sRGB patches relative to white, by way of L* (CIE 1976), which it gives in 8 bits."""
    lab = ImageCms.buildTransform(ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB"), "RGB", "LAB")
    for values in ((200, 40, 90), (10, 180, 60), (30, 60, 220), (128, 128, 128)):
        patch = one_colour(*values)
        lightness = np.asarray(ImageCms.applyTransform(patch, lab))[0, 0, 0] / 2.55
        theirs = ((lightness + 16.0) / 116.0) ** 3 if lightness > 8.0 else lightness / 903.3
        ours = float(grey_of(made(patch)).mean())
        # the engine's profile is adapted to D50, which moves a saturated colour's Y by up to 0.02
        assert ours == pytest.approx(theirs, abs=0.02)


def test_a_filter_lightens_its_own_colour_and_darkens_the_others(made):
    red, blue = (made(one_colour(*values)) for values in ((200, 30, 30), (30, 30, 200)))
    assert grey_of(red, find_mix("red")).mean() > 5 * grey_of(red, find_mix("green")).mean()
    assert grey_of(blue, find_mix("yellow")).mean() < 0.1 * grey_of(blue, find_mix("blue")).mean()


def test_every_mix_leaves_white_and_grey_as_they_are(made):
    for name, mix in named_mixes().items():
        for value in (0, 77, 255):
            seen = encode(grey_of(made(one_colour(value, value, value)), mix)).mean()
            assert seen == pytest.approx(value / 255.0, abs=1e-4), name


def test_mixes_that_cannot_be_are_refused():
    with pytest.raises(UnknownName, match="sepia"):
        find_mix("sepia")
    with pytest.raises(OutOfDomain, match="sum to 1"):
        GreyMix(0.5, 0.5, 0.5)
    with pytest.raises(OutOfDomain, match=r"grey\.red"):
        GreyMix(float("nan"), 0.5, 0.5)
    with pytest.raises(OutOfDomain, match=r"grey\.blue"):
        GreyMix(0.0, 0.0, float("inf"))


@pytest.mark.reference
@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_exif_orientation_turns_a_picture_as_pillow_does(made, colours, kind, orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    how = (
        {"lossless": True} if kind == "WEBP" else {"quality": 100, "subsampling": 0} if kind == "JPEG" else {}
    )
    data = made(colours(48, 32), kind, exif=exif, **how)
    theirs = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB")) / 255.0
    ours = grey_of(data)
    seen = open_picture(Source(data)).look
    assert ours.shape == theirs.shape[:2] == (seen.height_px, seen.width_px)
    assert np.abs(ours - decode(theirs) @ np.array(LUMINANCE.weights)).max() < 1e-5
    assert ("EXIF orientation" in conversions(data)) is (orientation != 1)


def test_exif_after_the_pixels_of_a_png_is_found(made, colours):
    data = made(colours(20, 10))
    exif = Image.Exif()
    exif[0x0112] = 6
    body = exif.tobytes()[6:]
    late = struct.pack(">I4s", len(body), b"eXIf") + body + struct.pack(">I", zlib.crc32(b"eXIf" + body))
    moved = data[:-12] + late + data[-12:]
    assert grey_of(moved).shape == (20, 10)
    assert open_picture(Source(moved)).look.width_px == 10


@pytest.mark.parametrize("value", [0, 9, 77])
def test_an_orientation_that_is_none_is_told_and_left(made, colours, value):
    exif = Image.Exif()
    exif[0x0112] = value
    data = made(colours(20, 10), exif=exif)
    assert grey_of(data).shape == (10, 20)
    assert "none of 1 to 8" in conversions(data)


def test_damaged_exif_is_told_and_left(made, colours):
    data = made(colours(20, 10), "WEBP", exif=b"Exif\0\0II*\0\xff\xff\xff\xff" + b"\1" * 7)
    assert grey_of(data).shape == (10, 20)


@pytest.mark.parametrize(
    ("picture", "kind", "lightness", "said"),
    [
        (one_colour(100, 100, 100), "PNG", 100, "taken as sRGB"),
        (one_colour(100, mode="L"), "PNG", 100, "encoded like sRGB"),
        (one_colour(1, mode="1"), "PNG", 255, "black and white only"),
        (one_colour(100, 128, mode="LA"), "PNG", 177, "laid on white"),
        (one_colour(100, 100, 100, 128, mode="RGBA"), "PNG", 177, "laid on white"),
        (one_colour(0, 0, 0, 0, mode="RGBA"), "WEBP", 255, "laid on white"),
        (one_colour(0, 0, 0, 155, mode="CMYK"), "JPEG", 100, "without a profile are taken as ideal"),
        (one_colour(0, 0, 0, 155, mode="CMYK"), "TIFF", 100, "without a profile are taken as ideal"),
        (one_colour(100, 128, 128, mode="YCbCr"), "TIFF", 100, "brightness and colour difference|sRGB"),
        (one_colour(110, 128, 128, mode="LAB"), "TIFF", None, ""),
    ],
)
def test_channels_of_any_kind_are_taken_and_the_conversion_is_told(made, picture, kind, lightness, said):
    import re

    data = made(picture, kind)
    seen = encode(grey_of(data)).mean() * 255.0
    if lightness is None:  # L* 43.1 is Y 0.1326 (CIE 1976, by its formula)
        assert decode(np.array(seen / 255.0)) == pytest.approx(0.1326, abs=0.005)
    else:
        assert seen == pytest.approx(lightness, abs=1.5)
    assert re.search(said, conversions(data))


def test_a_palette_with_a_see_through_colour_is_laid_on_white(made):
    picture = Image.new("P", (4, 2), 1)
    picture.putpalette([255, 0, 0, 0, 0, 0, 10, 20, 30])
    picture.putpixel((0, 0), 0)
    data = made(picture, transparency=1)
    seen = grey_of(data)
    assert seen[0, 0] == pytest.approx(0.2126, abs=1e-4)
    assert seen[1, 1] == pytest.approx(1.0)
    assert "palette" in conversions(data)
    assert "laid on white" in conversions(data)


def test_a_see_through_colour_of_a_plain_picture_is_laid_on_white(made):
    for picture in (one_colour(9, 9, 9), one_colour(9, mode="L")):
        key = (9, 9, 9) if picture.mode == "RGB" else 9
        assert grey_of(made(picture, transparency=key)).min() == pytest.approx(1.0)


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
def test_grey_of_16_bits_keeps_its_16_bits(made, kind):
    values = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    seen = encode(grey_of(made(Image.fromarray(values), kind)))
    assert np.abs(seen * 65535.0 - values).max() < 0.6


def wide_png(values):
    rows, columns, _ = values.shape
    lines = b"".join(b"\0" + row.astype(">u2").tobytes() for row in values)
    out = b"\x89PNG\r\n\x1a\n"
    for kind, body in (
        (b"IHDR", struct.pack(">IIBBBBB", columns, rows, 16, 2, 0, 0, 0)),
        (b"IDAT", zlib.compress(lines)),
        (b"IEND", b""),
    ):
        out += struct.pack(">I4s", len(body), kind) + body + struct.pack(">I", zlib.crc32(kind + body))
    return out


def wide_tiff(values, order):
    rows, columns, _ = values.shape
    body = values.astype(f"{order}u2").tobytes()
    entries = [(256, 4, 1, columns), (257, 4, 1, rows), (258, 3, 3, 200), (259, 3, 1, 1), (262, 3, 1, 2)]
    entries += [(273, 4, 1, 256), (277, 3, 1, 3), (278, 4, 1, rows), (279, 4, 1, len(body))]
    out = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(f"{order}I", 8)
    out += struct.pack(f"{order}H", len(entries))
    for tag, kind, count, value in entries:
        short = kind == 3 and count == 1
        out += struct.pack(f"{order}HHI", tag, kind, count)
        out += struct.pack(f"{order}HH", value, 0) if short else struct.pack(f"{order}I", value)
    out += struct.pack(f"{order}I", 0)
    return out.ljust(200, b"\0") + struct.pack(f"{order}HHH", 16, 16, 16) + b"\0" * 50 + body


@pytest.mark.parametrize("form", [wide_png, lambda v: wide_tiff(v, "<"), lambda v: wide_tiff(v, ">")])
def test_colours_of_16_bits_keep_their_16_bits(form):
    rng = np.random.default_rng(8)
    values = rng.integers(0, 65536, (20, 30, 3))
    data = form(values)
    expected = decode(values / 65535.0) @ np.array(LUMINANCE.weights)
    assert np.abs(grey_of(data) - expected).max() < 1e-6
    assert open_picture(Source(data)).look.bits == 16
    assert "read as 8" not in conversions(data)


def test_white_is_zero_in_16_bits_too(made):
    data = bytearray(made(Image.fromarray(np.full((4, 4), 65535, dtype=np.uint16)), "TIFF"))
    at = data.index(struct.pack("<HHI", 262, 3, 1))
    data[at + 8] = 0
    assert grey_of(bytes(data)).max() == pytest.approx(0.0)


def gamma_profile(gamma, primaries=None):
    """An RGB profile of version 2 with a plain exponent, and sRGB's primaries unless others are given."""
    colours = primaries or ((0.4361, 0.2225, 0.0139), (0.3851, 0.7169, 0.0971), (0.1431, 0.0606, 0.7141))

    def fixed(value):
        return struct.pack(">i", round(value * 65536))

    def xyz(values):
        return b"XYZ \0\0\0\0" + b"".join(fixed(value) for value in values)

    name = b"plain exponent\0"
    described = b"desc\0\0\0\0" + struct.pack(">I", len(name)) + name + b"\0" * 78
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + b"\0\0"
    tags = [(b"desc", described), (b"cprt", b"text\0\0\0\0none\0"), (b"wtpt", xyz((0.9642, 1.0, 0.8249)))]
    tags += [
        (letter + b"XYZ", xyz(values)) for letter, values in zip((b"r", b"g", b"b"), colours, strict=True)
    ]
    tags += [(letter + b"TRC", curve) for letter in (b"r", b"g", b"b")]
    table, body, at = b"", b"", 128 + 4 + 12 * len(tags)
    for tag, content in tags:
        table += tag + struct.pack(">II", at + len(body), len(content))
        body += content + b"\0" * (-len(content) % 4)
    head = struct.pack(">I4sI4s4s4s", 0, b"\0" * 4, 0x02100000, b"mntr", b"RGB ", b"XYZ ") + b"\0" * 12
    head += b"acsp" + b"\0" * 28 + fixed(0.9642) + fixed(1.0) + fixed(0.8249)
    head = head.ljust(128, b"\0")
    whole = head + struct.pack(">I", len(tags)) + table + body
    return struct.pack(">I", len(whole)) + whole[4:]


@pytest.mark.reference
def test_a_profile_with_a_known_exponent_is_undone(made, colours):
    """sRGB's primaries with an exponent of 1.8: light is the value to the power of 1.8, by definition."""
    picture = colours(60, 40)
    data = made(picture, icc_profile=gamma_profile(1.8))
    values = np.asarray(picture) / 255.0
    expected = encode(values**1.8 @ np.array(LUMINANCE.weights))
    # its way through sRGB in 8 bits rounds each channel by half a code value, most in the darks
    assert np.abs(encode(grey_of(data)) - expected).max() < 1.5 * STEP
    assert "plain exponent" in conversions(data)


@pytest.mark.reference
def test_colours_go_and_come_back_through_profiles_as_a_library_brings_them(made, colours):
    """Round trip: Pillow takes an sRGB picture into a profile; read from there it is the picture again."""
    wide = gamma_profile(2.2, ((0.6097, 0.3111, 0.0195), (0.2053, 0.6257, 0.0609), (0.1492, 0.0632, 0.7446)))
    picture = colours(60, 40)
    there = ImageCms.profileToProfile(
        picture,
        ImageCms.createProfile("sRGB"),
        ImageCms.ImageCmsProfile(io.BytesIO(wide)),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    back = encode(grey_of(made(there, icc_profile=wide)))
    unread = encode(grey_of(made(Image.fromarray(np.asarray(there)))))
    plain = encode(grey_of(made(picture)))
    assert np.abs(back - plain).max() < 2.0 * STEP
    assert np.abs(unread - plain).max() > 4.0 * STEP  # so the profile does matter


def test_srgb_under_its_own_name_changes_nothing_and_is_named(made, colours):
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    picture = colours(30, 20)
    assert read_profile(srgb).is_srgb
    assert np.array_equal(grey_of(made(picture, icc_profile=srgb)), grey_of(made(picture)))
    seen = open_picture(Source(made(picture, icc_profile=srgb))).look
    assert "sRGB" in (seen.profile or "")
    assert seen.conversions == ()


@pytest.mark.parametrize("profile", [b"nonsense", b"\0" * 128, gamma_profile(1.8)[:200]])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
def test_a_profile_that_cannot_be_read_is_told_and_srgb_is_assumed(made, colours, profile, kind):
    data = made(colours(30, 20), kind, icc_profile=profile)
    assert np.array_equal(grey_of(data), grey_of(made(colours(30, 20), kind)))
    assert "sRGB is assumed" in conversions(data)


def test_a_profile_for_other_channels_is_told_and_not_used(made):
    grey = one_colour(100, 100, 100).convert("CMYK")
    data = made(grey, "JPEG", icc_profile=gamma_profile(1.8))
    assert "for other channels" in conversions(data)


def test_a_grey_picture_with_a_profile_for_colours_follows_it(made):
    data = made(one_colour(128, mode="L"), icc_profile=gamma_profile(1.8))
    assert grey_of(data).mean() == pytest.approx((128 / 255) ** 1.8, abs=0.005)


def test_an_exponent_of_a_png_that_is_not_followed_is_told(made, colours):
    data = made(colours(20, 10))
    for gamma, told in ((45455, False), (100_000, True)):
        body = struct.pack(">I", gamma)
        one = struct.pack(">I4s", 4, b"gAMA") + body + struct.pack(">I", zlib.crc32(b"gAMA" + body))
        assert ("not followed" in conversions(data[:33] + one + data[33:])) is told
