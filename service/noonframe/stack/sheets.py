"""A sheet of glass, plastic or film, and the pile of sheets that the light passes before the coat."""

from collections.abc import Hashable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.stack.grid import WAVELENGTH_NM, frozen_spectrum
from noonframe.stack.optics import (
    cos_from_incidence,
    effective_index,
    hemisphere_nodes,
    internal_transmittance,
    sheet_transmittance,
)
from noonframe.types import FloatArray

Kind = Literal["pane", "frame-cover", "film", "object"]
HowKnown = Literal["measured sample", "fitted", "from memory", "own file", "common practice", "given"]

MOST_SHEETS = 8


@dataclass(frozen=True, eq=False)
class Material:
    """One sheet; spectra are total transmittance at normal incidence (surfaces included), shape (41,).

    `kind` is the usual place of the sheet, not a limit on its use.  `refractive_index` may lie below the
    handbook value where the sheet transmits more than bare surfaces of that index could.  `panes` is 2 for a
    sealed double pane, whose panes are then taken as equal and whose `thickness_mm` is that of one pane.
    `transmittance_low` and `transmittance_high` lie `range_sigmas` standard deviations apart: 2 for one
    sample and its usual scatter, the expected range of n samples where they are the extremes of n.
    One that `scatters` (paper, a leaf, ink) passes the same share at every angle.  Materials compare by
    value.
    """

    id: str
    label: str
    kind: Kind
    refractive_index: float
    thickness_mm: float | None
    transmittance: FloatArray
    transmittance_low: FloatArray
    transmittance_high: FloatArray
    range_sigmas: float
    provenance: str
    how_known: HowKnown
    panes: int = 1
    scatters: bool = False

    def __post_init__(self) -> None:
        for name in ("transmittance", "transmittance_low", "transmittance_high"):
            object.__setattr__(self, name, frozen_spectrum(name, getattr(self, name), 0.0, 1.0))
        if np.any(self.transmittance_low > self.transmittance):
            raise OutOfDomain("transmittance_low", self.id, "at most the transmittance, at every wavelength")
        if np.any(self.transmittance_high < self.transmittance):
            raise OutOfDomain(
                "transmittance_high", self.id, "at least the transmittance, at every wavelength"
            )
        if not self.range_sigmas > 0.0:
            raise OutOfDomain("range_sigmas", self.range_sigmas, "above 0")
        if self.thickness_mm is not None and not 0.0 < self.thickness_mm < np.inf:
            raise OutOfDomain("thickness_mm", self.thickness_mm, "above 0")
        # Refuses, when the material is made, a transmittance that the index and number of panes rule out.
        _ = self.internal

    @cached_property
    def internal(self) -> FloatArray:
        """exp(-kd) of each pane at normal incidence, shape (41,)."""
        return internal_transmittance(self.transmittance, self.refractive_index, self.panes)

    @cached_property
    def sigma(self) -> FloatArray:
        """Standard deviation of the transmittance between samples, shape (41,)."""
        return (self.transmittance_high - self.transmittance_low) / self.range_sigmas

    @cached_property
    def _key(self) -> Hashable:
        spectra = (self.transmittance, self.transmittance_low, self.transmittance_high)
        numbers = (self.refractive_index, self.panes, self.range_sigmas, self.scatters)
        return (self.id, numbers, *(spectrum.tobytes() for spectrum in spectra))

    def __eq__(self, other: object) -> bool:
        return self._key == other._key if isinstance(other, Material) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._key)

    def transmittance_at(self, cos_incidence: FloatArray) -> FloatArray:
        """Transmittance for unpolarised light at cosines (n,) of 0 to 1, shape (n, 41)."""
        if self.scatters:
            return np.broadcast_to(self.transmittance, (cos_incidence.size, WAVELENGTH_NM.size))
        return sheet_transmittance(cos_incidence, self.internal, self.refractive_index, self.panes)


@dataclass(frozen=True)
class Stack:
    """The sheets between the light and the coat, outermost first; empty for a bare coat.

    The transmittances multiply: light thrown to and fro between separate sheets is left out, for two panes
    0.6 % of the total at normal incidence and about 2 % for diffuse light.  No more than eight sheets.
    """

    materials: tuple[Material, ...] = ()

    def __post_init__(self) -> None:
        if len(self.materials) > MOST_SHEETS:
            raise OutOfDomain("stack", len(self.materials), f"at most {MOST_SHEETS} sheets")

    @property
    def ids(self) -> tuple[str, ...]:
        """Material ids, outermost first."""
        return tuple(material.id for material in self.materials)

    @property
    def normal_transmittance(self) -> FloatArray:
        """Transmittance at normal incidence, shape (41,), read-only."""
        return _normal(self)

    @property
    def diffuse_transmittance(self) -> FloatArray:
        """Transmittance for a uniform hemisphere, the mean of the sheets' product; shape (41,), read-only."""
        return _diffuse(self)

    def beam_transmittance(self, incidence_deg: FloatArray) -> FloatArray:
        """Transmittance for a beam at `incidence_deg` (n,) from the normal, shape (n, 41).

        0 from 90 to 180°, where the light comes from behind.  Raises `OutOfDomain` outside 0 to 180° or
        for NaN.
        """
        return self._product(cos_from_incidence(incidence_deg))

    def relative_spread(self, weight: FloatArray) -> float:
        """Standard deviation of what gets through of light (times action) `weight` (41,), over its total.

        Within one sheet the scatter is taken as fully correlated over wavelength, between sheets as
        independent.
        Raises `OutOfDomain` when nothing of `weight` gets through.
        """
        light = frozen_spectrum("weight", weight, 0.0, np.inf)
        total = float(light @ self.normal_transmittance)
        if not 0.0 < total < np.inf:
            raise OutOfDomain("weight", total, "a spectrum of which something, not infinite, gets through")
        variance = 0.0
        for position, material in enumerate(self.materials):
            others = Stack(self.materials[:position] + self.materials[position + 1 :]).normal_transmittance
            variance += float((light * others) @ material.sigma / total) ** 2
        return float(np.sqrt(variance))

    def spread_stops(self, weight: FloatArray) -> float:
        """One standard deviation in stops of what gets through; see `relative_spread`."""
        return float(np.log2(1.0 + self.relative_spread(weight)))

    def _product(self, cos_incidence: FloatArray) -> FloatArray:
        product = np.where(cos_incidence > 0.0, 1.0, 0.0)[:, np.newaxis] * np.ones(WAVELENGTH_NM.size)
        for material in self.materials:
            product = product * material.transmittance_at(cos_incidence)
        return product


# Keyed on the stack's value, so that equal stacks from separate requests share one computation.
@lru_cache(maxsize=512)
def _normal(stack: Stack) -> FloatArray:
    product = np.ones(WAVELENGTH_NM.size)
    for material in stack.materials:
        product = product * material.transmittance
    product.flags.writeable = False
    return product


@lru_cache(maxsize=512)
def _diffuse(stack: Stack) -> FloatArray:
    cosine, share = hemisphere_nodes()
    mean: FloatArray = share @ stack._product(cosine)
    mean.flags.writeable = False
    return mean


def material_index(handbook_index: float, transmittance: FloatArray, panes: int = 1) -> float:
    """Index for a sheet of measured `transmittance` (41,); see `noonframe.stack.optics.effective_index`."""
    return effective_index(handbook_index, float(np.max(transmittance)), panes)
