"""Film printers, tone corrections and previews on the command line."""

import io
import json
import shlex
import shutil

import numpy as np
import pytest
from PIL import Image

from noonframe.datafiles import data_folder

STEPS = (
    "0.11,0.15,0.2,0.27,0.36,0.46,0.58,0.71,0.86,1.02,1.19,1.36,1.53,1.7,1.86,2.0,2.12,2.21,2.28,2.32,2.34"
)
WEDGE = (
    "step,print\n0.0,1.42\n0.3,1.41\n0.6,1.36\n0.9,1.18\n1.2,0.89\n1.5,0.58\n1.8,0.34\n2.1,0.2\n2.4,0.13\n"
)
TIDES = data_folder() / "pictures" / "tide-table.jpg"


@pytest.fixture
def bench(call, tmp_path, monkeypatch):
    """The command line with a state folder of its own, in a folder of its own."""
    monkeypatch.setenv("NOONFRAME_STATE_DIR", str(tmp_path / "state"))
    monkeypatch.chdir(tmp_path)
    return call


def works(call, *arguments):
    said = call(*arguments)
    assert said.code == 0, said.err
    return said.out


def refused(call, *arguments):
    said = call(*arguments)
    assert said.code == 2, (said.code, said.err, said.out)
    return said.err


def test_a_film_printer_is_added_listed_shown_and_changed(bench, tmp_path):
    (tmp_path / "steps.csv").write_text(STEPS.replace(",", "\n"), encoding="utf-8")
    assert "full ink 2.23" in works(bench, "film-printer", "add", "upstairs", "--film", "steps.csv")
    assert "upstairs" in works(bench, "film-printer", "list")
    works(bench, "film-printer", "change", "upstairs", "--full-density", "1.9", "--notes", "new ink")
    shown = works(bench, "film-printer", "show", "upstairs")
    assert "version 2" in shown
    assert "Notes: new ink." in shown
    works(bench, "film-printer", "retire", "upstairs")
    assert "No film printers" in works(bench, "film-printer", "list")


def test_a_film_printer_is_told_by_a_print_or_a_scan_of_it(bench, tmp_path):
    (tmp_path / "wedge.csv").write_text(WEDGE, encoding="utf-8")
    densities = "1.4,1.38,1.3,1.1,0.8,0.5,0.3,0.2,0.14,0.12"
    told = works(bench, "film-printer", "add", "a", "--print", densities, "--readings", "wedge.csv")
    assert "read from a print" in told
    codes = "52,53,56,60,80,120,160,190,205,210"
    scan = ("--scan", codes, "--paper-code", "225", "--readings", "wedge.csv")
    assert "read from a print" in works(bench, "film-printer", "add", "b", *scan)


@pytest.mark.parametrize(
    ("typed", "named"),
    [
        ((), "--film, --print, --scan or --full-density"),
        (("--film", "0.1,0.5,0.3,0.9,1.2"), "--film, step 3"),
        (("--film", "0.1,dark"), "--film 0.1,dark"),
        (("--film", ""), "--film"),
        (("--film", STEPS, "--full-density", "2"), "--full-density"),
        (("--film", STEPS, "--recipe", "kelp"), "--recipe: must be left out with --film"),
        (("--zeroed",), "--zeroed"),
        (("--noise", "0.1"), "--noise"),
        (("--full-density", "99"), "--full-density"),
        (("--full-density", "2", "--noise", "0.1"), "--noise"),
        (("--print", "1.4,1.2,0.8,0.4,0.2"), "--recipe or --readings"),
        (("--print", "1.4,1.2,0.8,0.4,0.2", "--readings", "nowhere.csv"), "nowhere.csv"),
    ],
)
def test_what_is_amiss_is_told_by_the_option_that_said_it(bench, typed, named):
    assert named in refused(bench, "film-printer", "add", "odd", *typed)


def test_a_tone_correction_is_a_table_and_a_drawing(bench, tmp_path):
    (tmp_path / "wedge.csv").write_text(WEDGE, encoding="utf-8")
    works(bench, "film-printer", "add", "upstairs", "--film", STEPS)
    typed = ("--readings", "wedge.csv", "--film-printer", "upstairs")
    out = works(bench, "negative", "tone", *typed, "--picture", "tone.svg")
    assert "Tones even in print density" in out
    assert (tmp_path / "tone.svg").read_text(encoding="utf-8").startswith("<svg")
    told = json.loads(works(bench, "negative", "tone", *typed, "--even", "lightness", "--json"))
    assert told["even"] == "lightness"
    assert len(told["table"]) == 21


def test_the_tide_table_is_previewed_and_made_for_a_recipe(bench, tmp_path):
    works(bench, "recipe", "add", "kelp on cotton")
    works(bench, "film-printer", "add", "inkjet upstairs", "--film", STEPS)
    shutil.copy(TIDES, tmp_path / "tide.jpg")
    before = (tmp_path / "tide.jpg").read_bytes()
    typed = ("tide.jpg", "--straighten", "-2.3", "--levels", "auto")
    tone = ("--recipe", "kelp on cotton", "--film-printer", "inkjet upstairs")
    out = works(bench, "negative", "preview", *typed, *tone, "--out", "tide.png", "--longest", "200")
    assert "printed at the target" in out
    assert "Not shown:" in out
    picture = np.asarray(Image.open(tmp_path / "tide.png").convert("RGB")).astype(int)
    assert picture.shape[0] == 200 + 54
    assert "is there already" in refused(bench, "negative", "preview", *typed, "--out", "tide.png")
    made = works(bench, "negative", "make", *typed, *tone, "--dpi", "72", "--page", "a6", "--out", "film.png")
    assert "Tones even in print density" in made
    assert "Exposure: the film's clearest part" in made
    plain = works(bench, "negative", "make", *typed, "--dpi", "72", "--page", "a6", "--out", "plain.png")
    assert "without a tone correction" in " ".join(plain.split())
    films = [
        np.asarray(Image.open(io.BytesIO((tmp_path / name).read_bytes())))
        for name in ("film.png", "plain.png")
    ]
    assert films[0].shape == films[1].shape
    assert np.abs(films[0].astype(int) - films[1].astype(int)).max() > 5000
    assert (tmp_path / "tide.jpg").read_bytes() == before


@pytest.mark.parametrize(
    ("typed", "named"),
    [
        (("--film-printer", "nobody"), "--film-printer nobody"),
        (("--recipe", "nobody"), "--recipe nobody"),
        (("--d-max", "0.1"), "--d-max"),
        (("--even", "loudness"), "--even"),
        (("--stops", "a,b"), "--stops"),
        (("--stops", "9"), "--stops"),
        (("--longest", "5"), "--longest"),
        (("--paper-colour", "white"), "--paper-colour"),
        (("--contrast", "99"), "--contrast"),
    ],
)
def test_a_preview_that_cannot_be_leaves_no_file(bench, tmp_path, typed, named):
    assert named in refused(bench, "negative", "preview", str(TIDES), *typed, "--out", "no.png")
    assert not (tmp_path / "no.png").exists()


def test_a_preview_goes_into_a_png_and_never_over_its_picture(bench, tmp_path):
    assert ".png" in refused(bench, "negative", "preview", str(TIDES), "--out", "no.pdf")
    Image.new("L", (120, 120), 128).save(tmp_path / "kelp.png")
    same = refused(bench, "negative", "preview", "kelp.png", "--force", "--out", "kelp.png")
    assert "never changed" in same


def test_densities_read_with_a_wedge_are_the_recipes_curve(bench):
    works(bench, "recipe", "add", "read")
    wedge = ("--wedge-steps", "9", "--wedge-step", "0.3", "--dose", "96000", "--last-full", "3")
    densities = "1.42,1.41,1.36,1.18,0.89,0.58,-,0.20,0.13"
    works(bench, "strip", "read", "read", *wedge, "--densities", densities)
    told = json.loads(works(bench, "negative", "tone", "--recipe", "read", "--json"))
    assert told["paper"]["says"] == "a step wedge told for the recipe read"
    amiss = refused(
        bench, "strip", "read", "read", *wedge, "--densities", "1.42,1.41,1.36,1.6,0.9,0.5,0.3,0.2,0.1"
    )
    assert "--densities, step" in amiss
    assert "--densities" in refused(bench, "strip", "read", "read", *wedge, "--densities", "dark")


@pytest.mark.parametrize(
    ("stack", "density"),
    [("float-glass-4mm", ["--negative-density", "0.11", "--negative-includes-base"]), (None, [])],
    ids=["read through its base", "base in the stack"],
)
def test_a_film_page_names_the_exposure_that_goes_with_it(bench, tmp_path, stack, density):
    works(bench, "recipe", "add", "kelp on cotton", *([] if stack is None else ["--stack", stack]))
    works(bench, "film-printer", "add", "inkjet upstairs", "--film", STEPS)
    typed = ("--recipe", "kelp on cotton", "--film-printer", "inkjet upstairs", "--dpi", "72", "--page", "a6")
    made = works(bench, "negative", "make", str(TIDES), *typed, "--target", "21000", "--out", "film.png")
    now, judge = (shlex.split(line) for line in made.replace("\\\n", " ").splitlines()[-2:])
    carried = ["--recipe", "kelp on cotton", "--target", "21000", *density]
    assert now == ["noonframe", "now", *carried, "--place", "PLACE"]
    assert judge[-2:] == ["--film", "film.png"]
    start = ("--start", "2026-06-21 12:00")
    with_film = json.loads(works(bench, *now[1:-1], "quayside-yard", *start, "--json"))
    assert with_film["target_j_m2"] == 21000
    works(bench, "lamp", "add", "box", "--kind", "uv-a-tube-368", "--reading-mw", "6")
    under = json.loads(works(bench, "now", *carried, "--lamp", "box", *start, "--json"))
    assert under["basis"]["stack"] == with_film["basis"]["stack"]
    assert ("negative-0.11-with-base" in under["basis"]["stack"]) == bool(density)


def test_the_log_names_the_film_that_a_print_was_made_from(bench, tmp_path):
    works(bench, "recipe", "add", "kelp on cotton")
    works(
        bench,
        "judge",
        "kelp on cotton",
        "right",
        "--dose",
        "21000",
        "--name",
        "kelp",
        "--film",
        "no/kelp.pdf",
    )
    assert "Film: no/kelp.pdf" in works(bench, "prints", "show", "last")  # nothing looks for it
    assert "kelp" in works(bench, "prints", "search", "kelp.pdf")
    assert ",no/kelp.pdf," in works(bench, "prints", "export", "csv")
    works(bench, "prints", "change", "kelp", "--film", "", "--photo", "https://photos.example/kelp.jpg")
    shown = works(bench, "prints", "show", "kelp")
    assert "Film:" not in shown
    assert "Photo: https://photos.example/kelp.jpg" in shown
