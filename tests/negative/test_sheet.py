"""Pages: where negatives lie, what else is on the film, and the file at its exact size."""

import io
from itertools import pairwise

import numpy as np
import pypdf
import pytest
from PIL import Image

from noonframe.errors import OutOfDomain, UnknownName
from noonframe.negative.aids import lying_if_wider, mask_page, wedge_page
from noonframe.negative.build import MOST_NEGATIVES, Wanted, build_page, sizes
from noonframe.negative.deadline import Deadline, TookTooLong
from noonframe.negative.export import MEDIA_TYPES, Print, eight_bits, exported
from noonframe.negative.geometry import Framing, PrintSize
from noonframe.negative.kinds import Source
from noonframe.negative.layout import Margins, Piece, Spot, cell_mm, lay_out
from noonframe.negative.lettering import check_text
from noonframe.negative.pages import Page, find_page, named_pages
from noonframe.negative.recipe import PictureSettings
from noonframe.negative.sheet import Extras, PageSettings, Sheet
from noonframe.negative.wedge import StripMask, step_codes, wedge_strip

A4 = find_page("a4")
NAN = float("nan")
SIZE_ERROR_MM = 0.1


def a_page(made, colours, count=1, dpi=100.0, **how):
    data = made(colours())
    extras = Extras(how.pop("marks", True), how.pop("wedge_steps", None), how.pop("label", None))
    settings = PictureSettings(size=how.pop("size", None))
    mirror = how.pop("mirror", True)
    wanted = [Wanted(Source(data), settings, called=f"negatives.{index}", **how) for index in range(count)]
    return build_page(wanted, PageSettings(A4, dpi, extras=extras, mirror=mirror))


@pytest.mark.reference
@pytest.mark.parametrize(
    ("name", "sides"),
    [
        ("a4", (210.0, 297.0)),  # ISO 216
        ("a3", (297.0, 420.0)),  # ISO 216
        ("letter", (8.5 * 25.4, 11 * 25.4)),  # ANSI/ASME Y14.1, size A
        ("tabloid", (11 * 25.4, 17 * 25.4)),  # ANSI/ASME Y14.1, size B
        ("8x10in", (8 * 25.4, 10 * 25.4)),
    ],
)
def test_pages_have_the_sizes_of_the_standards(name, sides):
    page = find_page(name)
    assert (page.width_mm, page.height_mm) == pytest.approx(sides)


def test_all_named_pages_stand_upright_and_can_be_made_at_360_dpi():
    for page in named_pages().values():
        assert page.width_mm < page.height_mm
        assert page.pixels(360.0)
    assert A4.pixels(720.0) == (5953, 8419)
    assert find_page("a3-plus").pixels(720.0)


def test_pages_that_cannot_be_are_refused():
    with pytest.raises(UnknownName, match="a9"):
        find_page("a9")
    for side in (NAN, 0.0, -5.0, 5000.0):
        with pytest.raises(OutOfDomain, match=r"page\.width_mm"):
            Page(side, 100.0)
    with pytest.raises(OutOfDomain, match="130 million pixels"):
        find_page("a2").pixels(1440.0)
    for dpi in (NAN, 0.0, 5000.0):
        with pytest.raises(OutOfDomain, match="dpi"):
            A4.pixels(dpi)


@pytest.mark.reference
@pytest.mark.parametrize("name", ["a5", "a4", "letter", "13x19in"])
@pytest.mark.parametrize("dpi", [72.0, 300.0])
def test_a_pdf_is_as_large_as_its_page_read_back_by_a_library(name, dpi):
    page = find_page(name)
    columns, rows = page.pixels(dpi)
    data = exported(Print(np.full((rows, columns), 65535, np.uint16), page, dpi), "pdf")
    box = pypdf.PdfReader(io.BytesIO(data)).pages[0].mediabox
    assert float(box.width) / 72 * 25.4 == pytest.approx(page.width_mm, abs=SIZE_ERROR_MM)
    assert float(box.height) / 72 * 25.4 == pytest.approx(page.height_mm, abs=SIZE_ERROR_MM)


@pytest.mark.reference
@pytest.mark.parametrize("bits", [8, 16])
def test_a_pdf_holds_the_film_without_loss_and_at_its_dots(bits):
    rng = np.random.default_rng(1)
    film = rng.integers(0, 65536, (300, 201), dtype=np.uint16)
    page = Page(51.0, 76.2)
    reader = pypdf.PdfReader(io.BytesIO(exported(Print(film, page, 100.0), "pdf", bits)))
    sheet = reader.pages[0]
    picture = next(iter(sheet["/Resources"]["/XObject"].values())).get_object()
    assert (picture["/Width"], picture["/Height"], picture["/BitsPerComponent"]) == (201, 300, bits)
    assert picture["/ColorSpace"] == "/DeviceGray"
    data = picture.get_data()
    held = np.frombuffer(data, ">u2" if bits == 16 else "u1").reshape(300, 201)
    assert np.array_equal(held, film if bits == 16 else eight_bits(film))
    scale = next(
        operands
        for operands, operator in pypdf.generic.ContentStream(sheet.get_contents(), reader).operations
        if operator == b"cm" and abs(float(operands[0])) > 2
    )
    assert float(scale[0]) == pytest.approx(201 / 100.0 * 72.0, abs=0.01)  # dots at their exact pitch
    assert float(scale[3]) == pytest.approx(300 / 100.0 * 72.0, abs=0.01)
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"


@pytest.mark.parametrize("kind", ["tiff", "png"])
@pytest.mark.parametrize("bits", [8, 16])
def test_a_picture_file_holds_the_film_and_its_dots_to_the_inch(kind, bits):
    rng = np.random.default_rng(1)
    film = rng.integers(0, 65536, (30, 20), dtype=np.uint16)
    data = exported(Print(film[:, ::-1], Page(51.0, 76.2), 720.0), kind, bits)
    picture = Image.open(io.BytesIO(data))
    assert picture.mode == ("I;16" if bits == 16 else "L")
    held = film[:, ::-1]
    assert np.array_equal(np.asarray(picture), held if bits == 16 else eight_bits(held))
    assert picture.info["dpi"] == pytest.approx((720.0, 720.0), rel=1e-4)


def test_sixteen_bits_become_the_nearest_eight():
    codes = np.arange(65536, dtype=np.uint16)
    assert np.abs(eight_bits(codes).astype(int) * 257 - codes).max() <= 129
    assert (eight_bits(codes)[[0, -1]] == [0, 255]).all()


def test_bits_that_no_file_has_are_refused():
    with pytest.raises(OutOfDomain, match="bits"):
        exported(Print(np.zeros((2, 2), np.uint16), A4, 72.0), "png", 12)


def test_a_page_that_takes_too_long_is_given_up(made, colours):
    with pytest.raises(TookTooLong):
        build_page([Wanted(Source(made(colours())))], PageSettings(A4, 100.0), Deadline(0.0, 60.0))


def test_the_whole_page_is_mirrored_unless_told_otherwise(made, colours):
    mirrored = a_page(made, colours, label="right way round", wedge_steps=11)
    plain = a_page(made, colours, label="right way round", wedge_steps=11, mirror=False)
    assert np.array_equal(mirrored.finished.film, plain.finished.film[:, ::-1])
    assert not np.array_equal(mirrored.finished.film, plain.finished.film)


def test_a_negative_is_as_large_on_the_page_as_it_was_wanted(made, colours):
    page = a_page(made, colours, dpi=254.0, size=PrintSize(100.0), marks=False, mirror=False)
    inked = np.argwhere(page.finished.film < 65535)
    height, width = np.ptp(inked, axis=0) + 1
    assert (width / 10.0, height / 10.0) == pytest.approx((100.0, 66.667), abs=0.1)
    assert tuple(inked.min(axis=0)) == (80, 80)  # at the margin


def test_alone_a_picture_is_as_large_as_the_page_allows(made, colours):
    one = a_page(made, colours).negatives[0]
    assert one.spot.turned  # lying picture, standing page
    assert max(one.spot.width_mm, one.spot.height_mm) == pytest.approx(281.0, abs=15.0)
    unturned = a_page(made, colours, may_turn=False).negatives[0]
    assert unturned.spot.width_mm == pytest.approx(194.0, abs=0.1)


@pytest.mark.parametrize("count", [2, 3, 5, 9, 24])
def test_pictures_without_a_size_share_the_page(made, colours, count):
    page = a_page(made, colours, count, dpi=40.0, label="many", wedge_steps=21)
    spots = [one.spot for one in page.negatives]
    assert len(spots) == count
    assert not any(a.overlaps(b, 5.99) for i, a in enumerate(spots) for b in spots[:i])
    covered = sum(spot.width_mm * spot.height_mm for spot in spots)
    assert covered > 0.35 * 194.0 * 281.0
    for spot in spots:
        assert 8.0 <= spot.left_mm <= spot.left_mm + spot.width_mm <= 202.0 + 1e-6
        assert spot.top_mm + spot.height_mm <= 289.0


def test_upright_and_lying_pictures_without_a_size_share_a_page(made, colours):
    data = made(colours())
    framings = [Framing(90 * (index % 2)) for index in range(6)]
    wanted = [
        Wanted(Source(data), PictureSettings(framing=framing), called=f"negatives.{index}")
        for index, framing in enumerate(framings)
    ]
    film = build_page(wanted, PageSettings(A4, 40.0))
    assert {one.spot.turned for one in film.negatives} == {True, False}


def test_given_sizes_are_laid_on_shelves_that_can_be_cut_across():
    rng = np.random.default_rng(4)
    for _ in range(50):
        pieces = [
            Piece(*rng.uniform(15.0, 60.0, 2), f"negatives.{index}") for index in range(rng.integers(1, 9))
        ]
        spots = lay_out(pieces, A4, Margins())
        tops = sorted({round(spot.top_mm, 6) for spot in spots})
        for top in tops[1:]:  # a cut from edge to edge above every shelf meets no negative
            assert not any(spot.top_mm < top - 1e-6 < spot.top_mm + spot.height_mm for spot in spots)
        for piece, spot in zip(pieces, spots, strict=True):
            sides = (spot.width_mm, spot.height_mm)
            assert (sides[::-1] if spot.turned else sides) == (piece.width_mm, piece.height_mm)


def test_what_does_not_fit_is_named():
    with pytest.raises(OutOfDomain, match="2 of 3 found room") as refused:
        lay_out([Piece(150.0, 100.0, f"negatives.{index}") for index in range(3)], A4, Margins())
    assert refused.value.field == "negatives.2"
    with pytest.raises(OutOfDomain, match="0 of 1"):
        lay_out([Piece(400.0, 400.0, "negatives.0")], A4, Margins())


def test_given_positions_are_kept_and_checked():
    pieces = [Piece(50.0, 50.0, "negatives.0", (20.0, 30.0)), Piece(50.0, 50.0, "negatives.1", (80.0, 30.0))]
    assert [(s.left_mm, s.top_mm) for s in lay_out(pieces, A4, Margins())] == [(20.0, 30.0), (80.0, 30.0)]
    with pytest.raises(OutOfDomain, match=r"clear of negatives\.0"):
        lay_out([pieces[0], Piece(50.0, 50.0, "negatives.1", (60.0, 30.0))], A4, Margins())
    with pytest.raises(OutOfDomain, match="on the page"):
        lay_out([Piece(50.0, 50.0, "negatives.0", (180.0, 30.0))], A4, Margins())
    with pytest.raises(OutOfDomain, match="for every negative or for none"):
        lay_out([pieces[0], Piece(50.0, 50.0, "negatives.1")], A4, Margins())


def test_margins_that_leave_no_room_are_refused():
    for value in (NAN, -1.0, 101.0):
        with pytest.raises(OutOfDomain, match="margin_mm"):
            Margins(value)
        with pytest.raises(OutOfDomain, match="gap_mm"):
            Margins(8.0, value)
    with pytest.raises(OutOfDomain, match="leave room"):
        Margins(60.0).room_mm(find_page("a6"))
    with pytest.raises(OutOfDomain, match="few enough"):
        cell_mm([1.5] * 24, (50.0, 50.0), 60.0, may_turn=True)


def test_cutting_marks_show_the_corners_and_never_lie_on_a_negative():
    sheet = Sheet(A4, 254.0)
    spots = [Spot(20.0, 20.0, 60.0, 40.0, turned=False), Spot(81.5, 20.0, 60.0, 40.0, turned=False)]
    sheet.mark(spots)
    film = sheet.finished(mirror=False)
    for spot in spots:
        left, top = round(spot.left_mm * 10), round(spot.top_mm * 10)
        assert (film[top : top + 400, left : left + 600] == 65535).all()
    inked = np.argwhere(film == 0)
    assert tuple(inked.min(axis=0)) == (200 - 33, 200 - 33)
    assert film[200 - 20, 200] == 0  # above the upper left corner
    assert film[200, 200 - 20] == 0  # to its left


def test_a_wedge_is_even_in_code_from_bare_film_to_full_ink():
    assert step_codes(3) == (65535, 32768, 0)
    codes = step_codes(21)
    assert (codes[0], codes[-1]) == (65535, 0)
    assert max(abs(a - b - 65535 / 20) for a, b in pairwise(codes)) <= 1.0
    strip = wedge_strip(21, 168.0, 20.0, 100.0)
    middle = strip[strip.shape[0] // 4, [round((step + 0.5) * strip.shape[1] / 21) for step in range(21)]]
    assert tuple(middle) == codes


@pytest.mark.parametrize("count", [0, 2, 52])
def test_a_wedge_of_too_few_or_too_many_steps_is_refused(count):
    with pytest.raises(OutOfDomain, match="steps"):
        step_codes(count)


def test_the_wedge_in_the_margin_is_never_corrected(made, colours):
    tone = np.zeros(65536, np.uint16)
    plain = a_page(made, colours, wedge_steps=11, mirror=False).finished.film
    black = a_page(made, colours, wedge_steps=11, mirror=False, tone=tone).finished.film
    foot = slice(round(275.0 / 25.4 * 100), None)
    assert np.array_equal(plain[foot], black[foot])
    assert len(np.unique(plain[foot])) >= 11
    assert (black == 0).sum() > (plain == 0).sum()


def test_a_wedge_page_holds_the_wedge_alone():
    page = wedge_page(PageSettings(A4, 100.0, mirror=False), 21)
    assert set(step_codes(21)) <= set(np.unique(page.film))
    with pytest.raises(OutOfDomain, match="patch_width_mm"):
        wedge_page(PageSettings(A4, 100.0), 31, (10.0, 20.0))
    assert wedge_page(PageSettings(lying_if_wider(A4, 279.0, Margins()), 100.0), 31, (9.0, 20.0))
    with pytest.raises(OutOfDomain, match="patch_height_mm"):
        wedge_page(PageSettings(A4, 100.0), 21, (8.0, NAN))


@pytest.mark.reference
def test_a_mask_has_geometric_factors_and_strips_of_their_width():
    """Half a stop a strip is a factor of the square root of two: 1, 1.41, 2, 2.83, 4 (by definition)."""
    mask = StripMask(5, 0.5, 20.0, 40.0)
    assert mask.factors == pytest.approx((1.0, 1.41421, 2.0, 2.82843, 4.0), abs=1e-5)
    row = mask.drawn(254.0)[-80]
    edges = np.flatnonzero(np.diff((row > 0).astype(int)))
    assert len(edges) == 10  # bare strips between lines of ink
    assert np.diff(edges[1::2]) / 10.0 == pytest.approx([20.0] * 4, abs=0.1)
    page = mask_page(PageSettings(A4, 100.0), mask)
    assert page.film.min() == 0


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ((1,), "strip_count"),
        ((5, NAN), "step_stops"),
        ((5, 0.5, 2.0), "strip_width_mm"),
        ((5, 0.5, 9.0, 1.0), "strip_height_mm"),
    ],
)
def test_a_mask_that_cannot_be_is_refused(values, field):
    with pytest.raises(OutOfDomain) as refused:
        StripMask(*values)
    assert refused.value.field == field


def test_a_mask_that_is_larger_than_the_page_is_refused():
    with pytest.raises(OutOfDomain, match="do not fit"):
        mask_page(PageSettings(find_page("a6"), 100.0), StripMask())


def test_a_label_is_set_in_letters_there_are(made, colours):
    assert check_text("Maré às 7 h 45, ½ stop", "label")
    for text in ("", "two\nlines", "x" * 161, "潮"):
        with pytest.raises(OutOfDomain, match="label"):
            Extras(label=text)
    with_label = a_page(made, colours, label="Tide table", marks=False, mirror=False).finished.film
    foot = with_label[round(284.0 / 25.4 * 100) :]
    assert (foot < 20_000).sum() > 50


def test_wedge_and_label_need_a_page_with_room(made, colours):
    settings = PageSettings(Page(100.0, 35.0), 100.0, extras=Extras(True, 21, "x"))
    with pytest.raises(OutOfDomain, match=r"page\.height_mm"):
        build_page([Wanted(Source(made(colours())))], settings)


def test_too_many_negatives_are_refused(made, colours):
    source = Source(made(colours()))
    for count in (0, MOST_NEGATIVES + 1):
        with pytest.raises(OutOfDomain, match="negatives"):
            build_page([Wanted(source)] * count, PageSettings(A4, 72.0))


def test_a_layout_is_refused_before_any_picture_is_unpacked(made, colours):
    cut_short = made(colours(300, 200))[:2000]
    wanted = [Wanted(Source(cut_short), PictureSettings(size=PrintSize(1000.0)))]
    assert sizes(wanted, PageSettings(A4, 72.0))
    with pytest.raises(OutOfDomain, match="found room"):
        build_page(wanted, PageSettings(A4, 72.0))


def test_a_size_beyond_all_dots_is_refused(made, colours):
    wanted = [Wanted(Source(made(colours())), PictureSettings(size=PrintSize(1100.0)))]
    with pytest.raises(OutOfDomain, match="small enough for the page"):
        build_page(wanted, PageSettings(A4, 720.0))


def test_every_format_has_a_media_type():
    assert set(MEDIA_TYPES) == {"pdf", "tiff", "png"}
