"""A year for the wall: minutes of exposure by start hour and month on one page of A4."""

import calendar
from collections.abc import Callable

from noonframe.api.pictures.drawing import FRAME, INK, QUIET
from noonframe.api.pictures.month_page import month_page
from noonframe.api.pictures.page import SheetPage
from noonframe.api.pictures.page_parts import (
    LEFT_MM,
    NIGHT,
    RIGHT_MM,
    RULE,
    dark_clock_hours,
    heading,
    legend,
    minutes_text,
    night_outlines,
    notes,
    nothing_to_show,
    shown_part,
    tint,
)
from noonframe.api.year_answer import Outcome, clock_text
from noonframe.dose.year import HourOfMonth, MonthOfYear

__all__ = ["month_page", "year_page"]

_GRID_LEFT = 38.0
_COLUMN = (RIGHT_MM - _GRID_LEFT) / 12.0
_GRID_TOP = 50.0
_GRID_DEEP = 147.0
_HIGHEST_ROW = 9.2
_SUM_ROW = 5.4
_FEWEST_ROWS = 8


def year_page(outcome: Outcome) -> SheetPage:
    """The page of a year."""
    answer = outcome.year()
    page = SheetPage(f"Sun exposures in {answer.year}", f"{outcome.where}. {answer.summary}")
    heading(page, outcome, "by the hour on the clock at which it begins: median of the month's days.")
    months = outcome.months
    first, last = _hours_shown(months)
    row = min(_GRID_DEEP / (last - first + 1), _HIGHEST_ROW)
    bottom = _GRID_TOP + row * (last - first + 1)
    _draw_night(page, outcome, first, last, row)
    lengths = [one.median_s for month in months for one in month.hours if one.median_s is not None]
    quickest = min(lengths, default=None)
    for hour in range(first, last + 1):
        y = _GRID_TOP + row * (hour - first)
        page.words((_GRID_LEFT - 2.5, y + row / 2.0 + 1.2), f"{hour:02d}:00", 8.0, anchor="end", colour=QUIET)
    for month in months:
        x = _GRID_LEFT + _COLUMN * (month.month - 1)
        name = calendar.month_abbr[month.month]
        page.words((x + _COLUMN / 2.0, _GRID_TOP - 1.8), name, 9.0, anchor="middle", bold=True)
        for one in month.hours[first : last + 1]:
            corner = (x, _GRID_TOP + row * (one.hour - first))
            _draw_cell(page, one, corner, row, quickest, is_best=one.hour == month.best_hour)
    for k in range(13):
        x = _GRID_LEFT + _COLUMN * k
        page.line([(x, _GRID_TOP), (x, bottom)], stroke=RULE, stroke_mm=0.12)
    page.box((_GRID_LEFT, _GRID_TOP), (12.0 * _COLUMN, bottom - _GRID_TOP), stroke=INK, stroke_mm=0.3)
    if not outcome.starts.days_done:
        nothing_to_show(page, ((_GRID_LEFT + RIGHT_MM) / 2.0, (_GRID_TOP + bottom) / 2.0))
    y = _draw_sums(page, months, bottom)
    signs = ["Framed: the best whole hour of the month"]
    shown = [one for month in months for one in month.hours]
    if any(one.median_s is not None and one.possible < one.starts for one in shown):
        signs.append("(24): not from every day of the month")
    if any(one.median_s is None and one.possible for one in shown):
        signs.append("7 d: only from 7 of its days")
    signs.append("Empty: the light does not give the dose. Useful: at most twice as long as the day's best")
    y = legend(page, y + 7.0, quickest, signs)
    notes(page, y + 2.6, outcome)
    return page


def _hours_shown(months: tuple[MonthOfYear, ...]) -> tuple[int, int]:
    """First and last hour: all that can be used and one more on either side, and never a mere strip."""
    used = [one.hour for month in months for one in month.hours if one.possible]
    if not used:
        return 4, 20
    first, last = max(min(used) - 1, 0), min(max(used) + 1, 23)
    while last - first + 1 < _FEWEST_ROWS:
        first, last = max(first - 1, 0), min(last + 1, 23)
    return first, last


def _draw_night(page: SheetPage, outcome: Outcome, first: int, last: int, row: float) -> None:
    """The hours without sun, day by day; a start's cell has its hour in the middle."""
    edges = []
    for date in outcome.starts.days.dates:
        days = calendar.monthrange(date.year, date.month)[1]
        x = _GRID_LEFT + _COLUMN * (date.month - 1 + (date.day - 1) / days)
        edges.append((x, x + _COLUMN / days))

    def y_of(hour: float) -> float:
        return _GRID_TOP + row * (min(max(hour, first - 0.5), last + 0.5) - first + 0.5)

    shown = [shown_part(spans, first, last) for spans in dark_clock_hours(outcome)]
    for outline in night_outlines(shown, edges):
        page.area([(x, y_of(hour)) for x, hour in outline], fill=NIGHT)


def _draw_cell(
    page: SheetPage,
    one: HourOfMonth,
    corner: tuple[float, float],
    row: float,
    quickest_s: float | None,
    *,
    is_best: bool,
) -> None:
    if not one.possible:
        return
    x, y = corner
    middle = (x + _COLUMN / 2.0, y + row / 2.0 + 1.15)
    stroke, stroke_mm = (FRAME, 0.7) if is_best else (RULE, 0.12)
    inset = 0.55 if is_best else 0.3
    box = ((x + inset, y + inset), (_COLUMN - 2 * inset, row - 2 * inset))
    if one.median_s is None or quickest_s is None:
        page.box(*box, stroke=stroke, stroke_mm=stroke_mm)
        page.words(middle, f"{one.possible} d", 6.5, anchor="middle", colour=QUIET)
        return
    page.box(*box, fill=tint(one.median_s, quickest_s), stroke=stroke, stroke_mm=stroke_mm)
    text = minutes_text(one.median_s)
    if one.possible < one.starts:
        text = f"({text})"
    page.words(middle, text, 8.0, anchor="middle", bold=is_best)


def _draw_sums(page: SheetPage, months: tuple[MonthOfYear, ...], top: float) -> float:
    """The best hours of each month under its column; returns the height of the last line."""

    def length(month: MonthOfYear) -> str:
        return "–" if month.best_length_s is None else minutes_text(month.best_length_s)

    rows: tuple[tuple[str, Callable[[MonthOfYear], str]], ...] = (
        ("Best start", lambda m: "–" if m.best_hour is None else f"{m.best_hour:02d}:00"),
        ("Minutes then", length),
        ("Useful from", lambda m: clock_text(m.useful_from_clock_s) or "–"),
        ("Useful until", lambda m: clock_text(m.useful_until_clock_s) or "–"),
        ("Day, sun up", lambda m: _hours(m.day_length_s)),
        ("Days possible", lambda m: f"{m.days_done}/{m.days}"),
    )
    y = top + 1.0
    for name, say in rows:
        y += _SUM_ROW
        page.words((LEFT_MM, y - 1.4), name, 7.6, colour=QUIET)
        for month in months:
            x = _GRID_LEFT + _COLUMN * (month.month - 0.5)
            page.words((x, y - 1.4), say(month), 7.6, anchor="middle", bold=name == "Best start")
        page.line([(LEFT_MM, y), (RIGHT_MM, y)], stroke=RULE, stroke_mm=0.12)
    return y


def _hours(length_s: float) -> str:
    hours, minutes = divmod(round(length_s / 60.0), 60)
    return f"{hours}h {minutes:02d}"
