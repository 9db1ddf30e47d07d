"""A month or a year as tables that fit a terminal of 80 columns."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from noonframe_terminal import words
from noonframe_terminal.show_exposure import draw_basis, draw_cautions, target_words

if TYPE_CHECKING:
    from rich.console import Console

_WIDEST = 80
_IN_HOURS_S = 600 * 60.0
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def draw_year(
    console: "Console", answer: Mapping[str, Any], *, usual: bool = True, picture: str | None = None
) -> None:
    """Everything `noonframe year` shows."""
    console.print(answer["summary"], style="bold")
    months = answer["months"]
    rows = [
        [start, *(year_cell(month["hours"][hour]) for month in months)]
        for hour, start in enumerate(one["start"] for one in months[0]["hours"])
    ]
    used = [k for k, row in enumerate(rows) if any(row[1:])]
    if used:
        console.print()
        console.print(f"Minutes of exposure in {answer['year']}, by the hour at which it begins:")
        heads = ["", *(words.month(month["month"])[:3] for month in months)]
        for line in table_lines(heads, rows[used[0] : used[-1] + 1]):
            console.print(line, no_wrap=True, soft_wrap=True)
        _explain_cells(console, [one for month in months for one in month["hours"]])
    console.print()
    heads = ["", "Best at", "Expose", "Useful starts", "Sun up", "Days"]
    sums = [_month_row(month) for month in months]
    for line in table_lines(heads, sums, gap=3, left=True):
        console.print(line, no_wrap=True, soft_wrap=True)
    _draw_end(console, answer, usual=usual, picture=picture)


def draw_month(
    console: "Console", answer: Mapping[str, Any], *, usual: bool = True, picture: str | None = None
) -> None:
    """Everything `noonframe month` shows."""
    console.print(answer["summary"], style="bold")
    console.print()
    days = answer["days"]
    heads = ["", "Sun", "Best at", "Expose", "Useful starts"]
    for line in table_lines(heads, [_day_row(day) for day in days], gap=3, left=True):
        console.print(line, no_wrap=True, soft_wrap=True)
    if answer["days_possible"]:
        heads, rows, step = month_grid(days)
        console.print()
        every = {1: "hour", 2: "second hour", 3: "third hour"}.get(step, f"{step}th hour")
        console.print(f"Minutes of exposure, by the {every} at which it begins:")
        for line in table_lines(heads, rows):
            console.print(line, no_wrap=True, soft_wrap=True)
    _draw_end(console, answer, usual=usual, picture=picture)


def _draw_end(console: "Console", answer: Mapping[str, Any], *, usual: bool, picture: str | None) -> None:
    low, high = answer["low_factor"], answer["high_factor"]
    console.print()
    console.print(
        f"Eight sheets in ten need between {low:.2g} and {high:.2g} times these minutes. Useful starts take"
        " at most twice as long as their day's best.",
        style="dim",
    )
    changes = [words.moment(text) for text in answer["clock_changes"]]
    if changes:
        told = " and ".join(words.date(when.date()) for when in changes)
        console.print(f"Times are those on the clock, which changes on {told}.", style="dim")
    if picture is not None:
        console.print(f"The page is in {picture}.")
    draw_cautions(console, answer)
    draw_basis(console, answer, target_words(answer), usual=usual)


def minutes(length_s: float) -> str:
    """Minutes for a cell: a tenth matters below ten, and from ten hours on they are hours."""
    if length_s >= _IN_HOURS_S:
        return f"{length_s / 3600.0:.0f}h"
    return f"{length_s / 60.0:.1f}" if length_s < 597.0 else f"{length_s / 60.0:.0f}"


def year_cell(hour: Mapping[str, Any]) -> str:
    """The cell of an hour of a month; empty where no start does it."""
    if not hour["possible"]:
        return ""
    if hour["length_s"] is None:
        return f"{hour['possible']}d"
    text = minutes(hour["length_s"])
    return text if hour["possible"] == hour["starts"] else f"({text})"


def _explain_cells(console: "Console", hours: Sequence[Mapping[str, Any]]) -> None:
    signs = []
    if any(one["length_s"] is not None and one["possible"] < one["starts"] for one in hours):
        signs.append("(24): not from every day of the month.")
    if any(one["length_s"] is None and one["possible"] for one in hours):
        signs.append("7d: only from 7 of its days.")
    if signs:
        console.print(" ".join(signs), style="dim")


def _month_row(month: Mapping[str, Any]) -> list[str]:
    name = words.month(month["month"])[:3]
    days = f"{month['days_possible']}/{month['days']}"
    sun = _hours(month["day_length_s"])
    if month["best_start"] is None:
        return [name, "-", "light goes first", "-", sun, days]
    length = "on few days" if month["best_length_s"] is None else words.length(month["best_length_s"])
    return [name, month["best_start"], length, f"{month['useful_from']}-{month['useful_until']}", sun, days]


def _hours(length_s: float) -> str:
    hours, rest = divmod(round(length_s / 60.0), 60)
    return f"{hours} h {rest:02d}"


def _day_row(day: Mapping[str, Any]) -> list[str]:
    date = dt.date.fromisoformat(day["date"])
    name = f"{_WEEKDAYS[date.weekday()]} {date.day:2d}"
    if day["outcome"] == "up-all-day":
        sun = "stays up"
    elif day["outcome"] == "down-all-day":
        sun = "stays down"
    else:
        sun = f"{_clock(day['rise'])}-{_clock(day['set'])}"
    if day["best_start"] is None:
        return [name, sun, "-", "light goes first", "-"]
    useful = f"{_clock(day['useful_from'])}-{_clock(day['useful_until'])}"
    return [name, sun, _clock(day["best_start"]), words.length(day["best_length_s"]), useful]


def _clock(text: str | None) -> str:
    return "-" if text is None else words.clock(words.moment(text))


def month_grid(days: Sequence[Mapping[str, Any]]) -> tuple[list[str], list[list[str]], int]:
    """Heads and rows of minutes by day and hour, and the step in hours that makes them fit the width."""
    cells: dict[tuple[int, int], str] = {}
    for k, day in enumerate(days):
        for start in day["starts"]:
            if start["length_s"] is None:
                continue
            hour = words.moment(start["start"]).hour
            text = minutes(start["length_s"])
            # an hour that comes twice, as the clocks go back, has two lengths
            cells[k, hour] = f"{cells[k, hour]}/{text}" if (k, hour) in cells else text
    first, last = min(hour for _, hour in cells), max(hour for _, hour in cells)
    for step in range(1, 25):
        hours = range(first, last + 1, step)
        heads = ["", *(f"{hour:02d}" for hour in hours)]
        rows = [
            [str(dt.date.fromisoformat(day["date"]).day), *(cells.get((k, hour), "") for hour in hours)]
            for k, day in enumerate(days)
        ]
        if len(table_lines(heads, rows)[0]) <= _WIDEST:
            break
    return heads, rows, step


def table_lines(
    heads: Sequence[str], rows: Sequence[Sequence[str]], *, gap: int = 1, left: bool = False
) -> list[str]:
    """Columns side by side, all lines equally long; to the right unless `left`."""
    table = [heads, *rows]
    widths = [max(len(row[k]) for row in table) for k in range(len(heads))]
    put = str.ljust if left else str.rjust
    return [
        (" " * gap).join(put(cell, width) for cell, width in zip(row, widths, strict=True)) for row in table
    ]
