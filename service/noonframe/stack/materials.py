"""The catalogue of sheets, and reading a stack from its short text form."""

from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

import numpy as np

from noonframe.datafiles import data_folder, read_columns, sidecar
from noonframe.errors import DataFileError, Malformed, OutOfDomain
from noonframe.stack.catalogue import pick
from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.stack.objects import shipped_objects
from noonframe.stack.optics import effective_index, lossless_transmittance
from noonframe.stack.sheets import MOST_SHEETS, Material, Stack
from noonframe.stack.user_spectra import OwnSpectrum, Signature, folder_signature, read_folder

__all__ = ["BARE", "Material", "Stack", "find_material", "material_catalogue", "parse_stack"]

BARE = "none"
"""The text form of a stack without sheets."""

_FILE = "stack_materials.csv"
_LONGEST_TEXT = 1000

# Sheets of one's own: a usual index where the file gives none, and, since it is the very sheet in use, only
# the scatter of measuring it.
_OWN_INDEX = 1.5
_OWN_SCATTER = 0.03


def material_catalogue(user_folder: Path | None = None) -> Mapping[str, Material]:
    """Sheets by id: the shipped ones, then those in `user_folder`, read again when a file changes.

    Raises `DataFileError` for a damaged file, naming file and row.
    """
    if user_folder is None:
        return _shipped(data_folder())
    return _with_own(data_folder(), user_folder, folder_signature(user_folder))


def find_material(identity: str, user_folder: Path | None = None) -> Material:
    """The sheet with that id; `UnknownName` with the nearest ids when there is none."""
    return pick("stack", identity, _shipped(data_folder()), lambda: material_catalogue(user_folder))


def parse_stack(text: str, user_folder: Path | None = None) -> Stack:
    """The stack that a comma list of ids names, outermost sheet first; "none" for a bare coat.

    Raises `Malformed` for an empty item or "none" among others, `UnknownName` for an id that is not known,
    `OutOfDomain` for more than eight sheets.
    """
    if len(text) > _LONGEST_TEXT:
        raise Malformed("stack", text[:40] + "…", f"a stack has at most {_LONGEST_TEXT} characters")
    items = [item.strip() for item in text.split(",")]
    if items == [BARE]:
        return Stack()
    if "" in items:
        raise Malformed("stack", text, f"ids are separated by single commas, and a bare coat is {BARE!r}")
    if BARE in items:
        raise Malformed("stack", text, f"{BARE!r} stands alone")
    if len(items) > MOST_SHEETS:
        raise OutOfDomain("stack", len(items), f"at most {MOST_SHEETS} sheets")
    return Stack(tuple(find_material(item, user_folder) for item in items))


@lru_cache(maxsize=4)
def _shipped(folder: Path) -> Mapping[str, Material]:
    columns = read_columns(folder / _FILE)
    if not np.array_equal(columns["wavelength_nm"], WAVELENGTH_NM):
        raise DataFileError("wavelength_nm", _FILE, "must run from 280 to 480 nm by 5")
    frozen = {
        identity: Material(
            id=identity,
            label=record["label"],
            kind=record["kind"],
            refractive_index=record["refractive_index"],
            thickness_mm=record["thickness_mm"],
            transmittance=columns[identity],
            transmittance_low=columns[f"{identity}.low"],
            transmittance_high=columns[f"{identity}.high"],
            range_sigmas=record["range_sigmas"],
            provenance=record["provenance"],
            how_known=record["how_known"],
            panes=record["panes"],
        )
        for identity, record in sidecar(_FILE)["materials"].items()
    }
    return MappingProxyType({**frozen, **shipped_objects(folder)})


@lru_cache(maxsize=16)
def _with_own(folder: Path, user_folder: Path, signature: Signature) -> Mapping[str, Material]:
    own = (
        _from_own(spectrum)
        for spectrum in read_folder(user_folder, signature)
        if spectrum.kind in ("pane", "film")
    )
    return MappingProxyType({**_shipped(folder), **{material.id: material for material in own}})


def _from_own(spectrum: OwnSpectrum) -> Material:
    if spectrum.kind not in ("pane", "film"):
        raise OutOfDomain("kind", spectrum.kind, "pane or film")
    values = spectrum.values
    index = effective_index(spectrum.extras.get("refractive_index", _OWN_INDEX), float(values.max()))
    highest = np.minimum(values * (1.0 + _OWN_SCATTER), lossless_transmittance(index))
    return Material(
        id=spectrum.id,
        label=spectrum.label,
        kind=spectrum.kind,
        refractive_index=index,
        thickness_mm=None,
        transmittance=values,
        transmittance_low=values * (1.0 - _OWN_SCATTER),
        transmittance_high=np.maximum(highest, values),
        range_sigmas=2.0,
        provenance=f"own file {spectrum.file_name}",
        how_known="own file",
    )
