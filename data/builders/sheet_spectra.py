"""What the builders of sheets and sensitizers share: joining rows, glass by thickness, scatter, writing."""

import csv
import io
import json
from pathlib import Path
from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator

from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.stack.optics import (
    effective_index,
    internal_transmittance,
    lossless_transmittance,
    normal_reflectance,
    pile,
)
from noonframe.types import FloatArray

DATA = Path(__file__).resolve().parents[1]
SHOWN_DIGITS = 5

GLASS_INDEX = 1.526
"""Soda-lime glass; the value the absorption coefficients were derived with."""

# Scatter of one sheet from another of the same kind, one standard deviation: common practice, no source.
BATCH_SCATTER = 0.07
EDGE_SHIFT_NM = 3.0


def on_boxes(wavelength_nm: FloatArray, values: FloatArray, below: float | None = None) -> FloatArray:
    """Values at the box centres; under the first row `below`, or that row's value held."""
    grid = PchipInterpolator(wavelength_nm, values)(np.maximum(WAVELENGTH_NM, wavelength_nm[0]))
    if below is not None:
        grid[wavelength_nm[0] > WAVELENGTH_NM] = below
    return np.asarray(grid, dtype=np.float64)


def glass_absorption_on_boxes(wavelength_nm: FloatArray, per_mm: FloatArray) -> FloatArray:
    """Absorption coefficient at the box centres, 1/mm; infinite (opaque) below 300 nm.

    From 300 to 315 nm, below the first row, ln a goes on with the slope of the first three rows, 315-325 nm:
    the band edge of soda-lime glass is close to exponential there.
    """
    grid = on_boxes(wavelength_nm, per_mm)
    start = wavelength_nm[0]
    slope = np.log(per_mm[2] / per_mm[0]) / (wavelength_nm[2] - start)
    under = start > WAVELENGTH_NM
    grid[under] = per_mm[0] * np.exp(slope * (WAVELENGTH_NM[under] - start))
    grid[WAVELENGTH_NM < 300.0] = np.inf
    return grid


def glass_transmittance(per_mm: FloatArray, thickness_mm: float, panes: int = 1) -> FloatArray:
    return pile(normal_reflectance(GLASS_INDEX), np.exp(-per_mm * thickness_mm), panes)[0]


def absorption_of_sample(transmittance: FloatArray, thickness_mm: float) -> FloatArray:
    internal = internal_transmittance(transmittance, GLASS_INDEX)
    return -np.log(internal) / thickness_mm


def batch_range(
    wavelength_nm: FloatArray,
    values: FloatArray,
    handbook_index: float,
    edge_shift_nm: float = EDGE_SHIFT_NM,
) -> tuple[FloatArray, FloatArray]:
    """Low and high spectra, one standard deviation either side, of a sheet known from one sample.

    Two scatters in quadrature: the whole curve by 7 %, and the absorption edge moved along the wavelengths.
    Nothing transmits more than bare surfaces allow.
    """
    curve = PchipInterpolator(wavelength_nm, values)
    first, last = wavelength_nm[0], wavelength_nm[-1]

    def moved(shift: float) -> FloatArray:
        return np.asarray(curve(np.clip(WAVELENGTH_NM + shift, first, last)), dtype=np.float64)

    nominal, red, blue = moved(0.0), moved(edge_shift_nm), moved(-edge_shift_nm)
    fall = np.hypot(BATCH_SCATTER * nominal, nominal - np.minimum(nominal, np.minimum(red, blue)))
    rise = np.hypot(BATCH_SCATTER * nominal, np.maximum(nominal, np.maximum(red, blue)) - nominal)
    limit = lossless_transmittance(effective_index(handbook_index, float(values.max())))
    return np.maximum(nominal - fall, 0.0), np.maximum(np.minimum(nominal + rise, limit), nominal)


def sealed_pair(first: FloatArray, second: FloatArray) -> FloatArray:
    """Transmittance of two different glass panes, with the light thrown to and fro between them."""
    surface = normal_reflectance(GLASS_INDEX)
    reflected = [pile(surface, internal_transmittance(t, GLASS_INDEX), 1)[1] for t in (first, second)]
    return first * second / (1.0 - reflected[0] * reflected[1])


def as_csv(columns: dict[str, FloatArray]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    for row in zip(*columns.values(), strict=True):
        writer.writerow([f"{value:.10g}" for value in row])
    return stream.getvalue()


def write(name: str, text: str, side: dict[str, Any]) -> None:
    (DATA / f"{name}.csv").write_text(text, encoding="utf-8", newline="")
    (DATA / f"{name}.json").write_text(
        json.dumps(side, indent=2, ensure_ascii=False) + "\n", encoding="utf-8"
    )
