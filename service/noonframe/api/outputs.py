"""What answers say."""

from typing import Literal

from pydantic import BaseModel, Field

from noonframe.api.lamp_outputs import LampBasis, ObjectItem


class SkyBasis(BaseModel):
    """The sky an answer rests on and where each part of it came from."""

    evidence: str = Field(description="what the cloud is known from", examples=["sky seen: clear"])
    says: str = Field(examples=["a clear sky"])
    ozone_du: float
    aerosol_optical_depth: float
    ground_albedo: float
    pressure_hpa: float
    sources: dict[str, str]
    spread_stops: float = Field(description="one standard deviation of the light")


class WeatherBasis(BaseModel):
    """The forecast an answer rests on, or why there is none."""

    evidence: str = Field(
        description="shortwave irradiance, layered cloud, total cloud, beyond the forecast, or climatology"
    )
    provider: str | None
    model: str | None
    attribution: str | None
    freshness: Literal["fresh", "stale"] | None
    age_s: int | None
    known_until: str | None
    cloud_cover: float = Field(description="share of time cloud stands before the sun, at the start")
    cloud_optical_depth: float = Field(description="of that cloud")
    notes: list[str]
    why: list[str] = Field(description="what went wrong with providers asked before")


class Basis(BaseModel):
    """What an answer rests on."""

    place: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    time_zone: str
    sky: SkyBasis
    weather: WeatherBasis | None = Field(None, description="null where weather is off or the sky was given")
    spot: str = Field(examples=["open ground, level"])
    stack: list[str]
    sensitizer: str
    light_model: str
    notes: list[str] = Field(default_factory=list)


class LightAnswer(BaseModel):
    """A course of light; UVA (315-400 nm) and blue (400-480 nm) are global on the plane, before any stack."""

    time: list[str]
    solar_zenith_deg: list[float] = Field(description="refracted")
    solar_azimuth_deg: list[float] = Field(description="clockwise from true north")
    uva_w_m2: list[float]
    uva_diffuse_fraction: list[float | None] = Field(description="null in the dark")
    blue_w_m2: list[float]
    effective_w_m2: list[float] = Field(description="behind the stack, weighed by the sensitizer")
    uv_index: list[float] = Field(description="on level, open ground")
    basis: Basis


class WindowLightAnswer(LightAnswer):
    """Light inside a window: means over the sheet, behind the pane and before the stack."""

    beam_share: list[float] = Field(description="share of the sheet in the patch of sun, 0-1")
    sky_view: float = Field(description="cosine-weighted share of the whole sky the sheet sees, mean, 0-1")


class Position(BaseModel):
    """Where a frame lies and how it faces; distances only inside a window."""

    distance_m: float | None
    offset_m: float | None
    tilt_deg: float
    aim_azimuth_deg: float | None


class Move(BaseModel):
    """A change of position or aim during an exposure."""

    time: str
    after_s: float = Field(description="seconds after the start")
    says: str
    to: Position
    saves_s: float | None = Field(
        description="how much later the sheet would be done without this move; null: not, or not evenly"
    )


class Evenness(BaseModel):
    """Lowest and highest dose on the sheet at the end, in stops from the target; null: no light at all."""

    lowest_stops: float | None
    highest_stops: float | None


class ExposureAnswer(BaseModel):
    """How long, from when, until when, and how sure."""

    start: str
    end: str | None
    length_s: float | None = Field(description="null when the light goes first")
    length_low_s: float | None = Field(description="10 % quantile")
    length_high_s: float | None = Field(description="90 % quantile; null when the light may go first")
    reached: bool
    dose_share: float = Field(
        description="share of the target gathered by the end of the light, 1 when reached"
    )
    target_j_m2: float
    target_spread_stops: float
    target_source: str
    light_end: str | None = Field(description="when the light goes, where the exposure comes near it")
    if_sun_stays_s: float | None = Field(description="length under a clear sky")
    if_cloud_covers_s: float | None = Field(description="length if an ordinary cloud stands before the sun")
    next_start: str | None = Field(description="when not reached: the next sensible start within a year")
    next_length_s: float | None
    evenness: Evenness | None = Field(
        None, description="inside a window: how unevenly the sheet is lit if it stays; see /v1/moves"
    )
    objects: list[ObjectItem] | None = Field(None, description="what lies on the sheet, where it was told")
    moves: list[Move]
    cautions: list[str]
    basis: Basis | LampBasis
    summary: str


class Edge(BaseModel):
    """Blur of a shadow's edge for an object on the sheet."""

    object_height_mm: float
    edge_blur_mm: float
    wander_mm: float
    disc_mm: float
    diffuse_share: float


class MovesAnswer(BaseModel):
    """When and where to move."""

    start: str
    end: str | None
    length_s: float | None
    length_low_s: float | None
    length_high_s: float | None
    reached: bool
    outcome: Literal["reached", "uneven", "out-of-light"] = Field(
        description="uneven: done, but no plan found keeps every part of the sheet within the tolerance"
    )
    begin: Position
    begin_says: str
    moves: list[Move]
    stay_length_s: float | None = Field(description="without any move from where the frame begins")
    best_length_s: float | None = Field(description="the soonest found, before small gains were waived")
    proven: bool = Field(description="whether no better plan exists on the grid of minutes and places")
    within_share: float | None = Field(description="the soonest found is at most this much from the best")
    evenness: Evenness
    dose_map_stops: list[list[float | None]] | None = Field(description="row by row from the lower edge")
    edge: Edge | None
    places_tried: int
    if_cloud_covers: str = Field(description="how the plan changes if cloud covers the sun")
    if_cloud_covers_s: float | None
    target_j_m2: float
    target_spread_stops: float
    target_source: str
    cautions: list[str]
    basis: Basis
    summary: str


class PatchMomentItem(BaseModel):
    """The patch of sun at one moment; corners are offset and distance in metres on the table."""

    time: str
    corners: list[tuple[float, float]]
    area_m2: float
    table_share: float


class MonthItem(BaseModel):
    """The best place on the table in the middle of a month."""

    month: int
    sun_from: str | None
    sun_until: str | None
    best: Position
    best_says: str
    dose_j_m2: float


class PatchAnswer(BaseModel):
    """The patch of sun on the table in the course of a day."""

    date: str
    sun_from: str | None
    sun_until: str | None
    moments: list[PatchMomentItem]
    best: Position
    best_says: str
    best_dose_j_m2: float
    months: list[MonthItem] | None
    basis: Basis
    summary: str


class SlotItem(BaseModel):
    """A stretch of day in which the exposure can be made."""

    first_start: str
    last_start: str
    best_start: str
    best_end: str | None
    length_s: float | None
    length_low_s: float | None
    length_high_s: float | None
    pace: Literal["quick", "fair", "slow"]
    steadiness: float = Field(description="lowest over highest light during the best exposure")
    late_cost_s: float | None = Field(description="what beginning ten minutes after the best start adds")
    solar_elevation_deg: float
    why: str


class DaySun(BaseModel):
    """The sun's day."""

    date: str
    outcome: str
    dawn: str | None
    rise: str | None
    transit: str
    set: str | None
    dusk: str | None
    transit_elevation_deg: float
    day_length_s: float


class SlotsAnswer(BaseModel):
    """Slots, best first."""

    slots: list[SlotItem]
    sun: list[DaySun]
    target_j_m2: float
    target_spread_stops: float
    target_source: str
    next_start: str | None
    next_length_s: float | None
    cautions: list[str]
    basis: Basis
    summary: str


class SayAnswer(BaseModel):
    """The exposure in one line, flat so that a phone automation can pick what it wants."""

    summary: str
    reached: bool
    minutes: float | None
    seconds: int | None
    start: str
    end: str | None
    end_epoch: int | None
    minutes_low: float | None
    minutes_high: float | None
    next_start: str | None
    caution: str | None


class MaterialItem(BaseModel):
    """A pane, cover or film."""

    id: str
    label: str
    kind: str
    thickness_mm: float | None
    refractive_index: float
    transmittance_365nm: float
    transmittance_405nm: float
    effective_share: float = Field(
        description="share of bare-sheet light it passes, classic coat, sun at 50 deg"
    )
    spread_relative: float
    how_known: str
    provenance: str


class SensitizerItem(BaseModel):
    """A coat."""

    id: str
    label: str
    target_j_m2: float = Field(description="documented prior of the effective dose")
    target_spread_stops: float
    provenance: str


class MaterialsAnswer(BaseModel):
    """The catalogue."""

    sensitizers: list[SensitizerItem]
    stack: list[MaterialItem]


class PlaceItem(BaseModel):
    """A place found."""

    label: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None
    time_zone: str
    source: str


class PlacesAnswer(BaseModel):
    """Places found, the likeliest first."""

    places: list[PlaceItem]
    attribution: str


class Health(BaseModel):
    """A sign of life."""

    status: str
    version: str
