"""Materials and places as tables."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from noonframe_terminal.trouble import refusal

if TYPE_CHECKING:
    from rich.console import Console


def draw_materials(console: "Console", answer: Mapping[str, Any]) -> None:
    """Both catalogues."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    console.print("Sensitizers, for --sensitizer", style="bold")
    coats = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    coats.add_column("Id", no_wrap=True)
    coats.add_column("What it is", overflow="fold")
    coats.add_column("Target J/m²", justify="right")
    coats.add_column("± stops", justify="right")
    for coat in answer["sensitizers"]:
        coats.add_row(
            coat["id"], coat["label"], f"{coat['target_j_m2']:g}", f"{coat['target_spread_stops']:.1f}"
        )
    console.print(coats)
    console.print()
    console.print("Panes, covers and films, for --stack", style="bold")
    stack = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    stack.add_column("Id", no_wrap=True)
    stack.add_column("What it is", overflow="fold")
    stack.add_column("Passes", justify="right", no_wrap=True)
    stack.add_column("Known by")
    for item in answer["stack"]:
        share = 100.0 * item["effective_share"]
        spread = share * item["spread_relative"]
        stack.add_row(item["id"], item["label"], f"{share:.0f} ± {spread:.0f} %", item["how_known"])
    console.print(stack)
    console.print()
    console.print(
        "Passes: share of the light that works on the classic coat, sun 50° high. Add an id for where its"
        " numbers come from: noonframe materials float-glass-4mm",
        style="dim",
    )


def draw_material(console: "Console", answer: Mapping[str, Any], wanted: str) -> None:
    """One entry in full, with where its numbers come from; refuses an id that is in neither catalogue."""
    entries = {entry["id"]: entry for entry in (*answer["sensitizers"], *answer["stack"])}
    entry = entries.get(wanted)
    if entry is None:
        from difflib import get_close_matches

        near = get_close_matches(wanted, entries, n=3)
        hint = f"; did you mean {', '.join(near)}?" if near else ""
        raise refusal("material", wanted, f"an id that noonframe materials lists{hint}")
    console.print(f"{entry['label']} ({entry['id']})", style="bold")
    for name, value in entry.items():
        if name not in ("id", "label") and value is not None:
            console.print(f"{name}: {value}")


def draw_places(console: "Console", answer: Mapping[str, Any]) -> None:
    """Places found, the likeliest first."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    table.add_column("Place")
    for name in ("Latitude", "Longitude", "Elevation"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("Time zone", no_wrap=True)
    for place in answer["places"]:
        elevation_m = place["elevation_m"]
        table.add_row(
            place["label"],
            f"{place['latitude_deg']:.4f}",
            f"{place['longitude_deg']:.4f}",
            "" if elevation_m is None else f"{elevation_m:g} m",
            place["time_zone"],
        )
    console.print(table)
    console.print(answer["attribution"], style="dim")
