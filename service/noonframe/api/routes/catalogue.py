"""/v1/materials and /v1/places: what can be named in a request."""

from functools import lru_cache
from pathlib import Path

import numpy as np
from fastapi import APIRouter, Depends, Request
from starlette.concurrency import run_in_threadpool

from noonframe.api.examples import PLACES
from noonframe.api.inputs import PlacesQuery
from noonframe.api.outputs import MaterialItem, MaterialsAnswer, PlaceItem, PlacesAnswer, SensitizerItem
from noonframe.api.reading import no_query, query_parameters, read_query
from noonframe.api.routes.common import settings_of
from noonframe.datafiles import sidecar
from noonframe.errors import NoonframeError
from noonframe.places import find_cities, resolve_place
from noonframe.settings import Settings
from noonframe.sky.spectrum import SkyState, spectral_curves
from noonframe.sky.words import uniform_cloud
from noonframe.stack.effective import dose_weights
from noonframe.stack.grid import WAVELENGTH_NM
from noonframe.stack.materials import material_catalogue
from noonframe.stack.sensitizers import find_sensitizer, sensitizer_catalogue
from noonframe.stack.sheets import Material
from noonframe.types import FloatArray

router = APIRouter(tags=["catalogue"])
_REFERENCE_ZENITH_DEG = 40.0


@router.get("/v1/materials", operation_id="materials", dependencies=[Depends(no_query)])
def get_materials(request: Request) -> MaterialsAnswer:
    """Sensitizers, panes, covers and films, with where their numbers come from and how sure they are."""
    return answer_materials(settings_of(request))


def answer_materials(settings: Settings) -> MaterialsAnswer:
    """The whole catalogue, the user's own materials included."""
    folder = settings.spectra_dir
    weight = _reference_weight(folder)
    return MaterialsAnswer(
        sensitizers=[
            SensitizerItem(
                id=coat.id,
                label=coat.label,
                target_j_m2=coat.target_j_m2,
                target_spread_stops=round(coat.target_spread_stops, 3),
                provenance=coat.provenance,
            )
            for coat in sensitizer_catalogue(folder).values()
        ],
        stack=[_item(material, weight) for material in material_catalogue(folder).values()],
    )


@lru_cache(maxsize=4)
def _reference_weight(folder: Path | None) -> FloatArray:
    """Clear light, sun 50 degrees high, weighed by the classic coat; shape (n_wavelength,)."""
    sky = SkyState(300.0, 0.1, 0.05, 1013.25, uniform_cloud(0.0))
    spectra = spectral_curves(sky)
    knot = int(np.argmin(np.abs(spectra.zenith_deg - _REFERENCE_ZENITH_DEG)))
    weight: FloatArray = spectra.level[knot] * dose_weights(find_sensitizer("citrate-classic", folder))
    return weight


def _item(material: Material, weight: FloatArray) -> MaterialItem:
    nodes = WAVELENGTH_NM
    share = float(material.transmittance @ weight / np.sum(weight))
    spread = float(material.sigma @ weight / np.sum(weight))
    return MaterialItem(
        id=material.id,
        label=material.label,
        kind=material.kind,
        thickness_mm=material.thickness_mm,
        refractive_index=round(material.refractive_index, 4),
        transmittance_365nm=round(float(np.interp(365.0, nodes, material.transmittance)), 4),
        transmittance_405nm=round(float(np.interp(405.0, nodes, material.transmittance)), 4),
        effective_share=round(share, 4),
        spread_relative=round(spread / share, 4) if share > 0.0 else 0.0,
        how_known=material.how_known,
        provenance=material.provenance,
    )


@router.get("/v1/places", operation_id="places", openapi_extra=query_parameters(PlacesQuery, PLACES))
async def get_places(request: Request) -> PlacesAnswer:
    """A place in words to coordinates and a time zone, offline."""
    return await run_in_threadpool(answer_places, read_query(PlacesQuery, request))


def answer_places(query: PlacesQuery) -> PlacesAnswer:
    """Where the words of a request may mean."""
    try:
        exact = resolve_place(query.name)
    except NoonframeError:
        cities = find_cities(query.name, query.limit)
        if not cities:
            raise
        items = [
            PlaceItem(
                label=city.label,
                latitude_deg=city.latitude_deg,
                longitude_deg=city.longitude_deg,
                elevation_m=None,
                time_zone=city.time_zone,
                source="city table",
            )
            for city in cities
        ]
    else:
        items = [
            PlaceItem(
                label=exact.label,
                latitude_deg=exact.latitude_deg,
                longitude_deg=exact.longitude_deg,
                elevation_m=exact.elevation_m,
                time_zone=exact.time_zone,
                source=exact.source,
            )
        ]
    return PlacesAnswer(places=items, attribution=str(sidecar("places.csv")["licence"]))
