"""Aims round the compass: which way a frame in the open leans at each stage, and the sun's path meanwhile."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from noonframe.api.pictures.drawing import (
    FAINT,
    FRAME,
    QUIET,
    SUN,
    Drawing,
    Point,
    between_discs,
    note_lines,
)
from noonframe.spot.plane import Aim
from noonframe.spot.skyline import Skyline

_WIDTH = 720.0
_MARGIN = 60.0
_RADIUS = 190.0
_LINE = 20.0


@dataclass(frozen=True)
class AimStage:
    """One aim from one time to another."""

    aim: Aim
    says: str
    times: str


def draw_aim_plan(
    title: str,
    stages: Sequence[AimStage],
    sun_path: Sequence[tuple[float, float]],
    footer: Sequence[str],
    skyline: Skyline | None = None,
) -> str:
    """The plan as SVG: north is up, the rim is the horizon and the middle is overhead.

    `sun_path` holds azimuth and elevation in degrees along the exposure.  An aim is drawn where its normal
    points: a level frame's in the middle, an upright one's on the rim.
    """
    centre = (_WIDTH / 2.0, 100.0 + _RADIUS)
    floor = centre[1] + _RADIUS + 56.0
    height = floor + _LINE * (len(stages) + note_lines(footer)) + 24.0
    drawing = Drawing(_WIDTH, height, title, "; ".join(f"{stage.times}: {stage.says}" for stage in stages))
    drawing.text((_MARGIN, 30.0), title, 18.0, font_weight="600")
    drawing.text(
        (_MARGIN, 50.0), "North is up. The rim is the horizon, the middle is overhead. Dots: the sun.", 12.0
    )

    def place(azimuth_deg: float, elevation_deg: float) -> Point:
        out = _RADIUS * (90.0 - max(elevation_deg, 0.0)) / 90.0
        angle = math.radians(azimuth_deg)
        return centre[0] + out * math.sin(angle), centre[1] - out * math.cos(angle)

    if skyline is not None:
        around = np.linspace(0.0, 360.0, 361)
        tops = [
            place(*top) for top in zip(around.tolist(), skyline.elevation_at(around).tolist(), strict=True)
        ]
        ring = [place(azimuth, 0.0) for azimuth in around.tolist()]
        drawing.polygon([*ring, *reversed(tops)], fill="#d7d2c6", stroke="none")
        drawing.path(tops, stroke=FAINT, stroke_width="1")
        drawing.text((_MARGIN, 68.0), "Grey at the rim: what stands around.", 12.0)
    drawing.circle(centre, _RADIUS, stroke_width="1.8")
    for elevation in (30.0, 60.0):
        drawing.circle(centre, _RADIUS * (90.0 - elevation) / 90.0, stroke=FAINT, stroke_dasharray="3 4")
        x, y = place(45.0, elevation)
        drawing.text((x + 3.0, y), f"{elevation:.0f}°", 10.0, fill=QUIET)
    for name, azimuth in (("north", 0.0), ("east", 90.0), ("south", 180.0), ("west", 270.0)):
        x, y = place(azimuth, 0.0)
        shift = {"north": -8.0, "south": 16.0}.get(name, 4.0)
        anchor = {"east": "start", "west": "end"}.get(name, "middle")
        aside = {"east": 7.0, "west": -7.0}.get(name, 0.0)
        drawing.text((x + aside, y + shift), name, 12.0, text_anchor=anchor)
    lit = [place(azimuth, elevation) for azimuth, elevation in sun_path if elevation > 0.0]
    if lit:
        drawing.path(lit, stroke="#b98a12", stroke_width="1.2")
        for x, y in lit[:: max(len(lit) // 8, 1)]:
            drawing.circle((x, y), 5.0, fill=SUN, stroke="#b98a12")
    heads = [place(stage.aim.aim_azimuth_deg, 90.0 - stage.aim.tilt_deg) for stage in stages]
    for stage, at in zip(stages, heads, strict=True):
        if stage.aim.tilt_deg > 0.0:
            drawing.path([centre, at], stroke=FRAME, stroke_width="2.2")
    for before, at in pairwise(heads):
        if before != at:
            path = between_discs(before, at)
            drawing.path(path, stroke_width="1.2", stroke_dasharray="4 3", marker_end="url(#tip)")
    for number, at in enumerate(heads, start=1):
        drawing.circle(at, 11.0, fill="#fff", stroke=FRAME, stroke_width="2")
        drawing.text((at[0], at[1] + 4.5), str(number), 13.0, text_anchor="middle", font_weight="600")
    y = floor
    for number, stage in enumerate(stages, start=1):
        drawing.entry((_MARGIN, y), number, stage.times, stage.says)
        y += _LINE
    y += 6.0
    for words in footer:
        y = drawing.note((_MARGIN, y), words, _LINE)
    return drawing.to_svg()
