"""What is told of a predicted print."""

from pydantic import BaseModel, Field

from noonframe.api.negative_answers import LookItem
from noonframe.api.negative_tone_answers import ToneItem


class ExposureItem(BaseModel):
    """What one exposure gives."""

    stops: float = Field(description="above the target")
    says: str
    darkest: float
    lightest: float
    paper_white_share: float = Field(description="share of the dots without a visible tone")
    full_share: float = Field(description="share of the dots at the darkest tone")
    ramp: list[float] = Field(description="print densities of 21 even greys from black to white")


class PreviewAnswer(BaseModel):
    """A predicted print in numbers."""

    summary: str
    look: LookItem
    columns: int
    rows: int
    corrected: bool
    clipped_share: float = Field(description="share of the dots lighter than the film can print")
    tone: ToneItem
    exposures: list[ExposureItem]
    colour: str = Field(description="where the colours come from")
    not_modelled: list[str]
