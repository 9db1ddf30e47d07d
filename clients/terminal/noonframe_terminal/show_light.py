"""A course of light, as a table to read or as CSV to work with."""

import csv
import io
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from noonframe_terminal import words
from noonframe_terminal.show_exposure import draw_basis

if TYPE_CHECKING:
    from rich.console import Console

_BEAM_SHARE = "beam_share"  # only inside a window
_COLUMNS = (
    "time",
    "solar_zenith_deg",
    "solar_azimuth_deg",
    "uva_w_m2",
    "uva_diffuse_fraction",
    "blue_w_m2",
    "effective_w_m2",
    "uv_index",
)


_LAMP_COLUMNS = ("time", "output_share", "uva_w_m2", "blue_w_m2", "effective_w_m2")


def light_csv(answer: Mapping[str, Any]) -> str:
    """The courses side by side, under the contract's own names; an empty cell where it has no value."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    columns: tuple[str, ...] = (*_COLUMNS, _BEAM_SHARE) if _BEAM_SHARE in answer else _COLUMNS
    if "output_share" in answer:
        columns = _LAMP_COLUMNS
    writer.writerow(columns)
    writer.writerows(zip(*(answer[name] for name in columns), strict=True))
    return stream.getvalue()


def draw_light(console: "Console", answer: Mapping[str, Any]) -> None:
    """The light row by row; dark rows are counted, not shown."""
    if "output_share" in answer:
        _draw_lamp_light(console, answer)
        return
    inside = answer.get(_BEAM_SHARE, [None] * len(answer["time"]))
    rows = list(zip(*(answer[name] for name in _COLUMNS), inside, strict=True))
    lit = [row for row in rows if row[_COLUMNS.index("uva_w_m2")] > 0.0]
    console.print(light_sentence(answer), style="bold")
    console.print()
    if lit:
        _draw_table(console, lit)
        console.print()
    if len(lit) < len(rows):
        dark = len(rows) - len(lit)
        console.print(f"{dark} of {len(rows)} rows are dark and left out here; --csv has them all.")
    console.print(
        "Sun: its height, and toward which azimuth. In W/m²: UVA (315-400 nm) and blue (400-480 nm) before"
        " the stack, effective behind it. UVI: UV index.",
        style="dim",
    )
    if _BEAM_SHARE in answer:
        console.print(
            f"The sheet sees {100.0 * answer['sky_view']:.0f} % of the sky. In sun: its share in the patch of"
            " sun. All but UVI are means over the sheet, behind the window's pane.",
            style="dim",
        )
    draw_basis(console, answer)


def _draw_lamp_light(console: "Console", answer: Mapping[str, Any]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    for name in ("Time", "Of full", "UVA", "Blue", "Effective"):
        table.add_column(name, justify="left" if name == "Time" else "right", no_wrap=True)
    for time, share, *light in zip(*(answer[name] for name in _LAMP_COLUMNS), strict=True):
        clock = words.clock(words.moment(time), seconds=True)
        table.add_row(clock, f"{100.0 * share:.1f} %", *(f"{each:.2f}" for each in light))
    console.print(table)
    console.print("In W/m²: UVA and blue before the stack, effective behind it.", style="dim")
    draw_basis(console, answer)


def light_sentence(answer: Mapping[str, Any]) -> str:
    """The strongest light of the course."""
    effective = answer["effective_w_m2"]
    most = max(effective)
    if most <= 0.0:
        return "It is dark all this time."
    when = words.moment(answer["time"][effective.index(most)])
    at = f"{words.clock(when)} on {words.date(when.date())}"
    return f"The light is strongest at {at}: {most:.1f} W/m² effective."


def _draw_table(console: "Console", rows: list[tuple[Any, ...]]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    times = [words.moment(row[0]) for row in rows]
    pattern = "%Y-%m-%d %H:%M" if len({when.date() for when in times}) > 1 else "%H:%M"
    if any(when.second for when in times):
        pattern += ":%S"
    if len({when.utcoffset() for when in times}) > 1:  # else an hour would seem to come twice, or never
        pattern += "%z"
    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    table.add_column("Time", no_wrap=True)
    inside = rows[0][-1] is not None
    for name in (
        "Sun",
        "toward",
        "UVA",
        "diffuse",
        "Blue",
        "Effective",
        "UVI",
        *(["In sun"] if inside else []),
    ):
        table.add_column(name, justify="right", no_wrap=True)
    for when, (_, zenith, azimuth, uva, diffuse, blue, effective, uv_index, share) in zip(
        times, rows, strict=True
    ):
        table.add_row(
            when.strftime(pattern),
            f"{90.0 - zenith:.1f}°",
            f"{azimuth:.0f}°",
            f"{uva:.2f}",
            "" if diffuse is None else f"{100.0 * diffuse:.0f} %",
            f"{blue:.2f}",
            f"{effective:.2f}",
            f"{uv_index:.1f}",
            *([f"{100.0 * share:.0f} %"] if inside else []),
        )
    console.print(table)
