"""Write `lamp_spectra.csv` and its sidecar from line shapes.

Run from anywhere: `python data/builders/build_lamp_spectra.py`.  Beside each spectrum stand the same with all
phosphor and LED lines moved by the tolerance of their peak, to short and to long waves.
"""

import hashlib
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from sheet_spectra import as_csv, write

from noonframe.lamp.shapes import BOX_NM, Line, boxes_of
from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.types import FloatArray

_DIGITS = 9
_MODELLED = "modelled line shape; common practice, no source"
_MERCURY_HALF_WIDTH_NM = 0.3

# Allowances for lamps of each family: common practice, no source.
_TUBE: dict[str, Any] = {
    "family": "tube",
    "efficiency": 0.2,
    "efficiency_spread_stops": 0.4,
    "start_share": 0.65,
    "time_constant_s": 120.0,
    "loss_per_1000_h": 0.2,
    "peak_tolerance_nm": 3.0,
}
_LED: dict[str, Any] = {
    "family": "led",
    "efficiency_spread_stops": 0.6,
    "start_share": 1.0,
    "time_constant_s": 0.0,
    "loss_per_1000_h": 0.03,
    "peak_tolerance_nm": 5.0,
}


@dataclass(frozen=True)
class Kind:
    """A lamp before it is summed into boxes: its own line or band, and what mercury adds."""

    label: str
    main: Line
    mercury: tuple[Line, ...]
    record: dict[str, Any]

    def boxes(self, moved_nm: float = 0.0) -> FloatArray:
        """Its spectrum on the boxes, with its own line moved so far."""
        return boxes_of([replace(self.main, peak_nm=self.main.peak_nm + moved_nm), *self.mercury])


def _mercury(*shares: float) -> tuple[Line, ...]:
    # 365.0, 404.7 and 435.8 nm: NIST Atomic Spectra Database, Hg I
    peaks = (365.02, 404.66, 435.83)
    pairs = zip(peaks, shares, strict=True)
    return tuple(Line(peak, _MERCURY_HALF_WIDTH_NM, _MERCURY_HALF_WIDTH_NM, share) for peak, share in pairs)


def _led(peak_nm: float, full_width_nm: float, efficiency: float) -> Kind:
    # an LED falls off more slowly to long waves: 45 and 55 % of the full width
    line = Line(peak_nm, 0.45 * full_width_nm, 0.55 * full_width_nm)
    record = {**_LED, "efficiency": efficiency, "full_width_nm": full_width_nm}
    return Kind(f"LED, {peak_nm:g} nm", line, (), record)


KINDS: dict[str, Kind] = {
    "uv-a-tube-352": Kind(
        "Fluorescent UV-A tube with a broad band around 352 nm",
        Line(352.0, 18.0, 22.0, 0.94),
        _mercury(0.02, 0.015, 0.025),
        {**_TUBE, "full_width_nm": 40.0},
    ),
    "uv-a-tube-368": Kind(
        "Fluorescent UV-A tube with a narrow band around 368 nm",
        Line(368.0, 9.0, 10.0, 0.94),
        _mercury(0.02, 0.015, 0.025),
        {**_TUBE, "full_width_nm": 19.0},
    ),
    "led-365": _led(365.0, 10.0, 0.30),
    "led-385": _led(385.0, 11.0, 0.38),
    "led-395": _led(395.0, 12.0, 0.42),
    "led-405": _led(405.0, 14.0, 0.45),
}


def build_lamp_spectra() -> tuple[str, dict[str, Any]]:
    """Text of `lamp_spectra.csv` and its sidecar."""
    columns: dict[str, FloatArray] = {"wavelength_nm": WAVELENGTH_NM}
    meanings: dict[str, Any] = {"wavelength_nm": {"unit": "nm", "meaning": "centre of the 5 nm box"}}
    records: dict[str, Any] = {}
    for identity, kind in KINDS.items():
        tolerance = kind.record["peak_tolerance_nm"]
        for ending, moved, words in (
            ("", 0.0, ""),
            (".short", -tolerance, f", its own line {tolerance:g} nm to short waves"),
            (".long", tolerance, f", its own line {tolerance:g} nm to long waves"),
        ):
            columns[identity + ending] = np.round(kind.boxes(moved), _DIGITS)
            meanings[identity + ending] = {
                "unit": "1/nm",
                "meaning": f"{kind.label}: spectral power over all its power, mean of the box{words}",
            }
        records[identity] = {"label": kind.label, "peak_nm": kind.main.peak_nm, **kind.record}
        records[identity]["provenance"] = _MODELLED
        records[identity]["in_boxes"] = round(float(columns[identity].sum() * BOX_NM), 6)
    text = as_csv(columns)
    return text, {
        "source": "the project's own line shapes: split normal curves of a stated full width at half "
        "maximum, and for tubes the mercury lines at 365.0, 404.7 and 435.8 nm",
        "reference": "split normal curve: Wallis 2014, Statistical Science 29, 106-112; positions of the "
        "mercury lines: NIST Atomic Spectra Database (from memory)",
        "licence": "project's own model",
        "retrieved": "2026-11-25",
        "columns": meanings,
        "sha256": hashlib.sha256(text.encode()).hexdigest(),
        "builder": "builders/build_lamp_spectra.py",
        "notes": "Peaks are the nominal ones; widths (tubes 40 and 19 nm, LEDs 10 to 14 nm), shares of the "
        "mercury lines, tolerance of the peaks, efficiency (UV radiated over electrical power), warm-up and "
        "loss with age are common practice, no source: an own file or a reading goes before them.",
        "kinds": records,
    }


def main() -> None:
    write("lamp_spectra", *build_lamp_spectra())


if __name__ == "__main__":
    main()
