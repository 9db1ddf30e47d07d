"""Spots in requests: as a JSON object, or for the common cases as flat query fields."""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

STRICT = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

Skyline = Annotated[list[tuple[float, float]], Field(max_length=720)]
_Metres = Annotated[float, Field(ge=-50, le=50)]


class OpenSpotBody(BaseModel):
    """A spot on open ground."""

    model_config = STRICT

    kind: Literal["open"]
    tilt_deg: float = Field(0.0, ge=0, le=90)
    aim_azimuth_deg: float = Field(180.0, ge=0, le=360)
    skyline: Skyline | None = Field(
        None,
        description="pairs of azimuth and elevation, by rising azimuth",
        examples=[[[90, 10], [270, 35]]],
    )


class WindowBody(BaseModel):
    """The hole in the wall; heights are above the work surface."""

    model_config = STRICT

    outward_azimuth_deg: float = Field(ge=0, le=360, description="where one looks, looking straight out")
    width_m: _Metres = Field(description="of the opening")
    sill_m: _Metres = Field(description="lower edge of the opening above the work surface")
    head_m: _Metres = Field(description="upper edge of the opening above the work surface")
    reveal_depth_m: _Metres = Field(0.0, description="thickness of the wall")
    overhang_depth_m: _Metres = Field(0.0, description="of a slab that stands out above the opening")
    pane: str = Field("none", min_length=1, max_length=100, description="material id, or none (open)")
    skyline: Skyline | None = Field(None, description="what stands opposite: azimuth and elevation")


class FrameBody(BaseModel):
    """The frame inside; a flat frame's width runs along the wall and its height away from it."""

    model_config = STRICT

    distance_m: _Metres = Field(description="from the inner face of the wall to the frame's centre")
    offset_m: _Metres = Field(0.0, description="from the centre line, positive to the right looking out")
    width_m: _Metres = 0.3
    height_m: _Metres = 0.4
    tilt_deg: float = Field(0.0, ge=0, le=90)
    aim_azimuth_deg: float | None = Field(
        None, ge=0, le=360, description="of an easel; straight at the window if not given"
    )


class WindowSpotBody(BaseModel):
    """A spot inside a window."""

    model_config = STRICT

    kind: Literal["window"]
    window: WindowBody
    frame: FrameBody


SpotBody = Annotated[OpenSpotBody | WindowSpotBody, Field(discriminator="kind")]


class SpotFields(BaseModel):
    """The flat form: tilt, aim and skyline of a frame in the open, or a window and the frame inside it."""

    model_config = STRICT

    tilt_deg: float = Field(0.0, ge=0, le=90, description="of the frame, from level")
    aim_azimuth_deg: float = Field(
        180.0, ge=0, le=360, description="which way a tilted frame leans, clockwise from true north"
    )
    skyline: str | None = Field(
        None,
        max_length=2000,
        description="walls and trees around, as azimuth:elevation pairs by rising azimuth",
        examples=["90:10,180:0,270:35"],
    )
    window_outward_azimuth_deg: float | None = Field(
        None, ge=0, le=360, description="for a frame inside a window: where one looks, looking straight out"
    )
    window_width_m: _Metres | None = None
    window_sill_m: _Metres | None = Field(None, description="above the work surface")
    window_head_m: _Metres | None = Field(None, description="above the work surface")
    window_reveal_depth_m: _Metres | None = Field(None, description="0 if not given")
    window_overhang_depth_m: _Metres | None = Field(None, description="0 if not given")
    window_pane: str | None = Field(None, min_length=1, max_length=100, description="none if not given")
    frame_distance_m: _Metres | None = Field(None, description="centre of the frame from the inner wall face")
    frame_offset_m: _Metres | None = Field(None, description="0 if not given; positive to the right")
    frame_width_m: _Metres | None = Field(None, description="0.3 if not given")
    frame_height_m: _Metres | None = Field(None, description="0.4 if not given")
