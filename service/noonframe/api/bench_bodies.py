"""What may be saved on the bench: recipes, spots, places, evidence and prints."""

from typing import Annotated, Literal
from uuid import UUID

from pydantic import BaseModel, Field

from noonframe.api.inputs import Name, PlaceFields, Saved
from noonframe.api.inputs_bench import Density, Dose, LadderBody, WedgeBody
from noonframe.api.inputs_spot import STRICT, SpotBody
from noonframe.api.times import OffsetTime

Text = Annotated[str, Field(max_length=4000)]
LongText = Annotated[str, Field(max_length=10_000)]
Step = Annotated[int, Field(ge=1, le=60)] | Literal["none"]
Tags = Annotated[list[Annotated[str, Field(min_length=1, max_length=60)]], Field(max_length=30)]
Page = Annotated[int, Field(ge=1, le=500)]


class PriorBody(BaseModel):
    """What the printer believes of the target beforehand, in place of the coat's published figure."""

    model_config = STRICT

    median_j_m2: float = Field(ge=1, le=1e8)
    spread_stops: float = Field(ge=0.05, le=4)
    source: Text = ""


class RecipeChange(BaseModel):
    """What is to change of a recipe; what is left out stays, null empties a text."""

    model_config = STRICT

    name: Saved | None = None
    sensitizer: Name | None = Field(None, description="id of a sensitizer, see /v1/materials")
    stack: Annotated[list[Name], Field(max_length=8)] | None = Field(
        None, description="ids of what the light passes, outermost first; none for a bare sheet"
    )
    paper: Text | None = None
    coat_notes: Text | None = None
    negative_notes: Text | None = None
    notes: Text | None = None
    prior: PriorBody | None = None


class RecipeBody(RecipeChange):
    """A recipe: coat, paper, negative and glass; what a target belongs to."""

    name: Saved
    sensitizer: Name = Field("citrate-classic", description="id of a sensitizer, see /v1/materials")


class SpotChange(PlaceFields):
    """What is to change of a saved spot; a place or coordinates replace those there are."""

    name: Saved | None = None
    spot: SpotBody | None = None


class SpotSaveBody(SpotChange):
    """A spot with the place it is at."""

    name: Saved
    spot: SpotBody


class PlaceChange(BaseModel):
    """What is to change of a saved place."""

    model_config = STRICT

    name: Saved | None = None
    latitude_deg: float | None = Field(None, gt=-90, lt=90)
    longitude_deg: float | None = Field(None, ge=-180, le=180)
    elevation_m: float | None = None
    time_zone: Name | None = None


class PlaceSaveBody(PlaceFields):
    """A place by coordinates, or found by words."""

    name: Saved


class ListQuery(BaseModel):
    """Which saved things to list, newest first."""

    model_config = STRICT

    name: Saved | None = Field(None, description="only the one of that name")
    retired: Literal["no", "yes", "both"] = "no"
    before: UUID | None = Field(None, description="the id that the page before ended with")
    limit: Page = 50


class VersionQuery(BaseModel):
    """Which version."""

    model_config = STRICT

    version: int | None = Field(None, ge=1, le=2**31 - 1, description="the newest if not given")


class Surroundings(BaseModel):
    """What may change the speed of a coat, as far as it was written down."""

    model_config = STRICT

    coat_age_h: float | None = Field(None, ge=0, le=8784, description="hours since coating")
    relative_humidity_percent: float | None = Field(None, ge=0, le=100)
    air_temperature_c: float | None = Field(None, ge=-40, le=60)


class TargetQuery(Surroundings):
    """Which version of a recipe, and under what conditions."""

    version: int | None = Field(None, ge=1, le=2**31 - 1, description="the newest if not given")
    curves: bool = Field(False, description="true: prior, belief and evidence as arrays, to be drawn")


class EvidenceBody(Surroundings):
    """What a strip, a wedge or a finished print told.

    Its dose comes from `run_id`, the exposure that was followed, or is given.  A strip is read by the first
    strip of full density and the first with any tone, a wedge by its last steps of either, a print by a word
    or in stops.
    """

    kind: Literal["strip", "wedge", "print"]
    run_id: UUID | None = Field(None, description="the exposure followed; it must have ended")
    made_at: OffsetTime | None = Field(None, description="the run's start, or now, if not given")
    recipe_version: int | None = Field(
        None, ge=1, le=2**31 - 1, description="the run's, or the newest, if not given"
    )
    dose_j_m2: Dose | None = Field(None, description="of a wedge or print, where there is no run")
    dose_spread_stops: float | None = Field(
        None, ge=0, le=4, description="one standard deviation of a dose given; 0.2 if not given"
    )
    ladder: LadderBody | None = Field(None, description="of a strip, as planned and followed by its dose")
    doses_j_m2: Annotated[list[Dose], Field(min_length=2, max_length=60)] | None = Field(
        None, description="of a strip, instead: the dose of each, rising"
    )
    covered_at: Annotated[list[OffsetTime], Field(min_length=2, max_length=60)] | None = Field(
        None,
        description="of a strip with a run, instead: when each was covered; its doses are the run's then",
    )
    first_full: Step | None = Field(None, description="strip of full density with the least dose, or `none`")
    first_toned: Step | None = Field(None, description="strip with any tone with the least dose, or `none`")
    wedge: WedgeBody | None = None
    last_full: Step | None = Field(None, description="densest step of full density under it, or `none`")
    last_toned: Step | None = Field(None, description="densest step with any tone under it, or `none`")
    densities: Annotated[list[Density | None], Field(min_length=3, max_length=60)] | None = Field(
        None,
        description="of the wedge's print, step by step from the clearest; null where none was read: the "
        "recipe's tone curve",
    )
    judgement: Name | None = Field(
        None,
        description="far too pale, too pale, a little pale, right, a little dark, too dark, far too dark",
        examples=["right"],
    )
    judgement_stops: float | None = Field(
        None, ge=-6, le=6, description="instead: too dark by so many stops, below 0 too pale"
    )
    note: Text = ""


class WithdrawBody(BaseModel):
    """Why something no longer counts."""

    model_config = STRICT

    reason: Annotated[str, Field(min_length=1, max_length=1000)]


class PrintChange(Surroundings):
    """What is to change of a print; what is left out stays, null empties it."""

    name: Saved | None = Field(None, description="what was printed", examples=["kelp fronds"])
    made_at: OffsetTime | None = None
    dose_j_m2: Dose | None = Field(None, description="that the sheet had")
    dose_spread_stops: float | None = Field(None, ge=0, le=4, description="one standard deviation of it")
    wash_notes: Text | None = None
    rinse_notes: Text | None = None
    judgement: Name | None = Field(
        None, description="in plain words, see evidence; it moves the recipe's target", examples=["right"]
    )
    judgement_stops: float | None = Field(None, ge=-6, le=6, description="instead: too dark by so many stops")
    photo: Annotated[str, Field(max_length=1000)] | None = Field(None, description="file, by reference")
    film: Annotated[str, Field(max_length=1000)] | None = Field(
        None, description="the film page's file, by reference: a path or URI, which nothing here opens"
    )
    notes: LongText | None = None
    tags: Tags | None = None


class PrintBody(PrintChange):
    """A finished print: of a run, with its recipe, spot and light, or told by hand."""

    name: Saved | None = Field(None, description="what was printed; the run's name if not given")
    run_id: UUID | None = Field(None, description="the exposure that was followed; it must have ended")
    recipe: Saved | None = Field(None, description="by name or id; the run's if not given")
    recipe_version: int | None = Field(
        None, ge=1, le=2**31 - 1, description="the run's, or the newest, if not given"
    )
    saved_spot: Saved | None = Field(None, description="where it was exposed, by name or id")


class PrintsQuery(BaseModel):
    """Which prints, newest first by their making."""

    model_config = STRICT

    text: Annotated[str, Field(max_length=200)] = Field(
        "", description="words that all occur in name, notes, tags or film"
    )
    recipe: Saved | None = None
    made_from: OffsetTime | None = None
    made_to: OffsetTime | None = Field(None, description="before this moment")
    judgement: Annotated[str, Field(max_length=200)] | None = Field(
        None, description="words with commas between, e.g. right,a little dark"
    )
    retired: Literal["no", "yes", "both"] = "no"
    before: UUID | None = Field(None, description="the id that the page before ended with")
    limit: Page = 50


class PrintsCsvQuery(BaseModel):
    """Which prints to write as a table."""

    model_config = STRICT

    text: Annotated[str, Field(max_length=200)] = ""
    recipe: Saved | None = None
    made_from: OffsetTime | None = None
    made_to: OffsetTime | None = None
    judgement: Annotated[str, Field(max_length=200)] | None = None
    retired: Literal["no", "yes", "both"] = "no"
