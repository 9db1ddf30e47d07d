"""What may be asked for one sentence."""

from pydantic import BaseModel, Field

from noonframe.api.inputs import MovesQuery, Saved, TargetFields
from noonframe.api.inputs_spot import STRICT


class TomorrowQuery(TargetFields):
    """The best slot of tomorrow, at the place."""


class NextMoveQuery(MovesQuery):
    """The next move: of what is under way if no place is given, else of the plan for a print there."""

    session: Saved | None = Field(
        None, description="of a saved session, by name or id; without it, of the one that is on"
    )


class RunningQuery(BaseModel):
    """What is in the light."""

    model_config = STRICT

    name: Saved | None = Field(None, description="only prints of this name")
