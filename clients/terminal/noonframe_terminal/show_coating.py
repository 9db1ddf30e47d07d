"""What to measure and weigh for some sheets, what to do, and what to mind."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from noonframe_terminal import words

if TYPE_CHECKING:
    from rich.console import Console


def draw_coating(
    console: "Console", answer: Mapping[str, Any], stock_ml: str, zone: dt.tzinfo | None = None
) -> None:
    """Everything `noonframe coat` shows; cautions stand before the work.

    Steps that have times are told by the clock of `zone`.
    """
    console.print(answer["summary"], style="bold")
    if answer["bottle_sheets"] is not None:
        first = answer["runs_out_first"]
        console.print(f"The bottles make {answer['bottle_sheets']} sheets; {first} runs out first.")
    if answer["caution"]:
        console.print(f"Caution: {answer['caution']}")
    console.print()
    for caution in answer["cautions"]:
        console.print(f"Caution, {caution['about']}: {caution['text']}")
    console.print()
    console.print(f"{answer['label']}; to mix {stock_ml} mL of each stock:")
    for stock in answer["stocks"]:
        weights = ", ".join(f"{powder['weight_g']:g} g of {powder['label']}" for powder in stock["powders"])
        console.print(f"  {stock['label']}: {weights}, water to {stock_ml} mL")
    console.print(f"Keeping: {answer['keeping']}")
    console.print()
    console.print("Before coating:")
    for check in answer["checklist"]:
        _hang(console, "  [ ] ", check["text"])
    _draw_steps(console, "Coating", answer["coating"], zone)
    _draw_steps(console, "Washing", answer["washing"], zone)
    if answer["rinse_peroxide_ml"] is not None:
        console.print(f"Peroxide for the rinse: {answer['rinse_peroxide_ml']:g} mL from the bottle.")
    sources = {answer["source"], answer["coverage_source"]}
    for key in ("cautions", "checklist", "coating", "washing"):
        sources |= {item["source"] for item in answer[key]}
    console.print()
    console.print("Sources:", style="dim")
    for source in sorted(sources - {""}):
        _hang(console, "  - ", source)


def _draw_steps(
    console: "Console", heading: str, steps: Sequence[Mapping[str, Any]], zone: dt.tzinfo | None
) -> None:
    console.print()
    if zone is None or not steps or steps[0]["earliest_start"] is None:
        console.print(f"{heading}:")
        for step in steps:
            _hang(console, f"  {_minutes(step['least_min'], step['most_min']):>9}  ", _what(step))
        return
    start = _there(steps[0]["earliest_start"], zone)
    console.print(f"{heading}, on {words.date(start.date())} by the clock of {zone}:")
    marks = [_span(step, start, zone) for step in steps]
    width = max(len(mark) for mark in marks)
    for step, mark in zip(steps, marks, strict=True):
        takes = _minutes(step["least_min"], step["most_min"])
        _hang(console, f"  {mark:<{width}}  ", f"{_what(step)} ({takes})")
    ends = [_there(steps[-1][key], zone) for key in ("earliest_end", "latest_end")]
    first, last = (f"{words.clock(when)}{_later(when, start)}" for when in ends)
    console.print(f"  Done at {first}." if first == last else f"  Done between {first} and {last}.")
    if any(when.date() != start.date() for when in ends):
        console.print("  +1 is the day after.", style="dim")


def _span(step: Mapping[str, Any], start: dt.datetime, zone: dt.tzinfo) -> str:
    """When a step begins, at the earliest and at the latest."""
    begins = [_there(step[key], zone) for key in ("earliest_start", "latest_start")]
    first, last = (f"{words.clock(when)}{_later(when, start)}" for when in begins)
    return first if first == last else f"{first}–{last}"


def _there(text: str, zone: dt.tzinfo) -> dt.datetime:
    return words.moment(text).astimezone(zone)


def _later(when: dt.datetime, start: dt.datetime) -> str:
    """So many days after the start, as +1."""
    days = (when.date() - start.date()).days
    return f"+{days}" if days else ""


def _what(step: Mapping[str, Any]) -> str:
    done = f" Done when: {step['done_when']}." if step["done_when"] else ""
    return f"{step['text']}{done}"


def _hang(console: "Console", mark: str, text: str) -> None:
    """A paragraph that begins after `mark` and stays indented."""
    from rich.table import Table

    grid = Table.grid()
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    grid.add_row(mark, text)
    console.print(grid)


def _minutes(least: float, most: float) -> str:
    if most >= 120.0:
        least, most, unit = least / 60.0, most / 60.0, "h"
    else:
        unit = "min"
    return f"{least:.3g} {unit}" if least == most else f"{least:.3g}–{most:.3g} {unit}"
