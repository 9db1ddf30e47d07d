"""The coats: how strongly each answers to each wavelength, and the dose it is thought to need."""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Literal

import numpy as np

from noonframe.datafiles import data_folder, read_columns, sidecar
from noonframe.errors import OutOfDomain
from noonframe.stack.catalogue import pick
from noonframe.stack.grid import WAVELENGTH_NM, frozen_spectrum
from noonframe.stack.user_spectra import OwnSpectrum, Signature, folder_signature, read_folder
from noonframe.types import FloatArray

DEFAULT_SENSITIZER = "citrate-classic"

_FILE = "sensitizers.csv"

# A file of one's own that gives no target borrows the classic coat's, with a spread that reaches the other
# iron coats; and an action spectrum of unknown making is taken to be as uncertain as the modelled ones.
_BORROWED_SPREAD_STOPS = 2.0
_OWN_ACTION_SIGMA = 0.1


@dataclass(frozen=True, eq=False)
class Sensitizer:
    """One coat.  Spectra have shape (41,); sensitizers compare by value.

    `action` is relative, per unit energy, peak 1; `action_sigma` its standard deviation.  `target_j_m2` is
    the effective dose for full density to expect before any test strip, `target_spread_stops` one standard
    deviation of its logarithm to base 2.
    """

    id: str
    label: str
    action: FloatArray
    action_sigma: FloatArray
    target_j_m2: float
    target_spread_stops: float
    provenance: str
    how_known: Literal["modelled", "own file"]

    def __post_init__(self) -> None:
        object.__setattr__(self, "action", frozen_spectrum("action", self.action, 0.0, 1.0))
        object.__setattr__(self, "action_sigma", frozen_spectrum("action_sigma", self.action_sigma, 0.0, 1.0))
        if float(self.action.max()) != 1.0:
            raise OutOfDomain("action", float(self.action.max()), "scaled to a peak of 1")
        if not 0.0 < self.target_j_m2 < np.inf:
            raise OutOfDomain("target_j_m2", self.target_j_m2, "above 0")
        if not 0.0 <= self.target_spread_stops < np.inf:
            raise OutOfDomain("target_spread_stops", self.target_spread_stops, "0 or more")

    @cached_property
    def _key(self) -> Hashable:
        numbers = (self.target_j_m2, self.target_spread_stops)
        return (self.id, numbers, self.action.tobytes(), self.action_sigma.tobytes())

    def __eq__(self, other: object) -> bool:
        return self._key == other._key if isinstance(other, Sensitizer) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._key)


def sensitizer_catalogue(user_folder: Path | None = None) -> Mapping[str, Sensitizer]:
    """Sensitizers by id: the shipped ones, then those in `user_folder`, read again when a file changes.

    Raises `DataFileError` for a damaged file, naming file and row.
    """
    if user_folder is None:
        return _shipped(data_folder())
    return _with_own(data_folder(), user_folder, folder_signature(user_folder))


def find_sensitizer(identity: str, user_folder: Path | None = None) -> Sensitizer:
    """The sensitizer with that id; `UnknownName` with the nearest ids when there is none."""
    return pick("sensitizer", identity, _shipped(data_folder()), lambda: sensitizer_catalogue(user_folder))


@lru_cache(maxsize=4)
def _shipped(folder: Path) -> Mapping[str, Sensitizer]:
    columns = read_columns(folder / _FILE)
    frozen = {
        identity: Sensitizer(
            id=identity,
            label=record["label"],
            action=columns[identity],
            action_sigma=columns[f"{identity}.sigma"],
            target_j_m2=record["target_j_m2"],
            target_spread_stops=record["target_spread_stops"],
            provenance=record["provenance"],
            how_known="modelled",
        )
        for identity, record in sidecar(_FILE)["sensitizers"].items()
    }
    return MappingProxyType(frozen)


@lru_cache(maxsize=16)
def _with_own(folder: Path, user_folder: Path, signature: Signature) -> Mapping[str, Sensitizer]:
    own = [spectrum for spectrum in read_folder(user_folder, signature) if spectrum.kind == "sensitizer"]
    return MappingProxyType({**_shipped(folder), **{s.id: _from_own(folder, s) for s in own}})


def _from_own(folder: Path, spectrum: OwnSpectrum) -> Sensitizer:
    classic = _shipped(folder)[DEFAULT_SENSITIZER]
    given = "target_j_m2" in spectrum.extras
    borrowed = classic.target_spread_stops if given else _BORROWED_SPREAD_STOPS
    said = "given there" if given else f"not given there: that of {classic.id}, widely spread"
    return Sensitizer(
        id=spectrum.id,
        label=spectrum.label,
        action=spectrum.values,
        action_sigma=np.full(WAVELENGTH_NM.shape, _OWN_ACTION_SIGMA),
        target_j_m2=spectrum.extras.get("target_j_m2", classic.target_j_m2),
        target_spread_stops=spectrum.extras.get("target_spread_stops", borrowed),
        provenance=f"own file {spectrum.file_name}; target {said}",
        how_known="own file",
    )
