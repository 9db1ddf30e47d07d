"""What a request for a session plan may say, and what may be told of one that runs."""

from typing import Annotated, Literal
from uuid import UUID

from pydantic import BaseModel, Field

from noonframe.api.inputs import Name, Saved, TargetFields
from noonframe.api.inputs_spot import STRICT, SpotBody
from noonframe.api.times import CivilDate, OffsetTime
from noonframe.bench.session import HIGHEST_PRIORITY, LONGEST_TASK_S, MOST_FRAMES, MOST_SHEETS, Work
from noonframe.bench.session_light import LEAST_SURENESS, MOST_SURENESS
from noonframe.sky.words import SKY_WORDS, THICKEST_CLOUD

MOST_SPOTS = 4
MOST_BREAKS = 12
MOST_EVENTS = 200
MOST_DIFFERENT_SHEETS = 40

ShortName = Annotated[str, Field(min_length=1, max_length=60)]
_Seconds = Annotated[float, Field(ge=0, le=LONGEST_TASK_S)]
_USUAL = Work()


class SessionSpotBody(BaseModel):
    """A spot that frames may lie at, and whether they may be moved there."""

    model_config = STRICT

    name: ShortName = Field(examples=["yard"])
    spot: SpotBody | None = Field(
        None, description="level, open ground if neither this nor saved_spot is given"
    )
    saved_spot: Saved | None = Field(
        None, description="a saved spot by name or id; the place is the session's own"
    )
    holds: int | None = Field(
        None, ge=1, le=MOST_FRAMES, description="frames there at once; 1 at a window, any number in the open"
    )
    moves: Literal["none", "table", "propped", "free"] = Field(
        "none",
        description="whether a frame may be moved during an exposure: over the table inside a window, or by "
        "aiming it in the open (propped at 30 degrees, or freely)",
    )
    max_moves: int = Field(2, ge=0, le=4, description="at most so many in one exposure")
    evenness_stops: float | None = Field(
        0.5, gt=0, le=4, description="inside a window: every part of a sheet within so many stops; null: any"
    )


class SessionSheetBody(BaseModel):
    """A sheet to print, or several alike; what is left out is as for the session."""

    model_config = STRICT

    name: ShortName = Field(examples=["kelp fronds"])
    count: int = Field(1, ge=1, le=MOST_SHEETS)
    recipe: Saved | None = Field(None, description="a saved recipe by name or id, with its learned target")
    recipe_version: int | None = Field(None, ge=1, le=2**31 - 1)
    sensitizer: Name | None = None
    stack: Annotated[str, Field(max_length=400)] | None = None
    target_j_m2: float | None = Field(None, ge=1, le=1e8)
    target_spread_stops: float | None = Field(None, ge=0, le=4)
    target_source: Annotated[str, Field(min_length=1, max_length=300)] | None = None
    reciprocity_exponent: float | None = Field(None, ge=0.7, le=1.1)
    spots: Annotated[list[ShortName], Field(min_length=1, max_length=MOST_SPOTS)] | None = Field(
        None, description="the only spots it may lie at; all if not given"
    )
    priority: int = Field(1, ge=1, le=HIGHEST_PRIORITY, description="a sheet of 2 counts as two of 1")
    earliest: OffsetTime | None = Field(None, description="not loaded before")
    done_by: OffsetTime | None = Field(None, description="out of the wash by then, or not at all")


class FramesBody(BaseModel):
    """Frames of one kind."""

    model_config = STRICT

    name: ShortName = Field("frame", examples=["frame"])
    count: int = Field(1, ge=1, le=MOST_FRAMES)
    spots: Annotated[list[ShortName], Field(min_length=1, max_length=MOST_SPOTS)] | None = Field(
        None, description="the only spots they can lie at; any if not given"
    )


class WorkBody(BaseModel):
    """How long the printer's hands take, and the wash tray."""

    model_config = STRICT

    load_s: float = Field(
        _USUAL.load_s, ge=10, le=LONGEST_TASK_S, description="sheet and negative into a frame"
    )
    carry_s: _Seconds = Field(_USUAL.carry_s, description="a frame out, or in")
    move_s: _Seconds = Field(_USUAL.move_s, description="one move during an exposure; no light meanwhile")
    unload_s: float = Field(_USUAL.unload_s, ge=10, le=LONGEST_TASK_S, description="a frame")
    wash_s: _Seconds = Field(_USUAL.wash_s, description="hands at the tray for each sheet")
    soak_s: _Seconds = Field(_USUAL.soak_s, description="in the tray after that, unattended")
    tray_holds: int = Field(_USUAL.tray_holds, ge=1, le=100, description="sheets in the tray at once")


class BreakBody(BaseModel):
    """A time without hands; frames go on."""

    model_config = STRICT

    name: ShortName = "break"
    start: OffsetTime
    end: OffsetTime


class SessionBody(TargetFields):
    """A session of printing; place, sky, coat, stack and target hold for every sheet without its own."""

    start: OffsetTime | None = Field(None, description="hands from then on; sunrise, or now if later")
    end: OffsetTime | None = Field(
        None, description="all washed by then; the wash of a sunset print if not given"
    )
    date: CivilDate | None = Field(
        None, description="civil day at the place, where start or end is not given"
    )
    sheets: Annotated[list[SessionSheetBody], Field(min_length=1, max_length=MOST_SHEETS)]
    spots: Annotated[list[SessionSpotBody], Field(min_length=1, max_length=MOST_SPOTS)] | None = Field(
        None, description="the spot that tilt, skyline, window and frame fields describe if not given"
    )
    frames: Annotated[list[FramesBody], Field(min_length=1, max_length=8)] = Field([FramesBody(count=3)])
    work: WorkBody = WorkBody()
    breaks: Annotated[list[BreakBody], Field(max_length=MOST_BREAKS)] = Field([])
    sureness: float = Field(
        LEAST_SURENESS,
        ge=LEAST_SURENESS,
        le=MOST_SURENESS,
        description="share of the skies and doubts that the planned lengths cover; 0.5 is the likely length",
    )


class SessionSaveBody(SessionBody):
    """A session to be planned and kept."""

    name: Saved | None = Field(None, description="the day and a number if not given")


class SessionChange(BaseModel):
    """What is to change of a saved session beside its plan."""

    model_config = STRICT

    name: Saved | None = None


class _SheetEvent(BaseModel):
    model_config = STRICT

    at: OffsetTime
    sheet_id: ShortName = Field(description="as in the plan, such as kelp-fronds-1")


class StartedEvent(_SheetEvent):
    """A sheet went into the light."""

    kind: Literal["started"]
    frame: ShortName | None = Field(None, description="as planned if not given")
    spot: ShortName | None = Field(None, description="as planned if not given")


class EndedEvent(_SheetEvent):
    """A sheet was taken out of the light; unloading and washing follow."""

    kind: Literal["ended"]


class DoseEvent(_SheetEvent):
    """What a sheet in the light had gathered by then."""

    kind: Literal["dose"]
    dose_j_m2: float = Field(ge=0, le=1e8)


class DroppedEvent(_SheetEvent):
    """A sheet that is not wanted any more."""

    kind: Literal["dropped"]


class CloudEvent(BaseModel):
    """The sky as seen, or feared, from a time until another (the end of the session if not given)."""

    model_config = STRICT

    kind: Literal["cloud"]
    at: OffsetTime
    until: OffsetTime | None = None
    sky: Name | None = Field(
        None, description=f"what is seen: {', '.join(SKY_WORDS)}; overcast if neither is given"
    )
    cloud_optical_depth: float | None = Field(None, ge=0, le=THICKEST_CLOUD)


class AddedEvent(BaseModel):
    """More sheets."""

    model_config = STRICT

    kind: Literal["added"]
    at: OffsetTime
    sheets: Annotated[list[SessionSheetBody], Field(min_length=1, max_length=MOST_SHEETS)]


class BreakEvent(BaseModel):
    """Another time without hands."""

    model_config = STRICT

    kind: Literal["break"]
    at: OffsetTime = Field(description="when it begins")
    until: OffsetTime
    name: ShortName = "break"


SessionEvent = Annotated[
    StartedEvent | EndedEvent | DoseEvent | DroppedEvent | CloudEvent | AddedEvent | BreakEvent,
    Field(discriminator="kind"),
]


class ReplanBody(BaseModel):
    """What happened since the session was planned; an empty list plans the rest anew as it is now."""

    model_config = STRICT

    events: Annotated[list[SessionEvent], Field(max_length=MOST_EVENTS)] = []
    followed: bool = Field(
        False, description="true: what was planned before now, and not told of otherwise, happened as planned"
    )


class SessionsQuery(BaseModel):
    """Saved sessions of some days."""

    model_config = STRICT

    limit: int = Field(20, ge=1, le=500)
    name: Saved | None = None
    start: OffsetTime | None = Field(None, description="those not over before")
    end: OffsetTime | None = Field(None, description="those that begin before")
    retired: Literal["no", "yes", "both"] = "no"
    before: UUID | None = Field(None, description="id of the last one of the page before")
