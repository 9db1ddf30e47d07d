"""How sharp the edge of a shadow stays while the sun travels.

The edge of an object at height h above the coat falls h tan(z) away from the point under it, on the side
away from the sun.  During an exposure that point wanders; and the sun is a disc, so the edge is a ramp even
when it stands still.
"""

import math
from dataclasses import dataclass

import numpy as np

from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

SUN_ANGULAR_RADIUS_RAD = math.radians(0.2666)
_TALLEST_MM = 500.0


@dataclass(frozen=True)
class EdgeBlur:
    """Blur of a shadow's edge on a level sheet.  [mm], shares unitless

    `edge_blur_mm` is `wander_mm` (how far the edge travels, end to end) and `disc_mm` (the width of the
    ramp that the sun's disc makes, mean over the exposure) in quadrature.  `diffuse_share` of the dose comes
    from the rest of the sky and creeps under the object as a soft veil that no stillness sharpens.
    """

    edge_blur_mm: float
    wander_mm: float
    disc_mm: float
    diffuse_share: float


def edge_blur(
    sun_vector: FloatArray, beam_dose: FloatArray, diffuse_dose: FloatArray, object_height_mm: float
) -> EdgeBlur | None:
    """Blur for an object `object_height_mm` (0-500) above a level sheet, or None without any beam.

    `sun_vector` (n, 3) are unit vectors east, north, up at the steps of the exposure; `beam_dose` and
    `diffuse_dose` (n,) what each step gives.  Steps without beam cast no shadow and do not count.
    """
    if not (math.isfinite(object_height_mm) and 0.0 <= object_height_mm <= _TALLEST_MM):
        raise OutOfDomain("object_height_mm", object_height_mm, f"between 0 and {_TALLEST_MM:g}")
    casts = (beam_dose > 0.0) & (sun_vector[:, 2] > 0.0)
    if not np.any(casts):
        return None
    east, north, up = sun_vector[casts].T
    weight = beam_dose[casts] / np.sum(beam_dose[casts])
    edge = np.stack([-east / up, -north / up], axis=1) * object_height_mm
    wander = _farthest_apart(edge)
    # Across the sun's direction the ramp is 2 r h / cos z wide, along it 2 r h / cos^2 z: their mean.
    ramp = 2.0 * SUN_ANGULAR_RADIUS_RAD * object_height_mm * (1.0 / up + 1.0 / up**2) / 2.0
    disc = float(np.sum(ramp * weight))
    total = float(np.sum(beam_dose) + np.sum(diffuse_dose))
    return EdgeBlur(
        edge_blur_mm=math.hypot(wander, disc),
        wander_mm=wander,
        disc_mm=disc,
        diffuse_share=float(np.sum(diffuse_dose)) / total,
    )


def _farthest_apart(points: FloatArray) -> float:
    """Largest distance between any two of points (n, 2), to a part in 10 000: widths over many directions."""
    angle = np.linspace(0.0, np.pi, 180, endpoint=False)
    across = points @ np.stack([np.cos(angle), np.sin(angle)])
    return float(np.max(np.ptp(across, axis=0)))
