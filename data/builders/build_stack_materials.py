"""Derive `stack_materials.csv` and its sidecar from the measured and the typed tables.

Run from anywhere: `python data/builders/build_stack_materials.py`.  Output is the same to the byte for the
same input; a test rebuilds the file and compares.

Clear float glass comes from absorption coefficients by thickness; every other sheet is one sample.  Rows
wider apart than 5 nm are joined by a shape-preserving cubic, which makes no bumps between the rows.
"""

import hashlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from sheet_spectra import (
    DATA,
    GLASS_INDEX,
    SHOWN_DIGITS,
    absorption_of_sample,
    as_csv,
    batch_range,
    glass_absorption_on_boxes,
    glass_transmittance,
    on_boxes,
    sealed_pair,
    write,
)

from noonframe.datafiles import read_columns
from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.stack.optics import effective_index
from noonframe.types import FloatArray

# Expected range of n normal samples in standard deviations (the control-chart constant d2 of ISO 7870-2).
RANGE_OF_SEVEN = 2.704
RANGE_OF_TWO = 1.128
PLUS_MINUS_ONE = 2.0

LAB_SOURCE = "single sample measured by Aphalo et al., photobiologyFilters data package"
CIE_FILE = "CIE file 206.xls (indoor daylight illuminants), as kept in the photobiologyFilters data package"
CIE_SOURCE = f"single sample in {CIE_FILE}"


@dataclass(frozen=True)
class Sheet:
    """A derived material, before it is rounded and written."""

    id: str
    label: str
    kind: str
    thickness_mm: float | None
    handbook_index: float
    nominal: FloatArray
    low: FloatArray
    high: FloatArray
    range_sigmas: float
    how_known: str
    provenance: str
    panes: int = 1


def float_glass() -> list[Sheet]:
    table = read_columns(DATA / "float_glass_absorption.csv")
    per_mm = {
        name: glass_absorption_on_boxes(table["wavelength_nm"], table[f"{name}_per_mm"])
        for name in ("median", "lowest", "highest")
    }
    source = (
        f"median absorption coefficient of seven clear float samples, 2.5 to 7.85 mm, in {CIE_FILE}; "
        "low and high: the most and least absorbing of the seven"
    )
    sheets = []
    usual_place = {2: "frame-cover", 3: "frame-cover", 4: "pane", 5: "pane", 6: "pane", 8: "pane"}
    for thickness, kind in usual_place.items():
        nominal, high, low = (
            glass_transmittance(per_mm[n], thickness) for n in ("median", "lowest", "highest")
        )
        sheets.append(
            Sheet(
                f"float-glass-{thickness}mm",
                f"Clear float glass, {thickness} mm",
                kind,
                float(thickness),
                GLASS_INDEX,
                nominal,
                low,
                high,
                RANGE_OF_SEVEN,
                "fitted",
                source,
            )
        )
    nominal, high, low = (
        glass_transmittance(per_mm[n], 4.0, panes=2) for n in ("median", "lowest", "highest")
    )
    sheets.append(
        Sheet(
            "double-clear-glass-4-4",
            "Double glazing, two clear 4 mm panes",
            "pane",
            4.0,
            GLASS_INDEX,
            nominal,
            low,
            high,
            RANGE_OF_SEVEN,
            "fitted",
            f"two equal panes: {source}",
            panes=2,
        )
    )
    return sheets


def sampled_glass(clear_4mm: Sheet) -> list[Sheet]:
    table = read_columns(DATA / "window_glass_samples.csv")
    nm = table["wavelength_nm"]
    return [*_low_iron(nm, table), *_coated_glass(nm, table, clear_4mm)]


def _low_iron(nm: FloatArray, table: dict[str, FloatArray]) -> list[Sheet]:
    thick, thin = table["low_iron_e_11.90mm"], table["low_iron_f_3.90mm"]
    thick_per_mm = glass_absorption_on_boxes(nm, absorption_of_sample(thick, 11.9))
    thin_grid = on_boxes(nm, thin, below=0.0)
    opaque = thin_grid <= 0.0
    thin_per_mm = np.where(opaque, np.inf, absorption_of_sample(np.where(opaque, 0.5, thin_grid), 3.9))
    other = (
        "the other limit is the other low-iron sample, taken to this thickness: the melt matters more than "
        "the thickness"
    )
    as_thin, as_thick = glass_transmittance(thick_per_mm, 3.9), glass_transmittance(thick_per_mm, 11.9)
    thin_as_thick = glass_transmittance(thin_per_mm, 11.9)
    return [
        Sheet(
            "low-iron-glass-4mm",
            "Low-iron (extra clear) glass, 4 mm",
            "frame-cover",
            3.9,
            GLASS_INDEX,
            thin_grid,
            thin_grid,
            np.maximum(as_thin, thin_grid),
            RANGE_OF_TWO,
            "measured sample",
            f"{CIE_SOURCE}; {other}",
        ),
        Sheet(
            "low-iron-glass-12mm",
            "Low-iron (extra clear) glass, 12 mm",
            "pane",
            11.9,
            GLASS_INDEX,
            as_thick,
            np.minimum(thin_as_thick, as_thick),
            as_thick,
            RANGE_OF_TWO,
            "measured sample",
            f"{CIE_SOURCE}; 300-315 nm extrapolated; {other}",
        ),
    ]


def _coated_glass(nm: FloatArray, table: dict[str, FloatArray], clear_4mm: Sheet) -> list[Sheet]:
    sheets = []
    for column, identity, label, thickness in (
        ("low_e_4.00mm", "low-e-glass-4mm", "Low-emissivity coated glass, 4 mm", 4.0),
        ("solar_control", "solar-control-glass", "Solar-control coated glass, one pane", None),
    ):
        values = table[column]
        low, high = batch_range(nm, values, GLASS_INDEX, edge_shift_nm=5.0)
        # Catalogue figures for the ultraviolet share of such glazing reach two to three times this sample
        # (from memory), which moving its curve by 20 nm gives.
        clearer = on_boxes(nm - 20.0, values)[WAVELENGTH_NM >= 300.0]
        high[WAVELENGTH_NM >= 300.0] = np.maximum(high[WAVELENGTH_NM >= 300.0], clearer)
        sheets.append(
            Sheet(
                identity,
                label,
                "pane",
                thickness,
                GLASS_INDEX,
                on_boxes(nm, values, below=0.0),
                np.where(nm[0] > WAVELENGTH_NM, 0.0, low),
                high,
                PLUS_MINUS_ONE,
                "measured sample",
                f"{CIE_SOURCE}, at the dark end of its kind; high limit: the curve moved 20 nm to shorter "
                "wavelengths (from memory of catalogue figures); the coating's own change with angle is left "
                "out",
            )
        )
    low_e = sheets[0]
    pair = [sealed_pair(getattr(low_e, n), getattr(clear_4mm, n)) for n in ("nominal", "low", "high")]
    sheets.append(
        Sheet(
            "low-e-double-glass-4-4",
            "Double glazing, low-emissivity coated 4 mm and clear 4 mm",
            "pane",
            4.0,
            GLASS_INDEX,
            pair[0],
            pair[1],
            pair[2],
            PLUS_MINUS_ONE,
            "fitted",
            f"low-e pane: {low_e.provenance}; clear pane: {clear_4mm.provenance}",
            panes=2,
        )
    )
    return sheets


ACRYLIC, COVER, FILM = 1.49, "frame-cover", "film"

# Column, id, label, kind, thickness in mm, handbook index, edge shift in nm.  "Clear" acrylic differs between
# grades by a factor of two to four at 365 nm, which the wider shift covers.
PLASTICS = (
    ("polyester_0.125mm", "polyester-film", "Bare polyester (PET) film, 125 µm", FILM, 0.125, 1.65, 3.0),
    ("cellulose_acetate_0.115mm", "cellulose-acetate-film", "Cellulose acetate film, 115 µm", FILM, 0.115,
     1.48, 3.0),
    ("acrylic_uv_transmitting_3mm", "acrylic-uv-transmitting-3mm", "Ultraviolet-transmitting acrylic, 3 mm",
     COVER, 3.0, ACRYLIC, 3.0),
    ("acrylic_cast_3mm", "acrylic-cast-3mm", "Ordinary clear acrylic, cast, 3 mm", COVER, 3.0, ACRYLIC, 8.0),
    ("acrylic_extruded_3mm", "acrylic-extruded-3mm", "Ordinary clear acrylic, extruded, 3 mm", COVER, 3.0,
     ACRYLIC, 8.0),
    ("acrylic_uv_absorbing_3mm", "acrylic-uv-absorbing-3mm", "Ultraviolet-absorbing acrylic, 3 mm", COVER,
     3.0, ACRYLIC, 3.0),
    ("polycarbonate_3mm", "polycarbonate-3mm", "Clear polycarbonate, 3 mm", COVER, 3.0, 1.585, 3.0),
    ("petg_3mm", "petg-3mm", "Clear glycol-modified polyester (PET-G), 3 mm", COVER, 3.0, 1.57, 3.0),
    ("polystyrene_3mm", "polystyrene-3mm", "Clear polystyrene, 3 mm", COVER, 3.0, 1.59, 3.0),
)  # fmt: skip


def plastics() -> list[Sheet]:
    table = read_columns(DATA / "plastic_sheet_samples.csv")
    nm = table["wavelength_nm"]
    sheets = []
    for column, identity, label, kind, thickness, index, shift in PLASTICS:
        low, high = batch_range(nm, table[column], index, edge_shift_nm=shift)
        sheets.append(
            Sheet(
                identity,
                label,
                kind,
                thickness,
                index,
                on_boxes(nm, table[column]),
                low,
                high,
                PLUS_MINUS_ONE,
                "measured sample",
                f"{LAB_SOURCE}; low and high: 7 % and an edge moved by {shift:g} nm, common practice, no "
                "source",
            )
        )
    return sheets


def coated_film(bare: Sheet) -> Sheet:
    """Inkjet film: the bare film times a grey coat that brings its ultraviolet density to 0.18.

    The density is what an ultraviolet densitometer reads, near 365-380 nm.
    """
    reading = (WAVELENGTH_NM >= 365.0) & (WAVELENGTH_NM <= 380.0)
    base = float(bare.nominal[reading].mean())
    nominal, low, high = (bare.nominal * 10.0**-density / base for density in (0.18, 0.24, 0.12))
    return Sheet(
        "inkjet-film",
        "Coated polyester film for inkjet negatives, 125 µm",
        "film",
        0.125,
        1.65,
        nominal,
        low,
        high,
        PLUS_MINUS_ONE,
        "from memory",
        "bare polyester film times a grey receiver coat; ultraviolet density 0.18 (low and high limit at "
        "0.24 and 0.12) from memory, and that the coat is grey is an assumption; matte films may reach 0.35",
    )


def from_memory() -> list[Sheet]:
    table = read_columns(DATA / "covers_from_memory.csv")
    nm = table["wavelength_nm"]
    dish = read_columns(DATA / "plastic_sheet_samples.csv")
    laminated, borosilicate = table["laminated_6.4mm"], table["borosilicate_3.3_3mm"]
    low, high = batch_range(nm, laminated, GLASS_INDEX, edge_shift_nm=4.0)
    memory_low, memory_high = batch_range(nm, borosilicate, 1.474)
    dish_grid = on_boxes(dish["wavelength_nm"], dish["borosilicate_dish"])
    nominal = on_boxes(nm, borosilicate)
    return [
        Sheet(
            "laminated-glass-6mm",
            "Laminated safety glass, 6.4 mm",
            "pane",
            6.4,
            GLASS_INDEX,
            on_boxes(nm, laminated),
            low,
            high,
            PLUS_MINUS_ONE,
            "from memory",
            "typical of glass laminated with polyvinyl butyral, from memory; that it stops the UVA agrees "
            "with Duarte et al. (2009), Photodermatol. Photoimmunol. Photomed.",
        ),
        Sheet(
            "borosilicate-glass-3mm",
            "Borosilicate glass 3.3, 3 mm",
            "frame-cover",
            3.0,
            1.474,
            nominal,
            np.minimum(np.minimum(memory_low, dish_grid), nominal),
            memory_high,
            PLUS_MINUS_ONE,
            "from memory",
            "typical of float borosilicate, from memory; the low limit includes a laboratory dish, "
            f"{LAB_SOURCE}",
        ),
    ]


def all_sheets() -> list[Sheet]:
    clear = float_glass()
    clear_4mm = next(sheet for sheet in clear if sheet.id == "float-glass-4mm")
    plastic = plastics()
    return [*clear, *sampled_glass(clear_4mm), *from_memory(), *plastic, coated_film(plastic[0])]


def build_materials() -> tuple[str, dict[str, Any]]:
    """Text of `stack_materials.csv` and its sidecar."""
    columns: dict[str, FloatArray] = {"wavelength_nm": WAVELENGTH_NM}
    meanings: dict[str, Any] = {"wavelength_nm": {"unit": "nm", "meaning": "centre of the 5 nm box"}}
    records: dict[str, Any] = {}
    for sheet in all_sheets():
        nominal, low, high = (np.round(s, SHOWN_DIGITS) for s in (sheet.nominal, sheet.low, sheet.high))
        index = effective_index(sheet.handbook_index, float(nominal.max()), sheet.panes)
        for suffix, values, what in (
            ("", nominal, "total transmittance at normal incidence, surfaces included"),
            (".low", low, "the same, low limit"),
            (".high", high, "the same, high limit"),
        ):
            columns[sheet.id + suffix] = values
            meanings[sheet.id + suffix] = {"unit": "1", "meaning": f"{sheet.label}: {what}"}
        records[sheet.id] = {
            "label": sheet.label,
            "kind": sheet.kind,
            "thickness_mm": sheet.thickness_mm,
            "panes": sheet.panes,
            "refractive_index": index,
            "handbook_index": sheet.handbook_index,
            "range_sigmas": sheet.range_sigmas,
            "how_known": sheet.how_known,
            "provenance": sheet.provenance,
        }
    text = as_csv(columns)
    side = {
        "source": "derived from float_glass_absorption.csv, window_glass_samples.csv, "
        "plastic_sheet_samples.csv and covers_from_memory.csv; each material names its own source below",
        "reference": "two-surface Fresnel sheet with multiple reflection: Duffie & Beckman, Solar "
        "Engineering of Thermal Processes, 4th ed. (2013), chapter 5",
        "licence": "as the input files",
        "retrieved": "2026-11-25",
        "columns": meanings,
        "sha256": hashlib.sha256(text.encode()).hexdigest(),
        "builder": "builders/build_stack_materials.py",
        "notes": "Below 300 nm a plastic, laminated or borosilicate sheet holds the 300 nm value. From 315 "
        "to 300 nm the absorption of clear glass and of the thick low-iron sample goes on exponentially, and "
        "below 300 nm they are opaque; the thin low-iron sample and coated glass are opaque below 315 nm. "
        "Low and high lie range_sigmas standard deviations apart. refractive_index is below the handbook "
        "value where the sample transmits more than bare surfaces of that index can.",
        "materials": records,
    }
    return text, side


def main() -> None:
    write("stack_materials", *build_materials())


if __name__ == "__main__":
    main()
