"""Builds data/transfer_table.npz: the light under a layered atmosphere, and its spherical albedo.

One 16-stream discrete-ordinates solution (PythonicDISORT, delta-M) serves every solar zenith angle of a
column.  The column is lit from below by isotropic light of radiance 1 and its sky is dark.  Then

* the downward flux at the ground over the upward one is the spherical albedo S;
* by reciprocity the radiance I(tau, mu) of that solution says how much light that leaves depth tau against
  the direction mu adds to the downward flux at the ground.  The diffuse flux at a black ground under a sun
  of unit normal irradiance is therefore

      F = integral dtau omega/2 exp(-s(tau)) sum_l (2l + 1) chi_l P_l(mu0) integral dmu P_l(mu) I(tau, mu),

  where s(tau) is the slant optical depth of the beam.  The beam enters nowhere else, so its path may be that
  through curved air instead of tau/mu0 (the pseudo-spherical approximation; A. Dahlback and K. Stamnes,
  Planet. Space Sci. 39, 671-683 (1991)): s is the sum over constituents of the optical depth above tau
  times the constituent's air mass at the ground, the very air masses the beam has at run time.

A single effective slope 1/m for the whole column would do the same job less well: with haze it loses 4 % of
the global ultraviolet at zenith 85 degrees, because aerosol, air and ozone lie at different heights.

Reciprocity: S. Chandrasekhar, Radiative Transfer, Oxford (1950).  Discrete ordinates: K. Stamnes et al.,
Applied Optics 27, 2502-2509 (1988); D. J. X. Ho, J. Open Source Software 9(103), 6442 (2024).
Delta-M: W. J. Wiscombe, J. Atmos. Sci. 34, 1408-1422 (1977).

Run from the repository:  OMP_NUM_THREADS=1 python data/builders/build_transfer_table.py --processes 2
An interrupted build resumes from build/transfer_table/.
"""

import argparse
import hashlib
import json
import os
import platform
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from importlib.metadata import version
from itertools import product
from pathlib import Path

import numpy as np
from numpy.polynomial.legendre import leggauss, legvander
from numpy.typing import NDArray
from PythonicDISORT.pydisort import pydisort

from noonframe.sky.airmass import (
    AEROSOL_HEIGHT_KM,
    CLOUD_HEIGHT_KM,
    OZONE_HEIGHT_KM,
    airmass_kasten_young_1989,
    airmass_shell,
)
from noonframe.sky.optical_depth import (
    WAVELENGTH_NM,
    aerosol_optical_depth_angstrom,
    ozone_optical_depth,
    rayleigh_optical_depth_bodhaine_1999,
)

Floats = NDArray[np.float64]

REPOSITORY = Path(__file__).resolve().parents[2]
OUTPUT = REPOSITORY / "data" / "transfer_table.npz"
PARTS = REPOSITORY / "build" / "transfer_table"

STREAMS = 16
BOUNDARY_KM = np.array([np.inf, 40.0, 30.0, 25.0, 20.0, 15.0, 10.0, 6.0, 4.0, 2.0, 1.0, 0.0])
RAYLEIGH_SCALE_KM = 8.0
AEROSOL_SCALE_KM = 2.0
OZONE_PEAK_KM, OZONE_WIDTH_KM = 22.0, 4.5
CLOUD_BASE_KM, CLOUD_TOP_KM = 1.0, 2.0
AEROSOL_SINGLE_SCATTERING_ALBEDO, AEROSOL_ASYMMETRY = 0.92, 0.70
CLOUD_ASYMMETRY = 0.866  # a water cloud of 10 micrometre drops in the near ultraviolet
RAYLEIGH_SECOND_MOMENT = 0.0956  # (1/10) (1 - d)/(1 + d/2), depolarisation d = 0.03
LARGEST_SINGLE_SCATTERING_ALBEDO = 1.0 - 2e-6  # the solver loses digits nearer to 1

# Laid out by trial: finer nodes no longer change the answer by more than about 0.1 %.
ZENITH_DEG = np.array(
    [0, 10, 20, 30, 38, 45, 51, 57, 62.5, 67.5, 72, 75.5, 78.5, 81, 83, 84.8, 86.4, 87.8, 89, 90], dtype=float
)
AEROSOL_OPTICAL_DEPTH = np.array([0.0, 0.08, 0.25, 0.6, 1.2, 2.0])
CLOUD_OPTICAL_DEPTH = np.array([0.0, 0.06, 0.2, 0.5, 1.2, 2.6, 5.5, 12.0, 27.0, 60.0, 128.0])
PRESSURE_HPA = np.array([500.0, 750.0, 1075.0])
OZONE_DU = np.array([100.0, 160.0, 240.0, 340.0, 460.0, 600.0])


@dataclass(frozen=True)
class Column:
    """One atmosphere at one wavelength: vertical optical depths of its constituents."""

    rayleigh: float
    ozone: float
    aerosol: float
    cloud: float

    def layer_depths(self) -> Floats:
        """Optical depths, shape (n_layer, 4): top layer first; Rayleigh, ozone, aerosol, cloud."""
        return layer_shares() * np.array([self.rayleigh, self.ozone, self.aerosol, self.cloud])


def column_at(
    wavelength_nm: float,
    *,
    ozone_du: float,
    aerosol_optical_depth: float,
    pressure_hpa: float,
    cloud_optical_depth: float,
) -> Column:
    """The column the table stands for.  A water cloud's optical depth hardly depends on wavelength."""
    return Column(
        rayleigh=float(rayleigh_optical_depth_bodhaine_1999(wavelength_nm, pressure_hpa)),
        ozone=float(ozone_optical_depth(wavelength_nm, ozone_du)),
        aerosol=float(aerosol_optical_depth_angstrom(wavelength_nm, aerosol_optical_depth)),
        cloud=cloud_optical_depth,
    )


@cache
def layer_shares() -> Floats:
    """Share of each constituent's column in each layer, shape (n_layer, 4), columns summing to 1.

    Air and aerosol fall off exponentially; ozone follows the bell of A. E. S. Green, Applied Optics 3,
    203-208 (1964), whose column above a height is 1/(1 + exp((height - peak)/width)); the cloud is even.
    """
    height = BOUNDARY_KM
    above = np.stack(
        [
            np.exp(-height / RAYLEIGH_SCALE_KM),
            1.0 / (1.0 + np.exp((height - OZONE_PEAK_KM) / OZONE_WIDTH_KM)),
            np.exp(-height / AEROSOL_SCALE_KM),
            np.clip((CLOUD_TOP_KM - height) / (CLOUD_TOP_KM - CLOUD_BASE_KM), 0.0, 1.0),
        ],
        axis=1,
    )
    return np.diff(above / above[-1], axis=0)


def phase_moments() -> tuple[Floats, Floats]:
    """Single-scattering albedo (4,) and phase function moments 0..16 (4, 17) of the constituents."""
    order = np.arange(STREAMS + 1)
    rayleigh = np.where(order == 0, 1.0, np.where(order == 2, RAYLEIGH_SECOND_MOMENT, 0.0))
    ozone = np.where(order == 0, 1.0, 0.0)
    aerosol = AEROSOL_ASYMMETRY ** order.astype(float)
    cloud = CLOUD_ASYMMETRY ** order.astype(float)
    return np.array([1.0, 0.0, AEROSOL_SINGLE_SCATTERING_ALBEDO, 1.0]), np.stack(
        [rayleigh, ozone, aerosol, cloud]
    )


@dataclass(frozen=True)
class Optics:
    """What the solver takes: per layer, optical depth, single-scattering albedo, moments 0..16."""

    thickness: Floats
    albedo: Floats
    moments: Floats

    @classmethod
    def of(cls, column: Column) -> "Optics":
        """Mix the constituents of each layer."""
        depths = column.layer_depths()
        albedo_of, moments_of = phase_moments()
        scattering = depths * albedo_of
        thickness = depths.sum(axis=1)
        albedo = np.minimum(scattering.sum(axis=1) / thickness, LARGEST_SINGLE_SCATTERING_ALBEDO)
        moments = scattering @ moments_of / scattering.sum(axis=1)[:, None]
        moments[:, 0] = 1.0
        return cls(thickness, albedo, moments)

    def solve(self, mu0: float, beam: float, from_below: float):  # type: ignore[no-untyped-def]
        """PythonicDISORT's flux solution: (mu, upward flux, downward flux, mean radiance)."""
        return pydisort(
            np.cumsum(self.thickness),
            self.albedo,
            STREAMS,
            self.moments,
            mu0,
            beam,
            0.0,
            NLeg=STREAMS,
            only_flux=True,
            f_arr=self.moments[:, STREAMS],
            b_pos=from_below,
            cache_asso_leg="no_mu0",
        )


@cache
def _hemisphere_gauss() -> Floats:
    """Weights (16,) of the solver's double-Gauss directions, upward then downward."""
    weights = leggauss(STREAMS // 2)[1] / 2.0
    return np.concatenate([weights, weights])


_CELL_EDGES = np.array([0.0, 0.002, 0.01, 0.04, 0.15, 0.5, 1.5, 4.0, 10.0, 25.0, 60.0, 150.0])
_GAUSS_NODE, _GAUSS_WEIGHT = leggauss(4)


def _depth_nodes(thickness: Floats) -> tuple[NDArray[np.intp], Floats, Floats]:
    """Quadrature in depth: layer index, depth below the layer's top, weight.

    `thickness` is the (scaled) optical depth of each layer.  Cells grow away from each layer's top, because
    a grazing beam dies out within a few hundredths at the top of a cloud.
    """
    layers, nodes, weights = [], [], []
    for index, depth in enumerate(thickness):
        edges = np.append(_CELL_EDGES[depth > _CELL_EDGES], depth)
        half = np.diff(edges) / 2.0
        nodes.append((edges[:-1, None] + half[:, None] * (1.0 + _GAUSS_NODE)).ravel())
        weights.append((half[:, None] * _GAUSS_WEIGHT).ravel())
        layers.append(np.full(nodes[-1].size, index))
    return np.concatenate(layers), np.concatenate(nodes), np.concatenate(weights)


def solve_column(column: Column, cos_zenith: Floats, airmasses: Floats) -> tuple[Floats, float]:
    """Diffuse flux at a black ground per unit normal irradiance (n_zenith,), and the spherical albedo.

    `cos_zenith` (n_zenith,) sets the direction of the beam; `airmasses` (n_zenith, 4) its path through the
    constituents in the order of `Column.layer_depths`.
    """
    optics = Optics.of(column)
    directions, _, flux_down, radiance = optics.solve(1.0, 0.0, 1.0)
    total_depth = float(np.cumsum(optics.thickness)[-1])
    spherical_albedo = float(flux_down(total_depth)[0]) / np.pi

    peak = optics.moments[:, STREAMS]
    shrink = 1.0 - optics.albedo * peak  # delta-M
    scaled_albedo = optics.albedo * (1.0 - peak) / shrink
    scaled_moments = (optics.moments[:, :STREAMS] - peak[:, None]) / (1.0 - peak)[:, None]

    layer, depth, weight = _depth_nodes(optics.thickness * shrink)
    tops = np.concatenate([[0.0], np.cumsum(optics.thickness)[:-1]])
    inside = np.minimum(tops[layer] + depth / shrink[layer], total_depth)
    field = radiance(inside)  # (16, n_depth)

    order = np.arange(STREAMS)
    field_moments = (legvander(directions, STREAMS - 1).T * _hemisphere_gauss()) @ field  # (16, n_depth)
    strength = (2 * order + 1)[:, None] * scaled_moments[layer].T * field_moments
    source = legvander(cos_zenith, STREAMS - 1) @ strength  # (n_zenith, n_depth)

    albedo_of, moments_of = phase_moments()
    scaled_depths = column.layer_depths() * (1.0 - albedo_of * moments_of[:, STREAMS])
    slant = scaled_depths @ airmasses.T  # (n_layer, n_zenith)
    slant_top = np.concatenate([np.zeros((1, cos_zenith.size)), np.cumsum(slant, axis=0)])
    fraction = depth / (optics.thickness * shrink)[layer]
    path = slant_top[layer] + slant[layer] * fraction[:, None]  # (n_depth, n_zenith)

    scattered = np.einsum("zd,dz,d->z", source, np.exp(-path), weight * scaled_albedo[layer] / 2.0)
    forward_peak = np.exp(-slant_top[-1]) - np.exp(-(column.layer_depths() @ airmasses.T).sum(axis=0))
    return scattered + cos_zenith * forward_peak, spherical_albedo


def solve_plane_parallel(column: Column, mu0: float) -> float:
    """Diffuse flux by the solver's own beam source in flat air: an independent check on `solve_column`."""
    optics = Optics.of(column)
    _, _, flux_down, _ = optics.solve(mu0, 1.0, 0.0)
    return float(flux_down(float(np.cumsum(optics.thickness)[-1]))[0])


def constituent_airmasses(zenith_deg: Floats) -> Floats:
    """Air mass of each constituent, in the order of `Column.layer_depths`, shape (n_zenith, 4)."""
    return np.stack(
        [
            airmass_kasten_young_1989(zenith_deg),
            airmass_shell(zenith_deg, OZONE_HEIGHT_KM),
            airmass_shell(zenith_deg, AEROSOL_HEIGHT_KM),
            airmass_shell(zenith_deg, CLOUD_HEIGHT_KM),
        ],
        axis=1,
    )


def curved_column(zenith_deg: Floats, column: Column) -> tuple[Floats, Floats, float]:
    """Diffuse flux, global flux (both (n_zenith,)) and spherical albedo over the curved earth.

    Suns at apparent `zenith_deg` (0 to 90), black ground, unit normal irradiance.
    """
    cosine = np.maximum(np.cos(np.radians(zenith_deg)), 0.0)
    airmasses = constituent_airmasses(zenith_deg)
    diffuse, spherical_albedo = solve_column(column, cosine, airmasses)
    beam = np.exp(-(column.layer_depths() @ airmasses.T).sum(axis=0))
    return diffuse, diffuse + cosine * beam, spherical_albedo


def fingerprint() -> str:
    """Short hash of this file and of the physics it rests on; parts of another build are never mixed in."""
    rooms = REPOSITORY / "service" / "noonframe" / "sky"
    files = [
        Path(__file__),
        rooms / "airmass.py",
        rooms / "optical_depth.py",
        REPOSITORY / "data" / "ozone_cross_section.csv",
    ]
    return hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()[:16]


def solve_part(task: tuple[int, int, str]) -> str:
    """All pressures, ozone columns and wavelengths at one aerosol and one cloud node; kept on disk."""
    aerosol_index, cloud_index, stamp = task
    path = PARTS / f"{stamp}_{aerosol_index}_{cloud_index}.npz"
    if path.exists():
        return path.name
    shape = (PRESSURE_HPA.size, OZONE_DU.size)
    total = np.empty((*shape, ZENITH_DEG.size, WAVELENGTH_NM.size))
    escape = np.empty((*shape, WAVELENGTH_NM.size))
    for (p, pressure), (o, ozone), (w, wavelength) in product(
        enumerate(PRESSURE_HPA), enumerate(OZONE_DU), enumerate(WAVELENGTH_NM)
    ):
        column = column_at(
            wavelength,
            ozone_du=ozone,
            aerosol_optical_depth=AEROSOL_OPTICAL_DEPTH[aerosol_index],
            pressure_hpa=pressure,
            cloud_optical_depth=CLOUD_OPTICAL_DEPTH[cloud_index],
        )
        _, transmittance, spherical_albedo = curved_column(ZENITH_DEG, column)
        total[p, o, :, w] = np.log(transmittance)
        escape[p, o, w] = np.log1p(-spherical_albedo)
    unfinished = path.with_name(f"{path.stem}.unfinished.npz")
    np.savez(unfinished, total=total, escape=escape)
    os.replace(unfinished, path)
    return path.name


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--processes", type=int, default=2)
    processes = parser.parse_args().processes
    PARTS.mkdir(parents=True, exist_ok=True)
    stamp = fingerprint()
    tasks = [
        (a, c, stamp) for a, c in product(range(AEROSOL_OPTICAL_DEPTH.size), range(CLOUD_OPTICAL_DEPTH.size))
    ]
    begun = time.monotonic()
    with ProcessPoolExecutor(processes) as pool:
        for done, name in enumerate(pool.map(solve_part, tasks), start=1):
            print(f"{done}/{len(tasks)} {name} {time.monotonic() - begun:.0f} s", flush=True)

    parts = [np.load(PARTS / f"{stamp}_{a}_{c}.npz") for a, c, _ in tasks]
    grid = (AEROSOL_OPTICAL_DEPTH.size, CLOUD_OPTICAL_DEPTH.size)
    total = np.stack([part["total"] for part in parts])
    escape = np.stack([part["escape"] for part in parts])
    axes = {
        "aerosol_optical_depth": AEROSOL_OPTICAL_DEPTH,
        "cloud_optical_depth": CLOUD_OPTICAL_DEPTH,
        "pressure_hpa": PRESSURE_HPA,
        "ozone_du": OZONE_DU,
        "zenith_deg": ZENITH_DEG,
        "wavelength_nm": np.asarray(WAVELENGTH_NM),
    }
    np.savez_compressed(
        OUTPUT,
        **axes,
        log_total=total.reshape(*grid, *total.shape[1:]).astype(np.float32),
        log_escape=escape.reshape(*grid, *escape.shape[1:]).astype(np.float32),
    )
    write_sidecar()
    for part in PARTS.glob(f"{stamp}_*.npz"):
        part.unlink()
    print(f"{OUTPUT.name}: {OUTPUT.stat().st_size / 1e6:.2f} MB, {time.monotonic() - begun:.0f} s")


def write_sidecar() -> None:
    order = "aerosol, cloud, pressure, ozone"
    record = {
        "source": f"computed by the builder with PythonicDISORT {version('PythonicDISORT')} (16 streams,"
        f" delta-M, spherical beam) on Python {platform.python_version()}, NumPy {np.__version__}",
        "reference": "K. Stamnes et al., Applied Optics 27, 2502-2509 (1988); B. A. Bodhaine et al., J."
        " Atmos. Oceanic Technol. 16, 1854-1861 (1999); data/ozone_cross_section.json",
        "licence": "MIT, as this project",
        "retrieved": "2026-11-25",
        "columns": {
            "aerosol_optical_depth": {"unit": "1", "meaning": "nodes, at 500 nm; Angstrom exponent 1.3"},
            "cloud_optical_depth": {"unit": "1", "meaning": "nodes, the same at all wavelengths"},
            "pressure_hpa": {"unit": "hPa", "meaning": "nodes, at the surface"},
            "ozone_du": {"unit": "DU", "meaning": "nodes, total column"},
            "zenith_deg": {"unit": "degree", "meaning": "nodes, apparent solar zenith angle"},
            "wavelength_nm": {"unit": "nm", "meaning": "nodes"},
            "log_total": {
                "unit": "1",
                "meaning": "ln of the global (direct and diffuse) irradiance on level black ground per unit"
                f" extraterrestrial normal irradiance; axes {order}, zenith, wavelength",
            },
            "log_escape": {
                "unit": "1",
                "meaning": "ln(1 - spherical albedo of the atmosphere seen from below);"
                f" axes {order}, wavelength",
            },
        },
        "sha256": hashlib.sha256(OUTPUT.read_bytes()).hexdigest(),
        "builder": "data/builders/build_transfer_table.py",
        "notes": f"Scale heights: Rayleigh {RAYLEIGH_SCALE_KM:g} km, aerosol {AEROSOL_SCALE_KM:g} km. Aerosol"
        f" single-scattering albedo {AEROSOL_SINGLE_SCATTERING_ALBEDO:g}, asymmetry {AEROSOL_ASYMMETRY:g}."
        f" Ozone peak at {OZONE_PEAK_KM:g} km. Water cloud at {CLOUD_BASE_KM:g}-{CLOUD_TOP_KM:g} km above the"
        f" ground, asymmetry {CLOUD_ASYMMETRY:g}, no absorption.",
    }
    OUTPUT.with_suffix(".json").write_text(json.dumps(record, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
