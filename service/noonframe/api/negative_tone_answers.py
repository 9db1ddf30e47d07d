"""What is told of a tone correction and of film printers."""

from typing import Any, Literal

from pydantic import BaseModel, Field

from noonframe.api.bench_answers import SavedItem


class CarryItem(BaseModel):
    """Fields to give with the exposure of this film."""

    negative_density: float = Field(description="of the film's clearest part")
    negative_density_spread: float
    negative_includes_base: bool = Field(
        description="true: it was read through the film, which the stack must not name then"
    )
    says: str


class PaperItem(BaseModel):
    """The coat's curve."""

    says: str
    d_min: float
    d_max: float
    target_j_m2: float | None = Field(description="dose that bare film is to be given; null: not known")


class InkItem(BaseModel):
    """The film printer's scale."""

    says: str
    film_density_range: float = Field(description="from bare film to full ink")
    spread: float = Field(description="one standard deviation")
    bare_density: float | None = Field(description="of bare film, base and all, where it was read")
    notes: list[str]


class ToneItem(BaseModel):
    """A tone correction: what it is made for, and what it cannot reach."""

    summary: str
    even: Literal["density", "lightness"]
    when_short: Literal["clip", "squeeze"]
    paper: PaperItem
    ink: InkItem
    darkest: float = Field(description="print density of the picture's black")
    lightest: float = Field(description="print density of the picture's white")
    lightest_wanted: float
    needed_density_range: float = Field(description="of the film, for the lightest tone wanted")
    clipped_from_share: float | None = Field(
        description="greys of this code, as a share, and lighter ones print alike; null: none do"
    )
    bits: int
    codes_used: int = Field(description="film codes between which the tones lie, at these bits")
    largest_step: float = Field(description="largest jump of print density from one film code to the next")
    exposure: CarryItem
    notes: list[str]


class ToneNode(BaseModel):
    """One grey of the picture, from black to white."""

    picture_percent: float = Field(description="of the code range; 0 is black")
    ink_percent: float
    film_code: int = Field(description="0 is full ink, 65535 bare film")
    film_density: float = Field(description="above bare film")
    print_density: float
    uncorrected_density: float = Field(description="what it would print without the correction")


class ToneAnswer(ToneItem):
    """A tone correction as a table."""

    table: list[ToneNode]


class FilmPrinterAnswer(SavedItem):
    """A saved film printer in one of its versions."""

    scale: dict[str, Any] = Field(description="as it was told")
    film: str | None
    notes: str | None
    film_density_range: float | None = Field(
        description="from bare film to full ink; null where that needs a recipe's curve"
    )
    says: str


class FilmPrintersAnswer(BaseModel):
    """Saved film printers, newest first."""

    film_printers: list[FilmPrinterAnswer] = Field(description="each in its newest version")
