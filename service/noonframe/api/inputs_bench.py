"""What may be asked of the bench without records: strips, wedges, tone curves, coating."""

from typing import Annotated, Literal
from uuid import UUID

from pydantic import BaseModel, Field

from noonframe.api.inputs import ExposureBody, Name
from noonframe.api.inputs_spot import STRICT
from noonframe.api.times import OffsetTime
from noonframe.bench.coating import MARGIN_SHARE
from noonframe.bench.formulas import DEFAULT_FORMULA
from noonframe.bench.ladder import (
    LEAST_DOSE_J_M2,
    LEAST_STEP_STOPS,
    MOST_DOSE_J_M2,
    MOST_STEP_STOPS,
    MOST_STRIPS,
)

StepStops = Annotated[float, Field(ge=LEAST_STEP_STOPS, le=MOST_STEP_STOPS)]
StripCount = Annotated[int, Field(ge=2, le=MOST_STRIPS)]
Dose = Annotated[float, Field(ge=LEAST_DOSE_J_M2, le=MOST_DOSE_J_M2)]
Density = Annotated[float, Field(ge=-0.1, le=5)]


class WedgeBody(BaseModel):
    """A transparent step wedge; 21 steps of 0.15 if nothing is said."""

    model_config = STRICT

    step_count: int = Field(21, ge=3, le=60)
    step_density: float = Field(0.15, gt=0, le=1, description="increment of density from step to step")
    densities: Annotated[list[float], Field(min_length=3, max_length=60)] | None = Field(
        None, description="instead: measured densities above the base, from the clearest step on"
    )
    base_in_stack: bool = Field(
        False, description="true where the stack has the wedge's film in it already, so that it counts once"
    )


class LadderBody(BaseModel):
    """Doses that rise by equal steps, strip 1 the least."""

    model_config = STRICT

    first_j_m2: Dose
    step_stops: StepStops = 0.5
    strip_count: StripCount


class StripBody(ExposureBody):
    """A test strip, or a wedge, to be planned: for a scene, from what is believed of the target."""

    kind: Literal["strip", "wedge"] = Field(
        "strip", description="a strip covered step by step, or a step wedge exposed once"
    )
    first_j_m2: Dose | None = Field(
        None, description="total dose of strip 1; so that the belief is bracketed if not given"
    )
    step_stops: StepStops | None = Field(None, description="from strip to strip; half a stop if not given")
    strip_count: StripCount | None = Field(None, description="as many as the belief needs if not given")
    wedge: WedgeBody | None = Field(None, description="only for a wedge")


class StripFollowBody(LadderBody):
    """A strip in the light, started as a run whose target is the dose of the last strip."""

    run_id: UUID
    covered: int = Field(0, ge=0, le=MOST_STRIPS, description="how many strips lie covered already")


class ReadingsBody(BaseModel):
    """Densities read by densitometer or from a scan that was measured, each with its dose."""

    model_config = STRICT

    densities: Annotated[list[Density | None], Field(min_length=3, max_length=200)] = Field(
        description="of the print, step by step; null where nothing was read"
    )
    doses_j_m2: Annotated[list[Annotated[float, Field(gt=0)]], Field(max_length=200)] | None = Field(
        None, description="dose under each reading; or a wedge and the dose that fell on it"
    )
    wedge: WedgeBody | None = None
    dose_j_m2: Dose | None = Field(
        None, description="that fell on the wedge; any number does where only the scale matters"
    )


class CurveBody(ReadingsBody):
    """A characteristic curve to be fitted, and a second one to compare it with."""

    against: ReadingsBody | None = Field(None, description="a second coat, told as the first against it")
    points: bool = Field(False, description="true: the curve itself, as doses and densities")


class SheetsBody(BaseModel):
    """So many coated rectangles of one size."""

    model_config = STRICT

    width_mm: float = Field(ge=10, le=5000)
    height_mm: float = Field(ge=10, le=5000)
    count: int = Field(1, ge=1, le=10000)


class CoatingBody(BaseModel):
    """Sheets to be coated, washed and dried."""

    model_config = STRICT

    sheets: Annotated[list[SheetsBody], Field(min_length=1, max_length=100)]
    formula: Name = Field(DEFAULT_FORMULA, description="id of a formula, see /v1/formulas")
    coverage: Name = Field("rod", description="id of a way of coating, see /v1/formulas")
    coverage_ml_m2: float | None = Field(None, ge=5, le=300, description="one's own figure, instead")
    margin_share: float = Field(MARGIN_SHARE, ge=0, le=1, description="what clings to beaker, rod and brush")
    bottle_ml: dict[Name, Annotated[float, Field(ge=0, le=1e6)]] | None = Field(
        None, description="what is left of each stock, by its id: tells how many of the first sheets it makes"
    )
    stock_ml: float = Field(100.0, ge=1, le=20000, description="volume of each stock to weigh powders for")
    start: OffsetTime | None = Field(None, description="of coating; without it steps have minutes only")
    wash_start: OffsetTime | None = Field(None, description="of washing; without it steps have minutes only")
    acid_bath: bool = Field(False, description="true where the water is hard")
    oxidising_rinse: bool = Field(False, description="true: with peroxide, instead of a day in the air")
    bath_l: float = Field(2.0, ge=0.1, le=100, description="litres of the oxidising rinse")
    peroxide_strength_percent: float = Field(3.0, gt=0, le=100, description="of the bottle at hand")
