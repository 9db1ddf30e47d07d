"""What is told of a film page and of the pictures it was made from."""

from typing import Literal

from pydantic import BaseModel, Field

from noonframe.api.negative_bodies import FileFormat, LevelsBody
from noonframe.api.negative_tone_answers import ToneItem


class LookItem(BaseModel):
    """What a picture is, as it stands upright, and all that is done to its colours."""

    name: str = Field(description="the name it was sent under", examples=["tide-table.jpg"])
    bytes: int
    kind: Literal["JPEG", "PNG", "TIFF", "WebP"]
    width_px: int
    height_px: int
    mode: str = Field(description="channels of the file, as the library calls them", examples=["RGB"])
    bits: int = Field(description="per channel")
    orientation: int = Field(description="EXIF's, 1 to 8; it is followed")
    profile: str | None = Field(description="name of its colour profile")
    conversions: list[str] = Field(description="everything that is done to bring it to sRGB or grey")


class LookAnswer(BaseModel):
    """The pictures sent, in their order; nothing is kept."""

    pictures: list[LookItem]


class PageItem(BaseModel):
    """The page of film."""

    name: str
    width_mm: float
    height_mm: float
    columns: int
    rows: int
    dpi: float


class NegativeDone(BaseModel):
    """One negative of the page."""

    picture: int
    look: LookItem
    left_mm: float = Field(description="from the page's left edge, as the print shows it")
    top_mm: float
    width_mm: float
    height_mm: float
    turned: bool = Field(description="by a quarter, clockwise, to save film")
    grey: str
    levels: LevelsBody
    contrast: float
    inverted: bool
    all_dark_share: float = Field(description="share of its dots at the darkest tone of the print")
    all_light_share: float = Field(description="share of its dots at paper white")
    effective_ppi: float = Field(description="the picture's own pixels to the inch of print")
    enlarged: float = Field(
        description="how many times it was enlarged to the printer's dots; 1 if it was not"
    )
    warnings: list[str]


class NegativeAnswer(BaseModel):
    """The film page: what it holds, and why it looks as it does."""

    summary: str
    page: PageItem
    format: FileFormat
    bits: int
    mirrored: bool
    mirror_reason: str
    layout: Literal["shelves", "given"]
    negatives: list[NegativeDone]
    tone: ToneItem | None = Field(None, description="the tone correction; null where there is none")
    notes: list[str]
