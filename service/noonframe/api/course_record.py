"""A course of cloud, and what it rests on, as plain JSON and back; and one course carried on by another."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from noonframe.sky.evidence import CloudCourse
from noonframe.types import BoolArray, FloatArray, IntArray

_VALUES = ("cover", "optical_depth", "spread_stops", "evidence")


def course_record(course: CloudCourse, from_s: float, to_s: float) -> dict[str, Any]:
    """The pieces of `course` that touch the span, to the last digit: a dose must not change by being kept."""
    inside = np.clip(np.array([from_s, to_s]), course.from_s, course.to_s)
    first, last = (int(piece) for piece in course.piece_of(inside))
    pieces = slice(first, last + 1)
    return {
        "edges_s": course.edges_s[first : last + 2].tolist(),
        "cover": course.cover[pieces].tolist(),
        "optical_depth": course.optical_depth[pieces].tolist(),
        "spread_stops": course.spread_stops[pieces].tolist(),
        "evidence": [str(word) for word in course.evidence[pieces]],
        "known_until_s": course.known_until_s,
        "notes": list(course.notes),
    }


def course_from(record: Mapping[str, Any]) -> CloudCourse:
    """The course of a record, without the members of an ensemble: those are about what lies ahead."""
    return CloudCourse(
        edges_s=np.array(record["edges_s"], dtype=np.float64),
        cover=np.array(record["cover"], dtype=np.float64),
        optical_depth=np.array(record["optical_depth"], dtype=np.float64),
        spread_stops=np.array(record["spread_stops"], dtype=np.float64),
        evidence=np.array(record["evidence"]),
        known_until_s=float(record["known_until_s"]),
        notes=tuple(record["notes"]),
    )


def carried_on(kept: CloudCourse, newer: CloudCourse, now_s: float, untold: frozenset[str]) -> CloudCourse:
    """`newer`, but what is over by `now_s` and it knows nothing of is as in `kept`.

    Forecasts of some providers begin with the present, and what was forecast for this morning still is the
    best there is about it.  `untold` are the words of evidence for knowing nothing.  A time that neither
    reaches takes the nearest piece of `newer`.
    """
    edges = np.unique(np.concatenate([kept.edges_s, newer.edges_s]))
    middle = 0.5 * (edges[1:] + edges[:-1])
    piece = newer.piece_of(np.clip(middle, newer.from_s, newer.to_s))
    other = kept.piece_of(np.clip(middle, kept.from_s, kept.to_s))
    unknown = np.isin(newer.evidence[piece], list(untold)) | (middle < newer.from_s)
    take = unknown & (middle > kept.from_s) & (middle < kept.to_s) & (edges[1:] <= now_s)
    if not take.any():
        return newer
    members = tuple(
        _laid(member, edges, piece, kept=kept, other=other, take=take) for member in newer.members
    )
    return replace(_laid(newer, edges, piece, kept=kept, other=other, take=take), members=members)


def same_course(one: CloudCourse | None, other: CloudCourse | None) -> bool:
    """Whether two courses tell the same."""
    if one is other or one is None or other is None:
        return one is other
    return (
        one.edges_s.shape == other.edges_s.shape
        and len(one.members) == len(other.members)
        and all(np.array_equal(getattr(one, name), getattr(other, name)) for name in ("edges_s", *_VALUES))
        and all(same_course(*pair) for pair in zip(one.members, other.members, strict=True))
    )


def _laid(
    course: CloudCourse,
    edges_s: FloatArray,
    piece: IntArray,
    *,
    kept: CloudCourse,
    other: IntArray,
    take: BoolArray,
) -> CloudCourse:
    values = {
        name: np.where(take, getattr(kept, name)[other], getattr(course, name)[piece]) for name in _VALUES
    }
    return replace(course, edges_s=edges_s, **values)
