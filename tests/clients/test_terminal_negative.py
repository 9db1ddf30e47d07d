"""`noonframe negative`: pictures are only read, and no file is written over unasked."""

import hashlib
import io
import json
import os

import numpy as np
import pypdf
import pytest
from PIL import Image

from noonframe_terminal import negative_files

SMALL = ("--page", "a6", "--dpi", "72")


@pytest.fixture
def picture(tmp_path):
    rng = np.random.default_rng(3)
    path = tmp_path / "kelp.png"
    small = Image.fromarray(rng.integers(0, 256, (4, 6, 3), dtype=np.uint8))
    small.resize((90, 60), Image.Resampling.BICUBIC).save(path)
    return path


@pytest.fixture
def make(call, picture, tmp_path):
    def run(*options, out="film.pdf"):
        return call("negative", "make", str(picture), "--out", str(tmp_path / out), *SMALL, *options)

    return run


def flowing(text):
    return " ".join(text.split())


def told(said):
    assert said.code == 0, said.err
    return json.loads(said.out)


def test_a_film_page_is_made_and_told_of(make, picture, tmp_path):
    before = hashlib.sha256(picture.read_bytes()).hexdigest()
    said = make()
    assert said.code == 0, said.err
    box = pypdf.PdfReader(tmp_path / "film.pdf").pages[0].mediabox
    assert float(box.width) / 72 * 25.4 == pytest.approx(105.0, abs=0.1)
    text = flowing(said.out)
    for words in ("film.pdf", "100 %", "kelp.png", "taken as sRGB", "enlarged", "inked side"):
        assert words in text
    assert hashlib.sha256(picture.read_bytes()).hexdigest() == before


@pytest.mark.parametrize(("name", "kind"), [("film.tif", "TIFF"), ("film.TIFF", "TIFF"), ("film.png", "PNG")])
def test_the_name_of_the_file_says_its_format(make, tmp_path, name, kind):
    assert make(out=name).code == 0
    with Image.open(tmp_path / name) as film:
        assert (film.format, film.mode) == (kind, "I;16")


def test_a_file_is_only_written_over_by_force(make, tmp_path):
    assert make().code == 0
    (tmp_path / "film.pdf").write_bytes(b"mine")
    refused = make()
    assert refused.code == 2
    assert "--force" in refused.err
    assert (tmp_path / "film.pdf").read_bytes() == b"mine"
    assert make("--force").code == 0
    assert (tmp_path / "film.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("link", [os.symlink, os.link, None])
def test_the_picture_itself_is_never_written_over(call, picture, tmp_path, link):
    before = picture.read_bytes()
    out = picture
    if link is not None:
        out = tmp_path / "other.png"
        link(picture, out)
    said = call("negative", "make", str(picture), "--out", str(out), "--force", *SMALL)
    assert said.code == 2
    assert "never changed" in said.err
    assert picture.read_bytes() == before


def test_every_option_reaches_the_page(make):
    answer = told(
        make(
            *("--rotate", "90", "--flip", "--straighten", "1.5", "--crop", "0.1,0.1,0.8,0.8"),
            *("--width", "1.5in", "--grey", "0.5,0.25,0.25", "--levels", "0.1,0.9,1.2", "--contrast", "1.1"),
            *("--already-negative", "--copies", "2", "--margin", "5", "--gap", "4", "--wedge", "11"),
            *("--label", "Maré", "--no-marks", "--no-mirror", "--bits", "16", "--lying", "--json"),
        )
    )
    assert (answer["mirrored"], answer["bits"], len(answer["negatives"])) == (False, 16, 2)
    assert answer["page"]["width_mm"] == 148.0
    one = answer["negatives"][0]
    assert sorted((one["width_mm"], one["height_mm"]))[0] == pytest.approx(38.1, abs=0.01)
    assert one["levels"] == {"black_share": 0.1, "white_share": 0.9, "middle_gamma": 1.2}
    assert (one["grey"], one["contrast"], one["inverted"]) == ("own weights", 1.1, False)
    assert one["left_mm"] == 5.0


def test_lengths_are_millimetres_or_inches(make):
    for typed, width in (("60", 60.0), ("60mm", 60.0), ("2in", 50.8), ('2 "', 50.8)):
        one = told(make("--width", typed, "--force", "--json"))["negatives"][0]
        assert max(one["width_mm"], one["height_mm"]) == pytest.approx(width)


def test_a_page_may_have_any_size(call, picture, tmp_path):
    out = str(tmp_path / "film.png")
    options = ("--out", out, "--page", "120x90", "--dpi", "72", "--json")
    assert told(call("negative", "make", str(picture), *options))["page"]["width_mm"] == 120.0


def test_settings_may_come_from_a_file(call, picture, tmp_path):
    settings = tmp_path / "page.json"
    settings.write_text(json.dumps({"page": "a6", "dpi": 72, "negatives": [{"picture": 1, "copies": 3}]}))
    asked = ("negative", "make", str(picture), "--out", str(tmp_path / "film.png"))
    assert len(told(call(*asked, "--settings", str(settings), "--json"))["negatives"]) == 3
    both = call(*asked, "--settings", str(settings), "--flip", "--force")
    assert (both.code, "--settings" in both.err) == (2, True)
    settings.write_text("[")
    assert call(*asked, "--settings", str(settings), "--force").code == 2


@pytest.mark.parametrize(
    ("options", "named"),
    [
        (("--straighten", "nan"), "--straighten nan"),
        (("--straighten", "80"), "--straighten 80"),
        (("--rotate", "45"), "--rotate 45"),
        (("--crop", "0,0,0,1"), "--crop"),
        (("--crop", "0,0,1"), "--crop 0,0,1"),
        (("--crop", "0,0,nan,1"), "--crop 0,0,nan,1"),
        (("--width", "wide"), "--width wide"),
        (("--width", "900"), "found room"),
        (("--fill", "--width", "50"), "--fill"),
        (("--grey", "sepia"), "--grey sepia"),
        (("--grey", "1,1,1"), "--grey"),
        (("--levels", "0.9,0.1"), "--levels"),
        (("--levels", "soft"), "--levels soft"),
        (("--contrast", "0"), "--contrast 0"),
        (("--wedge", "1"), "--wedge 1"),
        (("--dpi", "1"), "--dpi 1"),
        (("--bits", "12"), "--bits 12"),
        (("--margin", "x"), "--margin x"),
        (("--label", "潮"), "--label"),
        (("--copies", "30"), "--copies 30"),
    ],
)
def test_an_option_that_cannot_be_is_named_as_it_was_typed(make, tmp_path, options, named):
    said = make(*options)
    assert said.code == 2, said.err
    assert named in said.err
    assert not (tmp_path / "film.pdf").exists()


def test_an_unknown_page_is_named(call, picture, tmp_path):
    said = call("negative", "make", str(picture), "--out", str(tmp_path / "f.pdf"), "--page", "a9")
    assert (said.code, "--page a9" in said.err) == (2, True)


@pytest.mark.parametrize("name", ["film", "film.jpg", "film.svg", ".pdf"])
def test_a_file_of_another_format_is_refused(make, name):
    said = make(out=name)
    assert (said.code, "--out" in said.err) == (2, True)


def test_a_folder_is_no_file(call, picture, tmp_path):
    (tmp_path / "folder.pdf").mkdir()
    for out in ("folder.pdf", "nowhere/film.pdf"):
        said = call("negative", "make", str(picture), "--out", str(tmp_path / out), *SMALL)
        assert (said.code, "--out" in said.err) == (2, True)


def test_a_picture_that_is_none_is_named_by_its_path(call, tmp_path):
    text = tmp_path / "notes.png"
    text.write_text("the tide turns at noon")
    for path, words in (
        (text, "this is text"),
        (tmp_path / "gone.png", "a file that is there"),
        (tmp_path, "a file"),
    ):
        for command in (("make", str(path), "--out", str(tmp_path / "film.pdf")), ("look", str(path))):
            said = call("negative", *command)
            assert said.code == 2
            assert str(path) in said.err
            assert words in said.err


def test_pictures_that_are_too_long_are_refused_unread(call, picture, tmp_path, monkeypatch):
    monkeypatch.setattr(negative_files, "MOST_BYTES", 100)
    said = call("negative", "look", str(picture))
    assert (said.code, "at most 100 bytes" in said.err) == (2, True)


def test_a_look_tells_what_a_picture_is(call, picture):
    said = call("negative", "look", str(picture))
    assert said.code == 0
    assert "PNG, 90 x 60 pixels, 8 bits" in flowing(said.out)
    assert told(call("negative", "look", str(picture), "--json"))["pictures"][0]["width_px"] == 90


@pytest.mark.parametrize("aid", [("wedge", "--steps", "11"), ("mask", "--strips", "5", "--step", "0.333")])
def test_aids_are_written_and_kept(call, tmp_path, aid):
    asked = ("negative", *aid, "--out", str(tmp_path / "aid.png"), "--dpi", "72")
    said = call(*asked)
    assert said.code == 0, said.err
    assert "without any tone correction" in said.out
    assert Image.open(io.BytesIO((tmp_path / "aid.png").read_bytes())).mode == "I;16"
    assert call(*asked).code == 2
    mirrored = (tmp_path / "aid.png").read_bytes()
    assert call(*asked, "--no-mirror", "--force").code == 0
    assert (tmp_path / "aid.png").read_bytes() != mirrored


def test_the_command_knows_the_service_s_limit():
    from noonframe.negative.kinds import MOST_BYTES

    assert negative_files.MOST_BYTES == MOST_BYTES


def test_the_demo_s_tide_table_becomes_a_film(call, tmp_path, checkout):
    source = checkout / "data" / "pictures" / "tide-table.jpg"
    before = source.read_bytes()
    out = tmp_path / "film.png"
    options = ("--straighten", "-2.3", "--crop", "0.07,0.065,0.84,0.84", "--levels", "auto", "--dpi", "72")
    said = call(
        "negative",
        "make",
        str(source),
        *options,
        "--width",
        "150",
        "--wedge",
        "21",
        "--out",
        str(out),
        "--json",
    )
    one = told(said)["negatives"][0]
    assert one["look"]["orientation"] == 6
    assert one["width_mm"] == pytest.approx(150.0)
    film = np.asarray(Image.open(out)).astype(int)[:, ::-1]
    inside = film[40:-150, 40:420]
    assert np.median(inside) < 25_000  # light paper is inked
    assert inside.max() > 60_000  # dark print is bare film
    assert source.read_bytes() == before
