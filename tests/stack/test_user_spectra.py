"""Spectra of the user's own, from CSV files."""

import os
from pathlib import Path

import numpy as np
import pytest

from noonframe.errors import DataFileError, UnknownName
from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.stack.materials import find_material, material_catalogue, parse_stack
from noonframe.stack.sensitizers import find_sensitizer, sensitizer_catalogue
from noonframe.stack.user_spectra import box_means, read_spectrum

SHEET = "wavelength_nm,transmittance\n"
ACTION = "wavelength_nm,relative_action\n"


def ramp(low_nm: int = 300, high_nm: int = 480, step_nm: int = 10, top: float = 0.9) -> str:
    rows = range(low_nm, high_nm + 1, step_nm)
    return "".join(f"{nm},{top * (nm - low_nm) / (high_nm - low_nm):.6f}\n" for nm in rows)


def put(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_pane_of_ones_own_joins_the_catalogue(tmp_path):
    put(tmp_path, "Attic Pane 2.pane.csv", "# label: Attic pane, wired\n" + SHEET + ramp())
    catalogue = material_catalogue(tmp_path)
    assert set(material_catalogue()) < set(catalogue)
    pane = parse_stack("own-attic-pane-2,polyester-film", tmp_path).materials[0]
    assert (pane.label, pane.kind, pane.how_known) == ("Attic pane, wired", "pane", "own file")
    assert pane.refractive_index == 1.5
    expected = 0.9 * (350.0 - 300.0) / 180.0
    assert pane.transmittance[WAVELENGTH_NM == 350.0] == pytest.approx(expected)


def test_boxes_take_the_mean_of_the_lines_between_rows():
    # A line keeps its value at the centre of a whole box; the half boxes at the ends take it a quarter in.
    line = box_means(np.array([300.0, 480.0]), np.array([0.0, 1.8]))
    inside = (WAVELENGTH_NM > 300.0) & (WAVELENGTH_NM < 480.0)
    assert line[inside] == pytest.approx((WAVELENGTH_NM[inside] - 300.0) / 100.0, abs=1e-12)
    assert line[WAVELENGTH_NM == 300.0] == pytest.approx(0.0125)
    assert line[WAVELENGTH_NM == 480.0] == pytest.approx(1.7875)
    # A triangle of height 1 and half-width 2.5 nm fills half of its box.
    nm = np.array([300.0, 397.5, 400.0, 402.5, 480.0])
    peak = box_means(nm, np.array([0.0, 0.0, 1.0, 0.0, 0.0]))
    assert peak[WAVELENGTH_NM == 400.0] == pytest.approx(0.5)
    assert peak[(WAVELENGTH_NM < 399.0) | (WAVELENGTH_NM > 401.0)] == pytest.approx(np.zeros(40), abs=1e-15)


def test_boxes_below_the_file_hold_its_first_value(tmp_path):
    path = put(tmp_path, "a.film.csv", SHEET + "300,0.25\n" + ramp(310, 480, 10))
    values = read_spectrum(path).values
    assert np.all(values[WAVELENGTH_NM < 297.0] == 0.25)


def test_finer_and_wider_files_than_needed_are_read(tmp_path):
    path = put(tmp_path, "fine.pane.csv", SHEET + ramp(250, 700, 1))
    values = read_spectrum(path).values
    assert values == pytest.approx(0.9 * (WAVELENGTH_NM - 250.0) / 450.0, abs=1e-6)


def test_a_very_clear_sheet_lowers_its_index_instead_of_being_refused(tmp_path):
    put(
        tmp_path,
        "coated.film.csv",
        "# refractive_index: 1.65\n" + SHEET + "".join(f"{nm},0.98\n" for nm in range(300, 481, 10)),
    )
    film = find_material("own-coated", tmp_path)
    assert film.refractive_index < 1.25
    assert np.all(film.transmittance == pytest.approx(0.98))
    assert np.all(film.transmittance_high >= film.transmittance)


def test_a_sensitizer_of_ones_own_is_scaled_to_its_peak(tmp_path):
    rows = "".join(f"{nm},{50.0 if nm == 380 else 10.0}\n" for nm in range(300, 481, 5))
    put(tmp_path, "brown.sensitizer.csv", "# target_j_m2: 9000\n# target_spread_stops: 0.5\n" + ACTION + rows)
    own = find_sensitizer("own-brown", tmp_path)
    assert own.action.max() == 1.0
    assert WAVELENGTH_NM[np.argmax(own.action)] == 380.0
    assert (own.target_j_m2, own.target_spread_stops) == (9000.0, 0.5)
    assert "own-brown" not in material_catalogue(tmp_path)
    assert "own-brown" in sensitizer_catalogue(tmp_path)


def test_a_sensitizer_without_a_target_says_that_it_borrows_one(tmp_path):
    put(tmp_path, "x.sensitizer.csv", ACTION + ramp())
    own, classic = find_sensitizer("own-x", tmp_path), find_sensitizer("citrate-classic")
    assert own.target_j_m2 == classic.target_j_m2
    assert own.target_spread_stops > classic.target_spread_stops
    assert "not given" in own.provenance


def test_the_folder_is_read_again_when_a_file_changes(tmp_path):
    path = put(tmp_path, "a.pane.csv", SHEET + ramp(top=0.9))
    first = find_material("own-a", tmp_path)
    assert find_material("own-a", tmp_path) is first
    put(tmp_path, "a.pane.csv", SHEET + ramp(top=0.5))
    stat = path.stat()
    os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns + 1_000_000_000))
    second = find_material("own-a", tmp_path)
    assert second != first
    path.unlink()
    with pytest.raises(UnknownName):
        find_material("own-a", tmp_path)


def test_other_files_in_the_folder_are_left_alone(tmp_path):
    put(tmp_path, "notes.csv", "nothing to see")
    assert set(material_catalogue(tmp_path)) == set(material_catalogue())


def test_a_damaged_file_does_not_stand_in_the_way_of_shipped_sheets(tmp_path):
    put(tmp_path, "bad.pane.csv", "rubbish")
    assert find_material("float-glass-4mm", tmp_path) == find_material("float-glass-4mm")
    assert find_sensitizer("citrate-classic", tmp_path) == find_sensitizer("citrate-classic")
    with pytest.raises(DataFileError, match=r"bad\.pane\.csv"):
        find_material("own-good", tmp_path)


@pytest.mark.parametrize(
    ("name", "text", "where", "what"),
    [
        ("a.pane.csv", "", "a.pane.csv:1", "header"),
        ("a.pane.csv", ACTION + ramp(), "a.pane.csv:1", "wavelength_nm,transmittance"),
        ("a.sensitizer.csv", SHEET + ramp(), "a.sensitizer.csv:1", "relative_action"),
        ("a.pane.csv", SHEET, "a.pane.csv", "no rows"),
        ("a.pane.csv", SHEET + ramp(310, 480), "a.pane.csv", "310 to 480"),
        ("a.pane.csv", SHEET + ramp(300, 470), "a.pane.csv", "300 to 470"),
        ("a.pane.csv", SHEET + "300,0.5\n480,0.5\n", "a.pane.csv:3", "at most 20"),
        ("a.pane.csv", SHEET + "300,0.5\n310,87\n", "a.pane.csv:3", "percent"),
        ("a.pane.csv", SHEET + "300,0.5\n310,-0.1\n", "a.pane.csv:3", "negative"),
        ("a.pane.csv", SHEET + "300,0.5\n310,nan\n", "a.pane.csv:3", "not a finite number"),
        ("a.pane.csv", SHEET + "300,0.5\n310,\n", "a.pane.csv:3", "not a number"),
        ("a.pane.csv", SHEET + "300,0.5\n310\n", "a.pane.csv:3", "1 cells"),
        ("a.pane.csv", SHEET + "300,0.5\n300,0.5\n", "a.pane.csv:3", "above the row before"),
        ("a.pane.csv", SHEET + "\n300,0.5\n310,0.5\n305,0.5\n", "a.pane.csv:5", "above the row before"),
        ("a.pane.csv", SHEET + "0.3,0.5\n", "a.pane.csv:2", "nanometres"),
        ("a.pane.csv", "# colour: blue\n" + SHEET + ramp(), "a.pane.csv:1", "refractive_index"),
        ("a.pane.csv", "# refractive_index: 9\n" + SHEET + ramp(), "a.pane.csv:1", "between 1 and 3"),
        ("a.pane.csv", "# target_j_m2: 9\n" + SHEET + ramp(), "a.pane.csv:1", "refractive_index"),
        ("a.pane.csv", "# label:\n" + SHEET + ramp(), "a.pane.csv:1", "characters"),
        ("a.pane.csv", SHEET + "# late: 1\n" + ramp(), "a.pane.csv:2", "before the header"),
        ("a.sensitizer.csv", ACTION + ramp(top=0.0), "a.sensitizer.csv", "zero"),
        ("a.sensitizer.csv", ACTION + "300,-1\n", "a.sensitizer.csv:2", "negative"),
        ("-.pane.csv", SHEET + ramp(), "-.pane.csv", "Latin letter"),
    ],
)
def test_a_bad_file_is_refused_with_its_name_and_row(tmp_path, name, text, where, what):
    path = put(tmp_path, name, text)
    with pytest.raises(DataFileError) as caught:
        read_spectrum(path)
    assert caught.value.value == where
    assert what in str(caught.value)


def test_a_late_comment_is_refused_even_after_the_header(tmp_path):
    path = put(tmp_path, "a.pane.csv", SHEET + ramp() + "# label: late\n")
    with pytest.raises(DataFileError, match="before the header"):
        read_spectrum(path)


def test_text_in_another_coding_and_a_missing_file_are_refused(tmp_path):
    path = tmp_path / "a.pane.csv"
    path.write_bytes(b"\xff\xfe\x00w")
    with pytest.raises(DataFileError, match="UTF-8"):
        read_spectrum(path)
    with pytest.raises(DataFileError, match=r"b\.pane\.csv"):
        read_spectrum(tmp_path / "b.pane.csv")
    with pytest.raises(DataFileError, match="must end in"):
        read_spectrum(tmp_path / "b.csv")


def test_two_files_with_one_id_are_refused(tmp_path):
    put(tmp_path, "my film.film.csv", SHEET + ramp())
    put(tmp_path, "My-Film.pane.csv", SHEET + ramp())
    with pytest.raises(DataFileError, match="own-my-film"):
        material_catalogue(tmp_path)


def test_a_folder_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(DataFileError, match="cannot be listed"):
        material_catalogue(tmp_path / "nowhere")
