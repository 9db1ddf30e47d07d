"""What the bench answers without records."""

from typing import Literal

from pydantic import BaseModel, Field

from noonframe.api.lamp_outputs import LampBasis
from noonframe.api.outputs import Basis


class StripItem(BaseModel):
    """One strip of a test strip; strip 1 has the least dose and is covered first."""

    strip: int
    total_j_m2: float
    added_j_m2: float = Field(description="beyond the strip before")
    target_stops: float | None = Field(
        description="above (+) or below (-) the median of the target; null in a run, whose target is that of "
        "the last strip"
    )
    cover_at: str | None = Field(description="null when the light goes first")
    cover_low: str | None = Field(description="10 % quantile")
    cover_high: str | None
    after_s: float | None = Field(description="seconds after the start")
    gap_s: float | None = Field(description="seconds after the cover before")


class WedgeItem(BaseModel):
    """One step of a wedge exposed once; step 1 is the clearest."""

    step: int
    dose_j_m2: float
    target_stops: float


class Ladder(BaseModel):
    """The doses of a strip, to be sent back with its reading."""

    first_j_m2: float
    step_stops: float
    strip_count: int


class StripAnswer(BaseModel):
    """A strip or wedge planned."""

    kind: Literal["strip", "wedge"]
    start: str
    end: str | None = Field(description="null when the light goes before the last dose")
    length_s: float | None
    complete: bool = Field(description="whether all of it has its dose before the light goes")
    dose_j_m2: float = Field(description="of the last strip, or on the wedge: the target of the run")
    ladder: Ladder | None = Field(description="null for a wedge")
    strips: list[StripItem]
    steps: list[WedgeItem]
    expected_full_step: int | None = Field(description="wedge: step at which full density is expected to end")
    handy: bool = Field(description="whether a hand can keep up")
    handy_gap_s: float = Field(description="shortest wait between covers that a hand can keep up with")
    shortest_gap_s: float | None
    handier_step_stops: float | None = Field(description="a longer step over the same span that is handy")
    next_start: str | None = Field(description="when not complete: the next start within a year that is")
    next_length_s: float | None
    target_j_m2: float
    target_spread_stops: float
    target_source: str
    advice: list[str]
    cautions: list[str]
    basis: Basis | LampBasis
    summary: str


class StripFollowAnswer(BaseModel):
    """A strip under way."""

    run_id: str
    status: str
    at: str
    dose_j_m2: float
    covered: int
    overdue: list[int] = Field(description="strips past their dose: cover them now and note the time")
    strips: list[StripItem]
    next_strip: int | None
    wait_s: float | None = Field(description="until the next cover; null when none, or when the light goes")
    advice: str


class CurveItem(BaseModel):
    """A characteristic curve; exposure scale and speed by the limits of ISO 6846."""

    d_min: float
    d_max: float
    net_density: float
    exposure_scale: float = Field(description="log10 of dose, from 0.04 above d_min to 90 % of net density")
    exposure_scale_error: float = Field(description="one standard error")
    exposure_scale_stops: float
    iso_range: int
    negative_density_range: float = Field(description="that a negative should have, in the light that prints")
    gamma: float = Field(description="steepest slope, density per log10 of dose")
    mean_gradient: float
    toe_j_m2: float
    shoulder_j_m2: float
    speed_point_j_m2: float | None = Field(description="dose for 0.60 above d_min; null where not reached")
    rms_residual: float
    residuals: list[float]
    notes: list[str]
    dose_j_m2: list[float] | None
    density: list[float] | None


class CurveDifference(BaseModel):
    """The first coat against the second."""

    compared_at_net_density: float
    slower_stops: float = Field(description="how much more dose the first needs")
    exposure_scale_stops: float
    d_min: float
    d_max: float
    gamma_ratio: float


class CurveAnswer(BaseModel):
    """A curve fitted, and compared."""

    curve: CurveItem
    against: CurveItem | None
    difference: CurveDifference | None
    summary: str


class PowderItem(BaseModel):
    """A powder, by weight to 100 mL and for the volume asked for."""

    substance: str
    label: str
    percent_w_v: float
    weight_g: float


class StockItem(BaseModel):
    """One bottle: how much of it the sheets take, and what to weigh for it."""

    id: str
    label: str
    parts: float
    volume_ml: float
    powders: list[PowderItem]


class CautionItem(BaseModel):
    """What to mind, and where that comes from."""

    about: str
    text: str
    source: str


class CheckItem(BaseModel):
    """A line of a checklist."""

    text: str
    source: str


class StepItem(BaseModel):
    """A step of work with its usual times."""

    id: str
    text: str
    least_min: float
    most_min: float
    done_when: str
    source: str
    earliest_start: str | None
    latest_start: str | None
    earliest_end: str | None
    latest_end: str | None


class CoatingAnswer(BaseModel):
    """What to measure and weigh, what to do, and what to mind."""

    formula: str
    label: str
    sensitizer: str
    source: str
    keeping: str
    caution: str | None
    area_m2: float
    coverage_ml_m2: float
    coverage_source: str
    coat_ml: float
    total_ml: float = Field(description="with the margin")
    stocks: list[StockItem]
    bottle_sheets: int | None = Field(description="sheets of the first size that the bottles make")
    runs_out_first: str | None
    checklist: list[CheckItem]
    coating: list[StepItem]
    washing: list[StepItem]
    rinse_peroxide_ml: float | None
    cautions: list[CautionItem]
    summary: str


class SoluteItem(BaseModel):
    """A powder in a stock."""

    substance: str
    label: str
    percent_w_v: float


class FormulaStock(BaseModel):
    """A stock of a formula."""

    id: str
    label: str
    parts: float
    solutes: list[SoluteItem]


class FormulaItem(BaseModel):
    """A published formula."""

    id: str
    label: str
    sensitizer: str
    stocks: list[FormulaStock]
    keeping: str
    source: str
    caution: str | None
    cautions: list[CautionItem]


class CoverageItem(BaseModel):
    """A way of coating."""

    id: str
    label: str
    ml_per_m2: float
    low_ml_per_m2: float
    high_ml_per_m2: float
    source: str


class FormulasAnswer(BaseModel):
    """Formulas and ways of coating."""

    formulas: list[FormulaItem]
    coverages: list[CoverageItem]
