"""Turning, straightening, cropping and sizing, in numbers and in pixels."""

import math

import numpy as np
import pytest
from PIL import Image

from noonframe.errors import OutOfDomain
from noonframe.negative.develop import develop, extent_for, preview_positive
from noonframe.negative.geometry import Crop, Cut, Framing, PrintSize, cut_for, extent_of, inner_box
from noonframe.negative.kinds import Source
from noonframe.negative.opened import open_picture
from noonframe.negative.recipe import PictureSettings
from noonframe.negative.tones import Levels

NAN, INF = float("nan"), float("inf")


def positive(data, settings, dpi=25.4, room=(100.0, 100.0)):
    """Positive code at `dpi`; at 25.4 a dot is a millimetre."""
    source = Source(data)
    extent = extent_for(open_picture(source).look, settings, dpi, room, may_turn=False)
    return 65535 - develop(source, settings, extent).film.astype(int)


def corners(width=64, height=48):
    """Four different corners, so that every turn and flip shows."""
    array = np.zeros((height, width), dtype=np.uint8)
    for value, rows, columns in (
        (60, slice(None, height // 2), slice(None, width // 2)),
        (120, slice(None, height // 2), slice(width // 2, None)),
        (180, slice(height // 2, None), slice(None, width // 2)),
        (240, slice(height // 2, None), slice(width // 2, None)),
    ):
        array[rows, columns] = value
    return Image.fromarray(array)


def four(code):
    rows, columns = code.shape
    return [
        round(code[row, column] / 257)
        for row in (rows // 4, 3 * rows // 4)
        for column in (columns // 4, 3 * columns // 4)
    ]


@pytest.mark.reference
@pytest.mark.parametrize("rotate_deg", [0, 90, 180, 270])
@pytest.mark.parametrize("flip", [False, True])
def test_quarter_turns_are_clockwise_and_flip_comes_after(made, rotate_deg, flip):
    """Pillow's own turns (counterclockwise, so negative here) and mirror."""
    expected = corners().rotate(-rotate_deg, expand=True)
    if flip:
        expected = expected.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
    code = positive(made(corners()), PictureSettings(framing=Framing(rotate_deg, flip)))
    assert four(code) == four(np.asarray(expected).astype(int) * 257)


def test_straightening_makes_a_leaning_line_upright(made):
    lean = math.radians(3.0)  # its top leans to the left: it wants turning clockwise
    down, across = np.mgrid[0:300, 0:400] + 0.5
    away = np.abs((across - 200.0) * math.cos(lean) - (down - 150.0) * math.sin(lean))
    picture = Image.fromarray((np.clip(away - 3.0, 0.0, 1.0) * 255).astype(np.uint8))
    code = positive(made(picture), PictureSettings(framing=Framing(straighten_deg=3.0)), dpi=200)
    weight = 65535 - code
    where = (weight * np.arange(code.shape[1])).sum(axis=1) / weight.sum(axis=1)
    assert np.ptp(where) < 0.3  # dots, of 787
    assert code[:, 0].min() > 65000  # the turned corners are cut off, not filled


@pytest.mark.parametrize("angle_deg", [-44.0, -7.5, 0.0, 0.3, 12.0, 44.0])
@pytest.mark.parametrize(("width", "height"), [(600, 400), (400, 600), (1000, 200)])
def test_the_inner_box_touches_the_turned_edge_and_stays_inside(angle_deg, width, height):
    left, top, right, bottom = inner_box(width, height, angle_deg)
    assert (right - left) / (bottom - top) == pytest.approx(width / height, rel=1e-9)
    angle = math.radians(angle_deg)
    reach = []
    for x in (left - width / 2, right - width / 2):
        for y in (top - height / 2, bottom - height / 2):
            back_x = x * math.cos(angle) + y * math.sin(angle)
            back_y = -x * math.sin(angle) + y * math.cos(angle)
            reach.append(max(abs(back_x) / (width / 2), abs(back_y) / (height / 2)))
    short = min(right - left, bottom - top)
    assert 1.0 - 1.1 / short <= max(reach) <= 1.0 + 1e-12


@pytest.mark.parametrize("angle_deg", [NAN, INF, -INF, 45.0, -90.0])
def test_an_angle_that_is_no_straightening_is_refused(angle_deg):
    with pytest.raises(OutOfDomain, match="straighten_deg"):
        Framing(straighten_deg=angle_deg)


@pytest.mark.parametrize("rotate_deg", [1, 45, -90, 360])
def test_only_quarter_turns_are_turns(rotate_deg):
    with pytest.raises(OutOfDomain, match="rotate_deg"):
        Framing(rotate_deg)


@pytest.mark.parametrize(
    ("box", "field"),
    [
        ((0.0, 0.0, 0.0, 0.5), "crop.width"),
        ((0.0, 0.0, 0.5, 0.0), "crop.height"),
        ((-0.1, 0.0, 0.5, 0.5), "crop.left"),
        ((0.0, NAN, 0.5, 0.5), "crop.top"),
        ((0.0, 0.0, INF, 0.5), "crop.width"),
    ],
)
def test_a_crop_that_cannot_be_is_refused(box, field):
    with pytest.raises(OutOfDomain) as refused:
        Crop(*box)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("crop", "field"),
    [
        (Crop(0.6, 0.0, 0.5, 0.5), "crop.width"),
        (Crop(0.0, 0.6, 0.5, 0.5), "crop.height"),
        (Crop(90, 0, 20, 5, "px"), "crop.width"),
        (Crop(0.0, 0.0, 0.001, 0.5), "crop"),
    ],
)
def test_a_crop_outside_the_picture_is_refused(crop, field):
    with pytest.raises(OutOfDomain) as refused:
        cut_for(100, 80, Framing(crop=crop))
    assert refused.value.field == field


def test_a_crop_counts_after_turning(made):
    crop = Crop(0.0, 0.0, 0.5, 0.5)
    code = positive(made(corners()), PictureSettings(framing=Framing(90, crop=crop)))
    assert np.rint(np.median(code) / 257) == 180  # the lower left has come to the upper left


def test_shares_and_pixels_say_the_same():
    by_share = cut_for(200, 100, Framing(crop=Crop(0.1, 0.2, 0.5, 0.6)))
    by_pixel = cut_for(200, 100, Framing(crop=Crop(20, 20, 100, 60, "px")))
    assert by_share.box == pytest.approx(by_pixel.box)


CUT = Cut(3000, 2000, (0.0, 0.0, 3000.0, 2000.0))


@pytest.mark.parametrize(
    ("size", "sides"),
    [
        (PrintSize(150.0), (150.0, 100.0)),
        (PrintSize(height_mm=50.0), (75.0, 50.0)),
        (PrintSize(100.0, 100.0), (100.0, 66.6667)),
        (PrintSize(300.0, 100.0), (150.0, 100.0)),
        (PrintSize(100.0, 100.0, "fill"), (100.0, 100.0)),
    ],
)
def test_proportions_are_kept(size, sides):
    extent = extent_of(CUT, size, 300.0)
    assert (extent.width_mm, extent.height_mm) == pytest.approx(sides, abs=1e-3)
    assert (extent.columns, extent.rows) == tuple(round(side / 25.4 * 300.0) for side in sides)


def test_to_fill_a_square_the_middle_is_kept():
    assert extent_of(CUT, PrintSize(100.0, 100.0, "fill"), 300.0).cut.box == (500.0, 0.0, 2500.0, 2000.0)


def test_an_enlargement_is_told_and_a_reduction_is_not():
    sharp = extent_of(CUT, PrintSize(100.0), 720.0)  # 762 ppi
    assert (sharp.warnings, sharp.enlarged) == ((), 1.0)
    assert sharp.effective_ppi == pytest.approx(762.0)
    larger = extent_of(CUT, PrintSize(254.0), 720.0)
    assert larger.enlarged == pytest.approx(2.4, rel=1e-3)
    assert "300 pixels to the inch" in larger.warnings[0]
    assert "soft" not in larger.warnings[0]
    assert "soft" in extent_of(CUT, PrintSize(508.0), 720.0).warnings[0]


@pytest.mark.parametrize("side", [0.0, -1.0, NAN, INF, 5000.0])
def test_a_size_that_cannot_be_is_refused(side):
    with pytest.raises(OutOfDomain, match=r"size\.width_mm"):
        PrintSize(side)
    with pytest.raises(OutOfDomain, match=r"size\.height_mm"):
        PrintSize(10.0, side)


def test_a_size_of_nothing_is_refused():
    with pytest.raises(OutOfDomain, match="size"):
        PrintSize()


def test_strips_leave_no_seams(made, colours, monkeypatch):
    from noonframe.negative import develop as module

    data = made(colours(300, 200))
    settings = PictureSettings(framing=Framing(straighten_deg=1.0))
    whole = positive(data, settings, dpi=130)
    monkeypatch.setattr(module, "_STRIP_PIXELS", 3000)
    in_strips = positive(data, settings, dpi=130)
    assert np.abs(whole - in_strips).max() <= 8  # of 65535: the library's own rounding of a strip's edges


def test_light_is_averaged_as_light(made):
    """Black and white lines too fine to be seen are as light as half the light, code 188 of 255."""
    lines = np.zeros((400, 400), dtype=np.uint8)
    lines[::2] = 255
    code = positive(made(Image.fromarray(lines)), PictureSettings(), dpi=25.4)
    assert code[20:-20, 20:-20].mean() / 257 == pytest.approx(187.5, abs=1.0)


def test_a_preview_is_the_same_picture_as_the_film(made, colours):
    data = made(colours(3000, 2000, 4), "JPEG", quality=95)
    settings = PictureSettings(
        framing=Framing(90, straighten_deg=2.0, crop=Crop(0.1, 0.2, 0.7, 0.5)), levels=None
    )
    small = preview_positive(Source(data), settings, 300)
    film = positive(data, settings, dpi=254, room=(30.0, 30.0))
    assert max(small.code.shape) == 300
    assert small.code.shape == film.shape
    assert np.abs(small.code[2:-2, 2:-2] - film[2:-2, 2:-2]).mean() < 300  # of 65535
    assert (small.look.width_px, small.look.height_px) == (3000, 2000)


def test_a_preview_is_never_enlarged(made, colours):
    assert preview_positive(Source(made(colours(60, 40))), PictureSettings(), 1600).code.shape == (40, 60)


@pytest.mark.parametrize("dpi", [60.0, 254.0, 410.0, 1100.0])
@pytest.mark.parametrize("straighten_deg", [0.0, 1.7])
def test_no_edge_gets_an_outline(made, dpi, straighten_deg):
    """Dark letters on a light ground: no dot is darker or lighter than the two tones, at any resolution."""
    letters = np.full((300, 300), 225, dtype=np.uint8)
    letters[100:200, 60:90] = letters[100:200, 140:143] = letters[100:200, 200:240] = 40
    framing = Framing(straighten_deg=straighten_deg)
    settings = PictureSettings(framing=framing, size=PrintSize(30.0), levels=Levels())
    code = positive(made(Image.fromarray(letters)), settings, dpi=dpi)
    assert (code.min() / 257, code.max() / 257) == pytest.approx((40.0, 225.0), abs=0.05 if dpi > 254 else 3)
    assert code.min() / 257 > 39.95
    assert code.max() / 257 < 225.05
