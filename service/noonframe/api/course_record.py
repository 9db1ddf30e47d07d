"""A course of cloud, and what it rests on, as plain JSON and back."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from noonframe.sky.evidence import CloudCourse


def course_record(
    course: CloudCourse, from_s: float, to_s: float, basis: Mapping[str, Any]
) -> dict[str, Any]:
    """The pieces of `course` that touch the span, and the basis that was told with them."""
    inside = np.clip(np.array([from_s, to_s]), course.from_s, course.to_s)
    first, last = (int(piece) for piece in course.piece_of(inside))
    pieces = slice(first, last + 1)
    return {
        "edges_s": course.edges_s[first : last + 2].tolist(),
        "cover": np.round(course.cover[pieces], 5).tolist(),
        "optical_depth": np.round(course.optical_depth[pieces], 4).tolist(),
        "spread_stops": np.round(course.spread_stops[pieces], 4).tolist(),
        "evidence": [str(word) for word in course.evidence[pieces]],
        "known_until_s": course.known_until_s,
        "notes": list(course.notes),
        "basis": dict(basis),
    }


def course_from(record: Mapping[str, Any]) -> CloudCourse:
    """The course of a record; rounding may have parted cover and depth, which vanish together."""
    cover = np.array(record["cover"], dtype=np.float64)
    depth = np.array(record["optical_depth"], dtype=np.float64)
    cloudy = (cover > 0.0) & (depth > 0.0)
    return CloudCourse(
        edges_s=np.array(record["edges_s"], dtype=np.float64),
        cover=np.where(cloudy, cover, 0.0),
        optical_depth=np.where(cloudy, depth, 0.0),
        spread_stops=np.array(record["spread_stops"], dtype=np.float64),
        evidence=np.array(record["evidence"]),
        known_until_s=float(record["known_until_s"]),
        notes=tuple(record["notes"]),
    )
