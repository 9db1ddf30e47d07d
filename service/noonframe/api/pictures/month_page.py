"""A month for the wall: minutes of exposure by day and start hour on one page of A4."""

import calendar
import datetime as dt

import numpy as np

from noonframe.api.pictures.drawing import FRAME, INK, QUIET
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
from noonframe.api.year_answer import Outcome
from noonframe.api.year_outputs import DayItem

_DAY_WIDE, _SUN_WIDE, _BEST_WIDE = 19.0, 20.0, 22.0
_GRID_LEFT = LEFT_MM + _DAY_WIDE + _SUN_WIDE
_GRID_RIGHT = RIGHT_MM - _BEST_WIDE
_GRID_TOP = 50.0
_ROW = 6.1
_WIDEST_COLUMN = 16.0
_FEWEST_COLUMNS = 8
_SUNDAY = 6


def month_page(outcome: Outcome) -> SheetPage:
    """The page of a month."""
    answer = outcome.month()
    first_day = outcome.starts.days.dates[0]
    title = f"Sun exposures in {calendar.month_name[first_day.month]} {first_day.year}"
    page = SheetPage(title, f"{outcome.where}. {answer.summary}")
    heading(page, outcome, "by the hour on the clock at which it begins.")
    cells = _cells(outcome)
    first, last = _hours_shown(sorted({hour for _, hour in cells}))
    column = min((_GRID_RIGHT - _GRID_LEFT) / (last - first + 1), _WIDEST_COLUMN)
    right = _GRID_LEFT + column * (last - first + 1)
    count = len(answer.days)
    bottom = _GRID_TOP + _ROW * count

    def x_of(hour: float) -> float:
        return _GRID_LEFT + column * (min(max(hour, first - 0.5), last + 0.5) - first + 0.5)

    spans = [shown_part(day, first, last) for day in dark_clock_hours(outcome)]
    rows = [(_GRID_TOP + _ROW * k, _GRID_TOP + _ROW * (k + 1)) for k in range(count)]
    for outline in night_outlines(spans, rows):
        page.area([(x_of(hour), y) for y, hour in outline], fill=NIGHT)
    _draw_heads(page, first, last, column, right)
    known = [length for lengths in cells.values() for length in lengths]
    quickest = min(known, default=None)
    for k, day in enumerate(answer.days):
        y = _GRID_TOP + _ROW * k
        _draw_day(page, day, y, right)
        shortest = min((min(cells[k, h]) for h in range(24) if (k, h) in cells), default=None)
        for hour in range(first, last + 1):
            lengths = cells.get((k, hour))
            if lengths is None or quickest is None:
                continue
            corner = (_GRID_LEFT + column * (hour - first), y)
            _draw_cell(page, corner, column, lengths, quickest, is_best=shortest in lengths)
        page.line([(LEFT_MM, y + _ROW), (right + _BEST_WIDE, y + _ROW)], stroke=RULE, stroke_mm=0.12)
    page.box((_GRID_LEFT, _GRID_TOP), (right - _GRID_LEFT, bottom - _GRID_TOP), stroke=INK, stroke_mm=0.3)
    if not cells:
        nothing_to_show(page, ((_GRID_LEFT + right) / 2.0, (_GRID_TOP + bottom) / 2.0))
    signs = ["Framed: the day's best whole hour; at the right its best start to five minutes"]
    if any(len(lengths) > 1 for lengths in cells.values()):
        signs.append("9/12: the clocks go back, and the hour comes twice")
    y = legend(page, bottom + 7.0, quickest, signs)
    notes(page, y + 2.6, outcome)
    return page


def _cells(outcome: Outcome) -> dict[tuple[int, int], list[float]]:
    """Lengths by day and hour where an exposure can be made: two where the hour comes twice."""
    starts = outcome.starts
    cells: dict[tuple[int, int], list[float]] = {}
    for k in np.flatnonzero(np.isfinite(starts.length_s)):
        cell = cells.setdefault((int(starts.hours.day[k]), int(starts.hours.hour[k])), [])
        cell.append(float(starts.length_s[k]))
    return cells


def _hours_shown(used: list[int]) -> tuple[int, int]:
    if not used:
        return 4, 20
    first, last = max(used[0] - 1, 0), min(used[-1] + 1, 23)
    while last - first + 1 < _FEWEST_COLUMNS:
        first, last = max(first - 1, 0), min(last + 1, 23)
    return first, last


def _draw_heads(page: SheetPage, first: int, last: int, column: float, right: float) -> None:
    y = _GRID_TOP - 1.8
    for hour in range(first, last + 1):
        x = _GRID_LEFT + column * (hour - first + 0.5)
        page.words((x, y), f"{hour:02d}", 8.0, anchor="middle", bold=True)
    x = LEFT_MM + _DAY_WIDE
    page.words((x + _SUN_WIDE / 4.0 - 0.5, y), "Rise", 7.2, anchor="middle", colour=QUIET)
    page.words((x + _SUN_WIDE * 3.0 / 4.0 - 1.0, y), "Set", 7.2, anchor="middle", colour=QUIET)
    page.words((right + _BEST_WIDE / 4.0 + 0.8, y), "Best", 7.2, anchor="middle", colour=QUIET)
    page.words((right + _BEST_WIDE * 3.0 / 4.0 + 1.0, y), "min", 7.2, anchor="middle", colour=QUIET)


def _draw_day(page: SheetPage, day: DayItem, y: float, right: float) -> None:
    date = dt.date.fromisoformat(day.date)
    base = y + _ROW / 2.0 + 1.15
    sunday = date.weekday() == _SUNDAY
    page.words((LEFT_MM, base), calendar.day_abbr[date.weekday()], 8.0, colour=QUIET, bold=sunday)
    page.words((LEFT_MM + 15.0, base), str(date.day), 8.5, anchor="end", bold=True)
    x = LEFT_MM + _DAY_WIDE
    if day.outcome in ("up-all-day", "down-all-day"):
        says = "sun stays up" if day.outcome == "up-all-day" else "sun stays down"
        page.words((x + _SUN_WIDE / 2.0 - 0.7, base), says, 6.6, anchor="middle", colour=QUIET)
    else:
        for part, moment in ((1.0, day.rise), (3.0, day.set)):
            place = (x + _SUN_WIDE * part / 4.0 - 0.75, base)
            page.words(place, _clock(moment), 7.2, anchor="middle", colour=QUIET)
    place = (right + _BEST_WIDE / 4.0 + 0.8, base)
    page.words(place, _clock(day.best_start), 8.0, anchor="middle", bold=True)
    minutes = "–" if day.best_length_s is None else minutes_text(day.best_length_s)
    page.words((right + _BEST_WIDE * 3.0 / 4.0 + 1.0, base), minutes, 8.0, anchor="middle")


def _clock(moment: str | None) -> str:
    """HH:MM to the nearest minute."""
    if moment is None:
        return "–"
    when = dt.datetime.fromisoformat(moment)
    return f"{dt.datetime.fromtimestamp(60.0 * round(when.timestamp() / 60.0), when.tzinfo):%H:%M}"


def _draw_cell(
    page: SheetPage,
    corner: tuple[float, float],
    column: float,
    lengths: list[float],
    quickest_s: float,
    *,
    is_best: bool,
) -> None:
    x, y = corner
    stroke, stroke_mm = (FRAME, 0.6) if is_best else (RULE, 0.12)
    inset = 0.45 if is_best else 0.25
    size = (column - 2 * inset, _ROW - 2 * inset)
    fill = tint(min(lengths), quickest_s)
    page.box((x + inset, y + inset), size, fill=fill, stroke=stroke, stroke_mm=stroke_mm)
    text = "/".join(minutes_text(length) for length in lengths)
    most = 7.5 if column >= 6.5 else 6.5
    # a digit of the page's fonts is 0.64 of its size wide
    size_pt = min(most, (column - 1.0) / 25.4 * 72.0 / (0.64 * len(text)))
    page.words((x + column / 2.0, y + _ROW / 2.0 + 1.0), text, size_pt, anchor="middle", bold=is_best)
