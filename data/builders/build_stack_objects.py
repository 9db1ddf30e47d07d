"""Write `stack_objects.csv` and its sidecar: what lies on a sheet and lets some light through.

Run from anywhere: `python data/builders/build_stack_objects.py`.
"""

import hashlib
from typing import Any

import numpy as np
from sheet_spectra import as_csv, write

from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.types import FloatArray

_PRACTICE = "common practice, no source"

# label; transmittance, and its 16 % and 84 % quantiles between specimens
OBJECTS: dict[str, tuple[str, float, float, float]] = {
    "leaf": ("Fresh green leaf", 0.06, 0.03, 0.12),
    "pressed-leaf": ("Thin pressed leaf or fern frond", 0.12, 0.06, 0.24),
    "petal": ("Thin petal", 0.25, 0.12, 0.5),
    "seaweed": ("Thin pressed seaweed", 0.2, 0.08, 0.45),
    "feather": ("Feather, vane", 0.3, 0.15, 0.6),
    "lace": ("Lace, its threads", 0.15, 0.06, 0.35),
    "tissue-paper": ("Tissue paper, about 20 g/m²", 0.4, 0.25, 0.6),
    "tracing-paper": ("Tracing paper, about 90 g/m²", 0.3, 0.18, 0.45),
    "copy-paper": ("White copy paper, 80 g/m²", 0.05, 0.02, 0.12),
}


def build_objects() -> tuple[str, dict[str, Any]]:
    """Text of `stack_objects.csv` and its sidecar."""
    columns: dict[str, FloatArray] = {"wavelength_nm": WAVELENGTH_NM}
    meanings: dict[str, Any] = {"wavelength_nm": {"unit": "nm", "meaning": "centre of the 5 nm box"}}
    records: dict[str, Any] = {}
    for identity, (label, likely, low, high) in OBJECTS.items():
        for ending, value, words in (
            ("", likely, "transmittance"),
            (".low", low, "transmittance, 16 % quantile between specimens"),
            (".high", high, "transmittance, 84 % quantile between specimens"),
        ):
            columns[identity + ending] = np.full(WAVELENGTH_NM.shape, value)
            meanings[identity + ending] = {"unit": "1", "meaning": f"{label}: {words}"}
        records[identity] = {"label": label, "range_sigmas": 2.0, "provenance": _PRACTICE}
    text = as_csv(columns)
    return text, {
        "source": "common practice, no source: what such things are seen to print like under a classic coat",
        "reference": "no measured spectrum was found that fits objects picked by a printer",
        "licence": "project's own",
        "retrieved": "2026-11-25",
        "columns": meanings,
        "sha256": hashlib.sha256(text.encode()).hexdigest(),
        "builder": "builders/build_stack_objects.py",
        "notes": "One figure for all wavelengths, and a range of a stop or so either way: such things differ "
        "from specimen to specimen, and dry and wet, by more than over the wavelengths that count. They "
        "scatter, so the angle of the light is left out. White paper holds brighteners that swallow UV.",
        "objects": records,
    }


def main() -> None:
    write("stack_objects", *build_objects())


if __name__ == "__main__":
    main()
