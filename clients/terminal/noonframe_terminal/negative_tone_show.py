"""Tone corrections, previews and film printers, as a printer reads them."""

from collections.abc import Mapping, Sequence
from typing import Any


def draw_tone(console: Any, says: Mapping[str, Any]) -> None:
    """A correction as a table, what it is made for, and what it costs."""
    console.print(says["summary"], style="bold")
    console.print()
    table = _table("Grey", "Ink", "Film", "Print", "without")
    for node in says["table"]:
        table.add_row(
            f"{node['picture_percent']:.0f} %",
            f"{node['ink_percent']:.1f} %",
            f"{node['film_density']:.2f}",
            f"{node['print_density']:.2f}",
            f"{node['uncorrected_density']:.2f}",
        )
    console.print(table)
    console.print()
    console.print(
        "Grey of the picture, 0 % black; density of the film above bare film, and of the print, the last"
        " without the correction.",
        style="dim",
    )
    console.print()
    draw_tone_notes(console, says)


def draw_tone_notes(console: Any, says: Mapping[str, Any]) -> None:
    """What a correction is made for, what the exposure must be told, and what to mind."""
    paper, ink, carry = says["paper"], says["ink"], says["exposure"]
    console.print(f"Coat: {paper['says']}; densities from {paper['d_min']:.2f} to {paper['d_max']:.2f}.")
    console.print(f"Film printer: {ink['says']}.")
    console.print(
        f"Exposure: the film's clearest part has a density of {carry['negative_density']:g}, {carry['says']}."
    )
    for note in says["notes"]:
        console.print(f"Note: {note}.")


def draw_preview(console: Any, says: Mapping[str, Any], path: str) -> None:
    """What a preview shows, and what it does not."""
    console.print(f"{path}: {says['summary']}")
    console.print()
    table = _table("Stops", "Palest", "Darkest", "White", "Full")
    for one in says["exposures"]:
        table.add_row(
            f"{one['stops']:+g}" if one["stops"] else "0",
            f"{one['lightest']:.2f}",
            f"{one['darkest']:.2f}",
            f"{100.0 * one['paper_white_share']:.0f} %",
            f"{100.0 * one['full_share']:.0f} %",
        )
    console.print(table)
    console.print()
    console.print(
        "Stops from the target; palest and darkest print density; how much of the picture is paper white,"
        " and how much full tone.",
        style="dim",
    )
    console.print()
    draw_tone_notes(console, says["tone"])
    console.print()
    console.print(f"Not shown: {'; '.join(says['not_modelled'])}.", style="dim")


def draw_film_printers(console: Any, printers: Sequence[Mapping[str, Any]]) -> None:
    """Saved film printers, newest first."""
    if not printers:
        console.print("No film printers. noonframe film-printer add saves one.")
        return
    table = _table("Film printer", "Range", "Known from")
    for one in printers:
        reach = one["film_density_range"]
        table.add_row(one["name"], "-" if reach is None else f"{reach:.2f}", one["says"])
    console.print(table)


def draw_film_printer(console: Any, one: Mapping[str, Any]) -> None:
    """What is known of a film printer."""
    console.print(f"{one['says'][:1].upper()}{one['says'][1:]}.")
    for name, words in (("film", "Film"), ("notes", "Notes")):
        if one[name]:
            console.print(f"{words}: {one[name]}.")


def _table(*columns: str) -> Any:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 2, 0, 0), header_style="")
    for index, name in enumerate(columns):
        right = index > 0 and name not in ("Known from",)
        table.add_column(name, overflow="fold", justify="right" if right else "left")
    return table
