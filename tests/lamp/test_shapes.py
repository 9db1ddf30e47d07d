"""Line shapes summed into boxes keep their energy, and the shipped spectra are what they say."""

import importlib
import json

import numpy as np
import pytest
from scipy.integrate import quad

from noonframe.datafiles import data_folder
from noonframe.errors import DataFileError, OutOfDomain, UnknownName
from noonframe.lamp.kinds import find_lamp_kind, lamp_catalogue
from noonframe.lamp.shapes import BOX_NM, Line, boxes_of
from noonframe.stack.grid import HALF_BOX_NM, WAVELENGTH_NM

KINDS = tuple(lamp_catalogue())


@pytest.mark.parametrize("width_nm", [0.05, 0.3, 5.0, 12.0])
@pytest.mark.parametrize("peak_nm", [360.0, 362.5, 363.1])
def test_a_line_keeps_its_energy_however_narrow_and_wherever_in_its_box(peak_nm, width_nm):
    boxes = boxes_of([Line(peak_nm, width_nm, width_nm)])
    assert boxes.sum() * BOX_NM == pytest.approx(1.0, abs=1e-9)


def test_a_box_holds_the_integral_of_the_curve_over_it():
    line = Line(395.0, 5.4, 6.6)

    def curve(nm):
        half = line.short_half_width_nm if nm < line.peak_nm else line.long_half_width_nm
        return 0.5 ** (((nm - line.peak_nm) / half) ** 2)  # half as much at the half width, by definition

    whole = quad(curve, 300.0, 480.0, points=[395.0], limit=400)[0]
    boxes = boxes_of([line])
    for index in range(WAVELENGTH_NM.size):
        low, high = WAVELENGTH_NM[index] - HALF_BOX_NM, WAVELENGTH_NM[index] + HALF_BOX_NM
        inside = [395.0] if low < 395.0 < high else None
        assert boxes[index] * BOX_NM == pytest.approx(
            quad(curve, low, high, points=inside)[0] / whole, abs=1e-9
        )


def test_energy_outside_the_boxes_is_not_moved_into_them():
    boxes = boxes_of([Line(482.5, 10.0, 10.0)])
    assert boxes.sum() * BOX_NM == pytest.approx(0.5, abs=1e-9)


def test_shares_must_add_up():
    with pytest.raises(OutOfDomain, match="share"):
        boxes_of([Line(365.0, 5.0, 5.0, 0.5)])


@pytest.mark.parametrize(
    ("fields", "name"),
    [
        ((float("nan"), 5.0, 5.0), "peak_nm"),
        ((365.0, 0.0, 5.0), "short_half_width_nm"),
        ((365.0, 5.0, float("nan")), "long_half_width_nm"),
        ((365.0, 5.0, 5.0, 0.0), "share"),
    ],
)
def test_a_line_out_of_bounds_is_refused(fields, name):
    with pytest.raises(OutOfDomain, match=name):
        Line(*fields)


@pytest.mark.parametrize("identity", KINDS)
def test_a_shipped_spectrum_holds_all_its_power_and_peaks_where_it_says(identity):
    kind = find_lamp_kind(identity)
    for boxes in (kind.boxes, kind.boxes_short, kind.boxes_long):
        assert boxes.sum() * BOX_NM == pytest.approx(1.0, abs=2e-6)
    assert abs(WAVELENGTH_NM[int(np.argmax(kind.boxes))] - kind.peak_nm) <= 5.0
    mean = [float(boxes @ WAVELENGTH_NM) for boxes in (kind.boxes_short, kind.boxes, kind.boxes_long)]
    assert mean[0] < mean[1] < mean[2]
    assert "no source" in kind.provenance


def test_the_shipped_file_is_what_its_builder_makes(monkeypatch):
    folder = data_folder() / "builders"
    if not folder.is_dir():
        pytest.skip("builders are not part of an installation")
    monkeypatch.syspath_prepend(str(folder))
    for builder, function, name in (
        ("build_lamp_spectra", "build_lamp_spectra", "lamp_spectra"),
        ("build_stack_objects", "build_objects", "stack_objects"),
    ):
        text, side = getattr(importlib.import_module(builder), function)()
        assert text == (data_folder() / f"{name}.csv").read_text(encoding="utf-8")
        assert side == json.loads((data_folder() / f"{name}.json").read_text(encoding="utf-8"))


def test_an_unknown_kind_is_told_with_the_nearest():
    with pytest.raises(UnknownName, match="led-365"):
        find_lamp_kind("led365")


def test_a_spectrum_of_ones_own_is_read_and_scaled_to_its_power(tmp_path):
    rows = "\n".join(f"{nm},{max(0, 10 - abs(nm - 390))}" for nm in range(300, 481, 5))
    (tmp_path / "My Strip.lamp.csv").write_text(f"# label: my strip\nwavelength_nm,relative_power\n{rows}\n")
    kind = find_lamp_kind("own-my-strip", tmp_path)
    assert kind.boxes.sum() * BOX_NM == pytest.approx(1.0, abs=1e-12)
    assert (kind.peak_nm, kind.how_known, kind.label) == (390.0, "own file", "my strip")


def test_a_dark_spectrum_of_ones_own_is_refused(tmp_path):
    (tmp_path / "dark.lamp.csv").write_text(
        "wavelength_nm,relative_power\n" + "\n".join(f"{nm},0" for nm in range(300, 481, 20)) + "\n"
    )
    with pytest.raises(DataFileError, match="relative_power"):
        find_lamp_kind("own-dark", tmp_path)
