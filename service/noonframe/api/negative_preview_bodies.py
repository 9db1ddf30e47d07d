"""What may be asked of a preview of the print."""

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from noonframe.api.inputs_spot import STRICT
from noonframe.api.negative_bodies import NegativeItem
from noonframe.api.negative_tone_bodies import ToneBody
from noonframe.negative.preview import MOST_STOPS, USUAL_STOPS
from noonframe.negative.print_colour import PAPER_COLOUR

SMALLEST_PX, LARGEST_PX, USUAL_PX = 100, 1600, 700


class PreviewBody(BaseModel):
    """How a picture will print."""

    model_config = STRICT

    negative: NegativeItem = Field(NegativeItem(), description="the steps from the picture to its negative")
    tone: ToneBody = Field(ToneBody(), description="coat and film printer")
    corrected: bool = Field(True, description="false: as a film without the tone correction prints")
    stops: Annotated[
        list[Annotated[float, Field(ge=-4, le=4)]], Field(min_length=1, max_length=MOST_STOPS)
    ] = Field(list(USUAL_STOPS), description="exposures to show, in stops above the target")
    bits: Literal[8, 16] = Field(8, description="per dot of the film file")
    longest_px: int = Field(
        USUAL_PX,
        ge=SMALLEST_PX,
        le=LARGEST_PX,
        description="longer side of each picture; never enlarged",
    )
    paper_colour: str = Field(PAPER_COLOUR, description="#rrggbb of the washed paper; only its hue counts")
