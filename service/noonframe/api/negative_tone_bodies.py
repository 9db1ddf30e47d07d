"""What may be asked of tone: the film printer's scale, the coat's curve, and how even the print is to be."""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, Field, model_serializer

from noonframe.api.inputs import Name, Saved
from noonframe.api.inputs_bench import Density, ReadingsBody
from noonframe.api.inputs_spot import STRICT
from noonframe.negative.film_printer import (
    FEWEST_STEPS,
    HIGHEST_DENSITY,
    LEAST_RANGE,
    MOST_STEPS,
    READING_NOISE,
    USUAL_DENSITY,
    USUAL_SPREAD,
)
from noonframe.negative.tone_curve import FIRST_TONE

_InkShares = Annotated[
    list[Annotated[float, Field(ge=0, le=1)]], Field(min_length=FEWEST_STEPS, max_length=MOST_STEPS)
]
_Noise = Annotated[float, Field(ge=0, le=0.2)]
_INK = "ink of each step as a share of full ink, from 0; even steps from bare film to full ink if not given"
_NOISE = "so far a step may read out of order"


class ToldReadings(ReadingsBody):
    """Readings that are kept as they were told: what was left out is not filled in."""

    @model_serializer(mode="plain")
    def _as_told(self) -> dict[str, Any]:
        return _told(self)


def _told(body: BaseModel) -> dict[str, Any]:
    values = {name: getattr(body, name) for name in body.model_fields_set}
    return {name: _told(one) if isinstance(one, BaseModel) else one for name, one in values.items()}


class FilmReading(BaseModel):
    """The film of a step chart was read by densitometer, in its ultraviolet or else its blue channel."""

    model_config = STRICT

    by: Literal["film"]
    densities: Annotated[
        list[Annotated[float, Field(ge=-0.1, le=HIGHEST_DENSITY)]],
        Field(min_length=FEWEST_STEPS, max_length=MOST_STEPS),
    ] = Field(description="from bare film to full ink")
    includes_base: bool = Field(
        True, description="read through the film's base; false: set to 0 on bare film"
    )
    ink_shares: _InkShares | None = Field(None, description=_INK)
    noise: _Noise = Field(READING_NOISE, description=_NOISE)


class PrintReading(BaseModel):
    """The print of a step chart was read, by densitometer or out of a scan; its coat's curve is known."""

    model_config = STRICT

    by: Literal["print"]
    densities: Annotated[list[Density], Field(min_length=FEWEST_STEPS, max_length=MOST_STEPS)] | None = Field(
        None, description="of the print, from under bare film to under full ink"
    )
    codes: (
        Annotated[
            list[Annotated[float, Field(ge=0, le=255)]],
            Field(min_length=FEWEST_STEPS, max_length=MOST_STEPS),
        ]
        | None
    ) = Field(None, description="instead: grey sRGB codes, 0 to 255, of a scan or evenly lit photograph")
    paper_code: float | None = Field(
        None, ge=0, le=255, description="with codes: that of the bare, washed paper in the same picture"
    )
    exposure_stops: float = Field(
        0.0, ge=-4, le=4, description="what bare film had, in stops above the coat's target"
    )
    recipe: Saved | None = Field(None, description="whose coat it is, by name or id")
    curve: ToldReadings | None = Field(None, description="instead: readings of that coat under a step wedge")
    ink_shares: _InkShares | None = Field(None, description=_INK)
    noise: _Noise = Field(READING_NOISE, description=_NOISE)


class UsualScale(BaseModel):
    """Nothing was read, but perhaps the density of full ink."""

    model_config = STRICT

    by: Literal["usual"]
    full_density: float = Field(
        USUAL_DENSITY, ge=LEAST_RANGE, le=HIGHEST_DENSITY, description="of full ink above bare film, in UV"
    )
    spread: float = Field(USUAL_SPREAD, ge=0, le=1, description="one standard deviation of it")


ScaleBody = Annotated[FilmReading | PrintReading | UsualScale, Field(discriminator="by")]


class FilmPrinterBody(BaseModel):
    """A printer of film, with its ink, film and driver settings: what density its codes give."""

    model_config = STRICT

    name: Saved
    scale: ScaleBody = Field(description="how its ink density scale is known")
    film: Annotated[str, Field(max_length=200)] | None = Field(None, description="kind of film, in words")
    notes: Annotated[str, Field(max_length=4000)] | None = Field(
        None, description="ink, driver settings: the scale holds for these alone"
    )


class ToneFields(BaseModel):
    """A tone correction for a coat and a film printer; every field may be left out."""

    model_config = STRICT

    recipe: Saved | None = Field(
        None, description="a saved recipe by name or id: its coat, its learned target, its tone curve"
    )
    recipe_version: int | None = Field(
        None, ge=1, le=2**31 - 1, description="of the recipe; the newest if not given"
    )
    sensitizer: Name | None = Field(
        None, description="without a recipe: id of the coat; citrate-classic if not given"
    )
    target_j_m2: float | None = Field(
        None, ge=1, le=1e8, description="dose that bare film is to be given; the recipe's if not given"
    )
    d_min: float | None = Field(
        None, ge=-0.2, le=2, description="measured density of washed paper without a tone, e.g. 0.08"
    )
    d_max: float | None = Field(None, ge=0, le=5, description="measured density of the darkest tone")
    film_printer: Saved | None = Field(
        None, description="a saved film printer by name or id; a usual one, only guessed at, if not given"
    )
    even: Literal["density", "lightness"] = Field(
        "density",
        description="equal steps of code become equal steps of print density, or equal steps of the picture's"
        " CIE lightness those of the print's",
    )
    lightest_net_density: float = Field(
        FIRST_TONE, ge=0.005, le=0.3, description="of the picture's white, above paper white"
    )
    when_short: Literal["clip", "squeeze"] = Field(
        "clip",
        description="where the ink is not dense enough: clip the lightest greys, or squeeze all together",
    )


class ToneQuery(ToneFields):
    """A tone correction by what is saved."""


class ToneBody(ToneFields):
    """A tone correction, with readings told in the request if wanted."""

    curve: ReadingsBody | None = Field(
        None, description="readings of this coat under a step wedge, instead of the recipe's"
    )
    scale: ScaleBody | None = Field(None, description="a film printer told whole, instead of a saved one")
