"""The patch of sun inside a window: when it lies on the table, where, and the best place in it."""

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from noonframe_terminal import words
from noonframe_terminal.show_exposure import draw_basis

if TYPE_CHECKING:
    from rich.console import Console


def draw_patch(console: "Console", answer: Mapping[str, Any]) -> None:
    """Everything `noonframe patch` shows."""
    for line in patch_sentences(answer):
        console.print(line, style="bold")
    if answer["moments"]:
        console.print()
        _draw_moments(console, answer["moments"])
        console.print()
        console.print(
            "In metres: its nearest and farthest edge from the wall, and how far it goes to the left and the"
            " right of the window's middle, looking out. On table: the part of it that lies there.",
            style="dim",
        )
    if answer["months"] is not None:
        console.print()
        _draw_months(console, answer["months"])
    draw_basis(console, answer)


def patch_sentences(answer: Mapping[str, Any]) -> list[str]:
    """When there is sun on the table, and where to lie."""
    day = words.date(dt.date.fromisoformat(answer["date"]))
    dose = f"{_dose(answer['best_dose_j_m2'])} J/m² that day"
    if answer["sun_from"] is None:
        return [
            f"No sun reaches the table on {day}.",
            f"The best place for light from the sky: {answer['best_says']} ({dose}).",
        ]
    first, last = (words.clock(words.moment(answer[key])) for key in ("sun_from", "sun_until"))
    return [
        f"Sun lies on the table from {first} to {last} on {day}.",
        f"The best place: {answer['best_says']} ({dose}).",
    ]


def _dose(dose_j_m2: float) -> str:
    return f"{dose_j_m2:.3g}" if dose_j_m2 < 1000.0 else f"{round(dose_j_m2, -2):.0f}"


def _side(offset_m: float) -> str:
    return f"{abs(offset_m):.2f} {'left' if offset_m < 0.0 else 'right'}"


def _draw_moments(console: "Console", moments: list[dict[str, Any]]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 2, 0, 0), header_style="")
    table.add_column("Time", no_wrap=True)
    for name in ("Nearest", "Farthest", "Leftmost", "Rightmost", "On table", "of it"):
        table.add_column(name, justify="right", no_wrap=True)
    for moment in moments:
        offsets, distances = zip(*moment["corners"], strict=True)
        table.add_row(
            words.clock(words.moment(moment["time"])),
            f"{min(distances):.2f}",
            f"{max(distances):.2f}",
            _side(min(offsets)),
            _side(max(offsets)),
            f"{moment['area_m2']:.2f} m²",
            f"{100.0 * moment['table_share']:.0f} %",
        )
    console.print(table)


def _draw_months(console: "Console", months: list[dict[str, Any]]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 2, 0, 0), header_style="")
    table.add_column("Mid-month", no_wrap=True)
    table.add_column("Sun", no_wrap=True)
    table.add_column("Best place")
    table.add_column("J/m²", justify="right", no_wrap=True)
    for item in months:
        sun = "none"
        if item["sun_from"] is not None:
            first, last = (words.clock(words.moment(item[key])) for key in ("sun_from", "sun_until"))
            sun = f"{first}-{last}"
        table.add_row(words.month(item["month"]), sun, item["best_says"], _dose(item["dose_j_m2"]))
    console.print(table)
