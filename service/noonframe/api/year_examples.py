"""Example requests and answers about months and years."""

from typing import Any

from pydantic import BaseModel

from noonframe.api.examples import OPEN_SPOT, SLOTS
from noonframe.api.year_inputs import MonthBody, MonthQuery, YearBody, YearQuery
from noonframe.settings import Settings

_SHEET: dict[str, object] = {name: value for name, value in SLOTS.items() if name not in ("date", "limit")}
YEAR: dict[str, object] = {**_SHEET, "year": 2026}
MONTH: dict[str, object] = {**_SHEET, "month": "2026-06"}

YEAR_MODELS: tuple[type[BaseModel], ...] = (YearBody, MonthBody)


def year_examples(settings: Settings, now_s: float) -> dict[tuple[str, str], dict[str, Any]]:
    """An answer to the example request of each operation, by media type."""
    from noonframe.api.inputs_spot import OpenSpotBody
    from noonframe.api.pictures.page import page_svg
    from noonframe.api.pictures.year_page import month_page, year_page
    from noonframe.api.year_answer import look_at_month, look_at_year

    spot = OpenSpotBody.model_validate(OPEN_SPOT)
    answers: dict[tuple[str, str], dict[str, Any]] = {}
    for method, place in (("get", None), ("post", spot)):
        year = look_at_year(YearQuery.model_validate(YEAR), settings, now_s, place)
        month = look_at_month(MonthQuery.model_validate(MONTH), settings, now_s, place)
        answers[method, "/v1/year"] = {"application/json": year.year().model_dump(mode="json")}
        answers[method, "/v1/month"] = {"application/json": month.month().model_dump(mode="json")}
        answers[method, "/v1/year.svg"] = {"image/svg+xml": _opening(page_svg(year_page(year)))}
        answers[method, "/v1/month.svg"] = {"image/svg+xml": _opening(page_svg(month_page(month)))}
        for path in ("/v1/year.pdf", "/v1/month.pdf"):
            answers[method, path] = {"application/pdf": "%PDF-1.4 and so on"}
    return answers


def _opening(drawing: str) -> str:
    """The first strokes of a drawing: all of them would make most of the document."""
    return f"{drawing[:600]}..."
