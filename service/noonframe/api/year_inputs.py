"""What may be asked about a month or a year."""

import re
from typing import Annotated

from pydantic import AfterValidator, Field

from noonframe.api.inputs import TargetFields
from noonframe.api.inputs_spot import SpotBody

FIRST_YEAR, LAST_YEAR = 1901, 2197
"""Inside what the sun is known for, with a day to spare on either side."""

_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])", re.ASCII)


def _civil_month(text: str) -> str:
    found = _MONTH.fullmatch(text)
    if found is None:
        raise ValueError("a month such as 2026-06")
    if not FIRST_YEAR <= int(found[1]) <= LAST_YEAR:
        raise ValueError(f"a month between the years {FIRST_YEAR} and {LAST_YEAR}")
    return text


CivilMonth = Annotated[str, AfterValidator(_civil_month)]
"""A request field that takes a month of the calendar."""


class YearQuery(TargetFields):
    """The starts of a year, under a clear sky or under the cloud that is given: never a forecast."""

    year: int | None = Field(
        None, ge=FIRST_YEAR, le=LAST_YEAR, description="this year at the place if not given"
    )


class MonthQuery(TargetFields):
    """The starts of a month, under a clear sky or under the cloud that is given: never a forecast."""

    month: CivilMonth | None = Field(
        None, description="such as 2026-06; this month at the place if not given", examples=["2026-06"]
    )


class YearBody(YearQuery):
    """The starts of a year, with a spot."""

    spot: SpotBody | None = None


class MonthBody(MonthQuery):
    """The starts of a month, with a spot."""

    spot: SpotBody | None = None
