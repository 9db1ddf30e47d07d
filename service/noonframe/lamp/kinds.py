"""The catalogue of lamps: the shipped spectra, and the user's own by file."""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Literal

import numpy as np

from noonframe.datafiles import data_folder, read_columns, sidecar
from noonframe.errors import DataFileError, OutOfDomain
from noonframe.lamp.shapes import BOX_NM
from noonframe.lamp.warmup import WarmUp
from noonframe.stack.catalogue import pick
from noonframe.stack.effective import band_weights
from noonframe.stack.grid import DOSE_LOW_NM, WAVELENGTH_NM, frozen_spectrum
from noonframe.stack.user_spectra import OwnSpectrum, Signature, folder_signature, read_folder
from noonframe.types import FloatArray

_FILE = "lamp_spectra.csv"

# An own file says nothing of the lamp beyond its spectrum; these allowances are the tubes', and wide.
_OWN_EFFICIENCY = 0.25
_OWN_EFFICIENCY_SPREAD_STOPS = 1.0
_OWN_WARM_UP = WarmUp(0.65, 120.0)
_OWN_LOSS_PER_1000_H = 0.1


@dataclass(frozen=True, eq=False)
class LampKind:
    """A lamp's spectrum and what is usual for its family.

    `boxes` (41,) is the spectral power over all the power [nm-1], `boxes_short` and `boxes_long` the same
    with its own line moved by the tolerance of its peak.  `efficiency` is the UV and violet power radiated
    over the electrical power, with one standard deviation in stops; `loss_per_1000_h` the share of the output
    lost in the first thousand hours.  Kinds compare by value.
    """

    id: str
    label: str
    family: Literal["tube", "led", "own"]
    peak_nm: float
    boxes: FloatArray
    boxes_short: FloatArray
    boxes_long: FloatArray
    efficiency: float
    efficiency_spread_stops: float
    warm_up: WarmUp
    loss_per_1000_h: float
    provenance: str
    how_known: Literal["modelled", "own file"]

    def __post_init__(self) -> None:
        for name in ("boxes", "boxes_short", "boxes_long"):
            object.__setattr__(self, name, frozen_spectrum(name, getattr(self, name), 0.0, np.inf))
            if float(getattr(self, name).sum()) * BOX_NM > 1.0 + 1e-6:
                raise OutOfDomain(name, self.id, "a spectrum that holds no more than all of its power")

    @cached_property
    def _key(self) -> Hashable:
        spectra = (self.boxes, self.boxes_short, self.boxes_long)
        numbers = (self.efficiency, self.efficiency_spread_stops, self.warm_up, self.loss_per_1000_h)
        return (self.id, numbers, *(spectrum.tobytes() for spectrum in spectra))

    def __eq__(self, other: object) -> bool:
        return self._key == other._key if isinstance(other, LampKind) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._key)

    def share_in(self, low_nm: float, high_nm: float) -> float:
        """Share of the lamp's power within a band inside 277.5-482.5 nm; see `band_weights`."""
        return float(self.boxes @ band_weights(low_nm, high_nm))


def lamp_catalogue(user_folder: Path | None = None) -> Mapping[str, LampKind]:
    """Kinds of lamps by id: the shipped ones, then those in `user_folder` (`NAME.lamp.csv`).

    Raises `DataFileError` for a damaged file, naming file and row.
    """
    if user_folder is None:
        return _shipped(data_folder())
    return _with_own(data_folder(), user_folder, folder_signature(user_folder))


def find_lamp_kind(identity: str, user_folder: Path | None = None) -> LampKind:
    """The kind of lamp with that id; `UnknownName` on `lamp.kind` with the nearest ids when there is none."""
    return pick("lamp.kind", identity, _shipped(data_folder()), lambda: lamp_catalogue(user_folder))


@lru_cache(maxsize=4)
def _shipped(folder: Path) -> Mapping[str, LampKind]:
    columns = read_columns(folder / _FILE)
    if not np.array_equal(columns["wavelength_nm"], WAVELENGTH_NM):
        raise DataFileError("wavelength_nm", _FILE, "must run from 280 to 480 nm by 5")
    kinds = {
        identity: LampKind(
            id=identity,
            label=record["label"],
            family=record["family"],
            peak_nm=record["peak_nm"],
            boxes=columns[identity],
            boxes_short=columns[f"{identity}.short"],
            boxes_long=columns[f"{identity}.long"],
            efficiency=record["efficiency"],
            efficiency_spread_stops=record["efficiency_spread_stops"],
            warm_up=WarmUp(record["start_share"], record["time_constant_s"]),
            loss_per_1000_h=record["loss_per_1000_h"],
            provenance=record["provenance"],
            how_known="modelled",
        )
        for identity, record in sidecar(_FILE)["kinds"].items()
    }
    return MappingProxyType(kinds)


@lru_cache(maxsize=16)
def _with_own(folder: Path, user_folder: Path, signature: Signature) -> Mapping[str, LampKind]:
    own = (_from_own(each) for each in read_folder(user_folder, signature) if each.kind == "lamp")
    return MappingProxyType({**_shipped(folder), **{kind.id: kind for kind in own}})


def _from_own(spectrum: OwnSpectrum) -> LampKind:
    values = np.where(WAVELENGTH_NM >= DOSE_LOW_NM, spectrum.values, 0.0)
    boxes = values / (values.sum() * BOX_NM)
    return LampKind(
        id=spectrum.id,
        label=spectrum.label,
        family="own",
        peak_nm=float(WAVELENGTH_NM[int(np.argmax(boxes))]),
        boxes=boxes,
        boxes_short=boxes,
        boxes_long=boxes,
        efficiency=_OWN_EFFICIENCY,
        efficiency_spread_stops=_OWN_EFFICIENCY_SPREAD_STOPS,
        warm_up=_OWN_WARM_UP,
        loss_per_1000_h=_OWN_LOSS_PER_1000_H,
        provenance=f"own file {spectrum.file_name}, taken to hold all of the lamp's power from 300 to 480 nm",
        how_known="own file",
    )
