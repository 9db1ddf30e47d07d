"""What is told of recipes, spots, places, evidence, targets and prints.  Moments are in UTC."""

from typing import Any, Literal

from pydantic import BaseModel, Field

from noonframe.api.outputs_bench import Ladder


class SavedItem(BaseModel):
    """One version of something saved; its ETag is the version."""

    id: str
    name: str
    version: int
    created: str
    saved: str = Field(description="when this version was")
    retired: bool


class PriorItem(BaseModel):
    """What was believed before any exposure."""

    median_j_m2: float
    spread_stops: float
    source: str


class RecipeAnswer(SavedItem):
    """A recipe."""

    sensitizer: str
    stack: list[str]
    paper: str
    coat_notes: str
    negative_notes: str
    notes: str
    prior: PriorItem | None = Field(description="the printer's own; null: the coat's published figure")


class SpotAnswer(SavedItem):
    """A saved spot."""

    spot: dict[str, Any]
    says: str
    place: str | None
    latitude_deg: float | None
    longitude_deg: float | None
    elevation_m: float | None
    time_zone: str | None


class PlaceAnswer(SavedItem):
    """A saved place."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    time_zone: str


class RecipesAnswer(BaseModel):
    """Recipes, newest first."""

    recipes: list[RecipeAnswer]


class SpotsAnswer(BaseModel):
    """Saved spots, newest first."""

    spots: list[SpotAnswer]


class SavedPlacesAnswer(BaseModel):
    """Saved places, newest first."""

    places: list[PlaceAnswer]


class TermItem(BaseModel):
    """A condition whose effect on the target is fitted."""

    condition: str
    unit: str
    step: float
    slope_stops: float = Field(description="change of the target over one step")
    slope_spread_stops: float
    mean: float
    recorded: int


class SpanItem(BaseModel):
    """Where one exposure puts the target; null is an open end."""

    evidence_id: str
    kind: str
    low_j_m2: float | None
    high_j_m2: float | None
    spread_stops: float
    blunder_probability: float


class CurvesItem(BaseModel):
    """The belief to be drawn: densities per stop at doses, and the evidence."""

    dose_j_m2: list[float]
    prior_density: list[float]
    posterior_density: list[float]
    spans: list[SpanItem]


class TargetAnswer(BaseModel):
    """What is believed of the dose a recipe needs."""

    recipe_id: str
    recipe: str
    version: int
    target_j_m2: float = Field(description="median")
    low_j_m2: float = Field(description="10 % quantile")
    high_j_m2: float = Field(description="90 % quantile")
    target_spread_stops: float = Field(description="one standard deviation, from the 10-90 % range")
    learned: bool = Field(description="false: nothing but the figure beforehand")
    strips: int
    wedges: int
    prints: int
    withdrawn: int
    prior: PriorItem
    terms: list[TermItem]
    notes: list[str]
    strip: Ladder = Field(description="the strip that would bracket this belief")
    curves: CurvesItem | None
    summary: str


class EvidenceItem(BaseModel):
    """What one exposure told."""

    id: str
    kind: Literal["strip", "wedge", "print"]
    recipe_version: int
    made: str
    recorded: str
    told: dict[str, Any]
    run_id: str | None
    print_id: str | None
    low_j_m2: float | None = Field(description="the target lies above; null: open")
    high_j_m2: float | None
    reading_spread_stops: float
    light_spread_stops: float
    coat_age_h: float | None
    relative_humidity_percent: float | None
    air_temperature_c: float | None
    counts: bool
    blunder_probability: float | None = Field(description="that it tells nothing true; null: not counted")
    withdrawn: str | None
    withdrawn_reason: str | None


class EvidenceListAnswer(BaseModel):
    """All evidence of a recipe, withdrawn or not, in the order of its making."""

    evidence: list[EvidenceItem]


class EvidenceAnswer(BaseModel):
    """Evidence kept or withdrawn, and the target with it."""

    evidence: EvidenceItem
    target: TargetAnswer


class PrintAnswer(SavedItem):
    """A finished print."""

    recipe_id: str
    recipe_version: int
    made: str
    run_id: str | None
    spot: dict[str, Any] | None
    dose_j_m2: float | None
    dose_spread_stops: float | None
    light: dict[str, Any] | None = Field(description="the light it was exposed to")
    coat_age_h: float | None
    relative_humidity_percent: float | None
    air_temperature_c: float | None
    wash_notes: str
    rinse_notes: str
    judgement: str | None
    judgement_stops: float | None
    photo: str
    film: str
    notes: str
    tags: list[str]


class PrintKeptAnswer(PrintAnswer):
    """A finished print, and what its judgement did."""

    evidence_id: str | None = Field(description="the evidence that its judgement is; null: none")
    target: TargetAnswer
    summary: str


class PrintsAnswer(BaseModel):
    """Prints, newest first by their making."""

    prints: list[PrintAnswer]
    total: int = Field(description="how many there are on all pages together")


class CountsItem(BaseModel):
    """How many records of one kind."""

    added: int
    extended: int
    unchanged: int


class ImportAnswer(BaseModel):
    """What an import did; it changes nothing that is there already."""

    recipes: CountsItem
    spots: CountsItem
    places: CountsItem
    exposures: CountsItem
    prints: CountsItem
    evidence: CountsItem
    film_printers: CountsItem
    lamps: CountsItem
    sessions: CountsItem
    summary: str
