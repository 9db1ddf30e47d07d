"""What may be asked of the film negative: the settings beside the pictures, and the queries of the aids.

Ranges that the room states are left to it, so that they stand in one place.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from noonframe.api.negative_tone_bodies import ToneBody
from noonframe.negative.build import MOST_NEGATIVES
from noonframe.negative.pages import LEAST_DPI, MOST_DPI
from noonframe.negative.wedge import LEAST_STEPS, LEAST_STRIPS, MOST_STEPS, MOST_STRIPS, USUAL_STEPS

STRICT = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
USUAL_PAGE = "a4"
USUAL_DPI = 720.0

Dpi = Annotated[float, Field(ge=LEAST_DPI, le=MOST_DPI, allow_inf_nan=False)]
FileFormat = Literal["pdf", "tiff", "png"]
Millimetres = Annotated[float, Field(gt=0, le=2000, allow_inf_nan=False)]
Inches = Annotated[float, Field(gt=0, le=80, allow_inf_nan=False)]


class OwnPageBody(BaseModel):
    """A page of a size of its own."""

    model_config = STRICT

    width_mm: Millimetres
    height_mm: Millimetres


class CropBody(BaseModel):
    """The part to print, counted after turning and straightening."""

    model_config = STRICT

    left: float = 0.0
    top: float = 0.0
    width: float
    height: float
    unit: Literal["share", "px"] = "share"


class SizeBody(BaseModel):
    """Size of the negative: a side, or both as a frame to fit inside or to fill; millimetres or inches."""

    model_config = STRICT

    width_mm: Millimetres | None = None
    height_mm: Millimetres | None = None
    width_in: Inches | None = None
    height_in: Inches | None = None
    fit: Literal["inside", "fill"] = "inside"


class GreyBody(BaseModel):
    """Weights of the channels, which sum to 1, of linear light or of encoded values."""

    model_config = STRICT

    red: float
    green: float
    blue: float
    light: Literal["linear", "encoded"] = "linear"


class LevelsBody(BaseModel):
    """Black and white point as shares of the code range, and the exponent of the middle."""

    model_config = STRICT

    black_share: float = 0.0
    white_share: float = 1.0
    middle_gamma: float = 1.0


class AtBody(BaseModel):
    """Upper left corner from the page's, as the print shows it."""

    model_config = STRICT

    left_mm: float = Field(ge=0, le=2000)
    top_mm: float = Field(ge=0, le=2000)


class NegativeItem(BaseModel):
    """One negative: its picture, the steps in the order they are done, and where it lies."""

    model_config = STRICT

    picture: int = Field(1, ge=1, le=MOST_NEGATIVES, description="which of the pictures sent, from 1")
    copies: int = Field(1, ge=1, le=MOST_NEGATIVES)
    rotate_deg: Literal[0, 90, 180, 270] = Field(
        0, description="clockwise, after the EXIF orientation, which is followed by itself"
    )
    flip: bool = Field(False, description="left for right in the picture itself, e.g. scanned from behind")
    straighten_deg: float = Field(0.0, description="clockwise; the turned corners are cut off")
    crop: CropBody | None = None
    size: SizeBody | None = Field(None, description="as large as the page allows if not given")
    grey: str | GreyBody = Field(
        "luminance",
        description="luminance, luma-709, luma-601, a filter (yellow, orange, red, green, blue), or weights",
    )
    levels: Literal["auto"] | LevelsBody = Field(
        LevelsBody(), description="auto finds black and white by itself"
    )
    contrast: float = Field(1.0, description="slope at the middle tone")
    invert: bool = Field(True, description="false for a picture that is a negative already")
    at: AtBody | None = Field(None, description="for every negative or for none; else laid out on shelves")
    may_turn: bool = Field(True, description="may be turned by a quarter to save film")


class NegativeBody(BaseModel):
    """A film page; every field may be left out."""

    model_config = STRICT

    page: str | OwnPageBody = Field(USUAL_PAGE, description="a5, a4, a3, letter, ... or a size of its own")
    lying: bool = Field(False, description="the page lies on its long side")
    dpi: Dpi = USUAL_DPI
    format: FileFormat = "pdf"
    bits: Literal[8, 16] | None = Field(None, description="per dot; 8 in a PDF, 16 in a picture if not given")
    margin_mm: float = 8.0
    gap_mm: float = 6.0
    cutting_marks: bool = True
    wedge_steps: int | None = Field(None, description="a step wedge at the foot, with so many steps")
    label: str | None = Field(None, description="a line of text at the foot")
    mirror: bool = Field(True, description="so that the inked side lies on the coat")
    tone: ToneBody | None = Field(
        None, description="corrects the tones for a coat and a film printer; only inverts if not given"
    )
    negatives: Annotated[list[NegativeItem], Field(min_length=1, max_length=MOST_NEGATIVES)] | None = Field(
        None, description="one of each picture sent, if not given"
    )


class AidQuery(BaseModel):
    """The page of a printed aid."""

    model_config = STRICT

    page: str = USUAL_PAGE
    dpi: Dpi = USUAL_DPI
    format: FileFormat = "pdf"
    # a query is text, so its choices of numbers are told as a range
    bits: Annotated[int, Field(ge=8, le=16, multiple_of=8)] | None = Field(
        None, description="8 or 16 per dot; 8 in a PDF, 16 in a picture if not given"
    )
    margin_mm: float = Field(8.0, ge=0, le=100)
    mirror: bool = Field(True, description="so that the inked side lies on the coat")


class WedgeQuery(AidQuery):
    """A step wedge by itself, even in code value, never corrected."""

    steps: int = Field(USUAL_STEPS, ge=LEAST_STEPS, le=MOST_STEPS)
    patch_width_mm: float = Field(8.0, ge=3, le=60)
    patch_height_mm: float = Field(20.0, ge=3, le=60)


class MaskQuery(AidQuery):
    """A mask for a geometric test strip."""

    strip_count: int = Field(9, ge=LEAST_STRIPS, le=MOST_STRIPS)
    step_stops: float = Field(0.5, ge=1 / 12, le=2)
    strip_width_mm: float = Field(15.0, ge=6, le=200)
    strip_height_mm: float = Field(50.0, ge=15, le=200)
