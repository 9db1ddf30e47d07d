"""From a question about many places to its answer; no physics here."""

import datetime as dt
import math

import numpy as np

from noonframe.api.ask import LIGHT_MODEL, find_target
from noonframe.api.batch_answers import BatchAnswer, BatchBasis, BatchExposureColumns, BatchLightColumns
from noonframe.api.batch_bodies import BatchBody
from noonframe.api.cautions import sun_cautions
from noonframe.api.inputs import TargetFields
from noonframe.api.times import format_time
from noonframe.dose.batch import BatchLight, batch_light
from noonframe.dose.batch_exposure import (
    DARK,
    LIGHT_ENDS,
    OVER_A_DAY,
    REACHED,
    BatchExposure,
    batch_exposure,
)
from noonframe.dose.batch_places import BatchPlaces
from noonframe.dose.batch_sky import BatchSheet
from noonframe.dose.scene import Target
from noonframe.settings import Settings
from noonframe.sky.assume import AssumedSky, assume_sky
from noonframe.stack.effective import dose_weights
from noonframe.stack.materials import parse_stack
from noonframe.stack.sensitizers import find_sensitizer
from noonframe.sun.place import Place
from noonframe.types import FloatArray

OUTCOMES = {
    REACHED: ("reached", "the sheet has its dose within the length"),
    DARK: ("dark", "there is no light at the start: the sun is 6 degrees or more below the horizon"),
    LIGHT_ENDS: ("light-ends", "the light goes before the sheet has its dose"),
    OVER_A_DAY: ("over-a-day", "24 hours of light are not enough"),
}
_WORDS = np.array([OUTCOMES[code][0] for code in sorted(OUTCOMES)], dtype=object)
_NOTES = (
    "light within 0.35 % of what a single place is told, 0.5 % in twilight",
    "no forecast is asked here, and no next chance looked for: ask /v1/exposure about a single place",
)
_NO_ELEVATION = "elevation not given: sea level taken (1000 m would add about 5 % light)"


def answer_batch(body: BatchBody, settings: Settings, now_s: float) -> BatchAnswer:
    """The columns that a body asks for."""
    start_s = now_s if body.start is None else body.start.timestamp()
    sky, sheet = _sky_and_sheet(body, settings, start_s)
    target = find_target(_target_fields(body), sheet.sensitizer)
    places = BatchPlaces.checked(
        np.array(body.latitude_deg),
        np.array(body.longitude_deg),
        _numbers(body.elevation_m) if body.elevation_m else 0.0,
        _numbers(body.ozone_du) if body.ozone_du else None,
        _numbers(body.aerosol_optical_depth) if body.aerosol_optical_depth else None,
    )
    light = batch_light(sheet, places, start_s)
    exposure = None
    if "exposure" in body.parts:
        found = batch_exposure(
            sheet,
            places,
            start_s,
            target,
            light_spread_stops=math.hypot(
                sky.spread_stops, sheet.stack.spread_stops(dose_weights(sheet.sensitizer))
            ),
            reciprocity_exponent=body.reciprocity_exponent,
        )
        exposure = _exposure_columns(found, target)
    glazed = any(material.kind != "film" for material in sheet.stack.materials)
    highest_deg = 90.0 - float(light.zenith_deg.min())
    return BatchAnswer.model_construct(
        time=format_time(start_s, dt.UTC),
        count=places.count,
        light=_light_columns(light) if "light" in body.parts else None,
        exposure=exposure,
        cautions=sun_cautions(float(light.uv_index.max()), highest_deg, outdoors=True, glazed=glazed),
        basis=BatchBasis(
            sky_evidence=sky.evidence,
            sky_says=sky.says,
            sky_spread_stops=round(sky.spread_stops, 3),
            ground_albedo=sky.state.ground_albedo,
            sources=dict(sky.sources),
            spot="open ground, level",
            stack=list(sheet.stack.ids),
            sensitizer=sheet.sensitizer.id,
            light_model=LIGHT_MODEL,
            notes=[*_NOTES, *([] if body.elevation_m else [_NO_ELEVATION])],
        ),
    )


def _sky_and_sheet(body: BatchBody, settings: Settings, start_s: float) -> tuple[AssumedSky, BatchSheet]:
    """What all places share; their own air is left to them, and only told of as given or not."""
    sky = assume_sky(
        Place(0.0, 0.0),
        dt.datetime.fromtimestamp(start_s, dt.UTC).date(),
        ozone_du=body.ozone_du[0] if body.ozone_du else None,
        aerosol_optical_depth=body.aerosol_optical_depth[0] if body.aerosol_optical_depth else None,
        ground_albedo=body.ground_albedo,
        cloud_optical_depth=body.cloud_optical_depth,
        sky=body.sky,
    )
    stack = parse_stack(body.stack, settings.spectra_dir)
    sensitizer = find_sensitizer(body.sensitizer, settings.spectra_dir)
    return sky, BatchSheet(sky.state.cloud, sky.state.ground_albedo, stack, sensitizer)


def _target_fields(body: BatchBody) -> TargetFields:
    return TargetFields(target_j_m2=body.target_j_m2, target_spread_stops=body.target_spread_stops)


def _numbers(values: list[float]) -> FloatArray | float:
    return values[0] if len(values) == 1 else np.array(values)


def _light_columns(light: BatchLight) -> BatchLightColumns:
    lit = light.uva_w_m2 > 0.0
    share = np.minimum(light.uva_diffuse_w_m2 / np.where(lit, light.uva_w_m2, 1.0), 1.0)
    return BatchLightColumns.model_construct(
        solar_zenith_deg=_column(light.zenith_deg, 4),
        solar_azimuth_deg=_column(light.azimuth_deg, 4),
        uva_w_m2=_column(light.uva_w_m2, 5),
        uva_diffuse_fraction=_or_none(np.where(lit, share, np.nan), 4),
        blue_w_m2=_column(light.blue_w_m2, 5),
        effective_w_m2=_column(light.effective_w_m2, 5),
        uv_index=_column(light.uv_index, 4),
    )


def _exposure_columns(found: BatchExposure, target: Target) -> BatchExposureColumns:
    return BatchExposureColumns.model_construct(
        length_s=_or_none(found.length_s, 3),
        length_low_s=_or_none(found.low_s, 3),
        length_high_s=_or_none(found.high_s, 3),
        dose_share=_column(found.dose_share, 5),
        outcome=_WORDS[found.outcome].tolist(),
        outcomes=dict(OUTCOMES.values()),
        target_j_m2=target.target_j_m2,
        target_spread_stops=target.spread_stops,
        target_source=target.source,
    )


def _column(values: FloatArray, digits: int) -> list[float]:
    rounded: list[float] = np.round(values, digits).tolist()
    return rounded


def _or_none(values: FloatArray, digits: int) -> list[float | None]:
    rounded = np.round(values, digits).astype(object)
    rounded[np.isnan(values)] = None
    listed: list[float | None] = rounded.tolist()
    return listed
