"""What is answered about many places at once: columns, every one in the order of the places."""

from pydantic import BaseModel, Field

Column = list[float]


class BatchLightColumns(BaseModel):
    """The sun and its light at the start, as /v1/light has them."""

    solar_zenith_deg: Column
    solar_azimuth_deg: Column
    uva_w_m2: Column
    uva_diffuse_fraction: list[float | None] = Field(description="null where there is no light")
    blue_w_m2: Column
    effective_w_m2: Column
    uv_index: Column


class BatchExposureColumns(BaseModel):
    """Exposures from the start, as /v1/exposure has them."""

    length_s: list[float | None] = Field(description="null where the light goes first; `outcome` says why")
    length_low_s: list[float | None] = Field(description="10 % quantile; null where the light goes first")
    length_high_s: list[float | None] = Field(description="90 % quantile; null where the light goes first")
    dose_share: Column = Field(description="share of the target gathered by the end; 1 where it is reached")
    outcome: list[str] = Field(description="one of the words that `outcomes` explains")
    outcomes: dict[str, str] = Field(description="what each outcome means")
    target_j_m2: float
    target_spread_stops: float
    target_source: str


class BatchBasis(BaseModel):
    """What the answer rests on."""

    sky_evidence: str
    sky_says: str
    sky_spread_stops: float
    ground_albedo: float
    sources: dict[str, str]
    spot: str
    stack: list[str]
    sensitizer: str
    light_model: str
    notes: list[str]


class BatchAnswer(BaseModel):
    """Columns for the places that were asked about."""

    time: str = Field(description="the start, in UTC")
    count: int
    light: BatchLightColumns | None
    exposure: BatchExposureColumns | None
    cautions: list[str]
    basis: BatchBasis
