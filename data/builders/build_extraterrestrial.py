"""Builds data/extraterrestrial.csv and extraterrestrial_1nm.csv from the ASTM G173-03 file that pvlib ships.

Run from the repository:  python data/builders/build_extraterrestrial.py
"""

import hashlib
import json
from pathlib import Path

import numpy as np
import pvlib
from numpy.typing import NDArray

DATA = Path(__file__).resolve().parents[1]
RETRIEVED = "2026-11-25"
SOURCE = Path(pvlib.__file__).parent / "data" / "ASTMG173.csv"


def box_means(
    wavelength_nm: NDArray[np.float64],
    irradiance: NDArray[np.float64],
    centres_nm: NDArray[np.float64],
    width_nm: float,
) -> NDArray[np.float64]:
    """Exact means of the piecewise linear spectrum over boxes, cut to the range the source covers."""
    steps = np.diff(wavelength_nm) * (irradiance[1:] + irradiance[:-1]) / 2.0
    running = np.concatenate([[0.0], np.cumsum(steps)])

    def integral_to(edge_nm: NDArray[np.float64]) -> NDArray[np.float64]:
        cell = np.clip(np.searchsorted(wavelength_nm, edge_nm, side="right") - 1, 0, wavelength_nm.size - 2)
        part = edge_nm - wavelength_nm[cell]
        slope = (irradiance[cell + 1] - irradiance[cell]) / (wavelength_nm[cell + 1] - wavelength_nm[cell])
        return running[cell] + part * (irradiance[cell] + 0.5 * slope * part)

    low = np.maximum(centres_nm - width_nm / 2.0, wavelength_nm[0])
    high = centres_nm + width_nm / 2.0
    return (integral_to(high) - integral_to(low)) / (high - low)


def write(name: str, centres_nm: NDArray[np.float64], means: NDArray[np.float64], width_nm: float) -> None:
    path = DATA / f"{name}.csv"
    rows = [f"{nm:g},{value:.6f}" for nm, value in zip(centres_nm, means, strict=True)]
    path.write_text("wavelength_nm,irradiance_w_m2_nm\n" + "\n".join(rows) + "\n", encoding="utf-8")
    record = {
        "source": "ASTM G173-03 reference spectra, extraterrestrial column, as shipped in"
        f" pvlib {pvlib.__version__} (data/ASTMG173.csv,"
        f" SHA-256 {hashlib.sha256(SOURCE.read_bytes()).hexdigest()})",
        "reference": "ASTM G173-03; C. A. Gueymard, Solar Energy 76, 423-453 (2004)",
        "licence": "published standard values; pvlib is BSD-3-Clause",
        "retrieved": RETRIEVED,
        "columns": {
            "wavelength_nm": {"unit": "nm", "meaning": f"centre of a box {width_nm:g} nm wide"},
            "irradiance_w_m2_nm": {
                "unit": "W m-2 nm-1",
                "meaning": "mean extraterrestrial normal irradiance over the box at 1 astronomical unit",
            },
        },
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "builder": "data/builders/build_extraterrestrial.py",
        "notes": "The source starts at 280 nm, so the first box is the mean of its upper half."
        " Published spectra differ by up to 6 % in single 5 nm boxes; compare integrals at least 20 nm wide.",
    }
    path.with_suffix(".json").write_text(json.dumps(record, indent=2) + "\n", encoding="utf-8")


def main() -> None:
    table = np.loadtxt(SOURCE, delimiter=",", skiprows=2, usecols=(0, 1))
    wavelength, irradiance = table[:, 0], table[:, 1]
    coarse = np.arange(280.0, 481.0, 5.0)
    fine = np.arange(280.0, 400.5, 1.0)
    write("extraterrestrial", coarse, box_means(wavelength, irradiance, coarse, 5.0), 5.0)
    write("extraterrestrial_1nm", fine, box_means(wavelength, irradiance, fine, 1.0), 1.0)


if __name__ == "__main__":
    main()
