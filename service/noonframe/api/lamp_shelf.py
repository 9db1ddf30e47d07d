"""Saved lamps: what is posted and what is told."""

from pydantic import BaseModel, Field

from noonframe.api.bench_answers import SavedItem
from noonframe.api.bench_shelf import Visit
from noonframe.api.inputs import Saved
from noonframe.api.lamp_ask import lamp_of
from noonframe.api.lamp_bodies import LampBody, LampFields, OutputBody, names_records


class LampSaveBody(LampFields):
    """A lamp to be saved by name."""

    name: Saved


class LampAnswer(SavedItem):
    """A saved lamp in one of its versions; null stands for what is usual for its kind."""

    kind: str
    output: OutputBody
    hours: float
    loss_per_1000_h: float | None
    start_share: float | None
    time_constant_s: float | None


class LampsAnswer(BaseModel):
    """Saved lamps, newest first."""

    lamps: list[LampAnswer] = Field(description="each in its newest version")


def check_lamp(visit: Visit, body: LampSaveBody) -> None:
    """Raise for a lamp that no request could use; one with a recipe's print is worked out when it is used."""
    lamp = LampBody.model_validate(body.model_dump())
    if not names_records(lamp):
        lamp_of(lamp, visit.desk.settings.spectra_dir)
