"""Derive `sensitizers.csv` and its sidecar from the typed action spectra.

Run from anywhere: `python data/builders/build_sensitizers.py`.  Rows 10 nm apart are joined by a
shape-preserving cubic, which makes no bumps between the rows.
"""

import hashlib
from typing import Any

import numpy as np
from sheet_spectra import DATA, SHOWN_DIGITS, as_csv, on_boxes, write

from noonframe.datafiles import read_columns
from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.types import FloatArray

SENSITIZERS: dict[str, dict[str, Any]] = {
    "citrate-classic": {
        "label": "Classic iron citrate and ferricyanide coat",
        "column": "citrate_classic",
        "target_j_m2": 24000.0,
        "target_spread_stops": 1.0,
        "provenance": "target: common practice, no source: 2 J/cm² of UVA (315-400 nm) at the sheet for full "
        "density, 68 % between 1 and 4, times 1.2 effective per UVA in open sun. Action: see notes",
    },
    "oxalate-variant": {
        "label": "Iron oxalate and ferricyanide coat",
        "column": "oxalate_variant",
        # A sixth of the classic target, between a fourth and an eighth: half a stop either way, in quadrature
        # with the classic coat's one stop.
        "target_j_m2": 24000.0 / 6.0,
        "target_spread_stops": round(float(np.hypot(1.0, 0.5 * np.log2(8.0 / 4.0))), 3),
        "provenance": "target: a sixth (a fourth to an eighth) of the classic coat's; M. Ware's published "
        "workshop notes (2019, 2022) give about an eighth, practice about a fifth. Action: see notes",
    },
}


def build_sensitizers() -> tuple[str, dict[str, Any]]:
    """Text of `sensitizers.csv` and its sidecar."""
    table = read_columns(DATA / "sensitizer_action_nodes.csv")
    nm = table["wavelength_nm"]
    columns: dict[str, FloatArray] = {"wavelength_nm": WAVELENGTH_NM}
    meanings: dict[str, Any] = {"wavelength_nm": {"unit": "nm", "meaning": "centre of the 5 nm box"}}
    records: dict[str, Any] = {}
    for identity, record in SENSITIZERS.items():
        action = on_boxes(nm, table[record["column"]])
        columns[identity] = np.round(action / action.max(), SHOWN_DIGITS)
        columns[identity + ".sigma"] = np.round(
            on_boxes(nm, table[record["column"] + "_sigma"]), SHOWN_DIGITS
        )
        meanings[identity] = {"unit": "1", "meaning": f"{record['label']}: action per unit energy, peak 1"}
        meanings[identity + ".sigma"] = {
            "unit": "1",
            "meaning": "its standard deviation; 0 where it is normalised",
        }
        records[identity] = {key: value for key, value in record.items() if key != "column"}
    text = as_csv(columns)
    side = {
        "source": "derived from sensitizer_action_nodes.csv",
        "reference": "see sensitizer_action_nodes.json",
        "licence": "project's own model",
        "retrieved": "2026-11-25",
        "columns": meanings,
        "sha256": hashlib.sha256(text.encode()).hexdigest(),
        "builder": "builders/build_sensitizers.py",
        "notes": "Action modelled from quantum yields and molar absorptivities, with ferricyanide as an "
        "inner filter; no measured action spectrum of a coated sheet was found. Below 300 nm the 300 nm "
        "value is held.",
        "sensitizers": records,
    }
    return text, side


def main() -> None:
    write("sensitizers", *build_sensitizers())


if __name__ == "__main__":
    main()
