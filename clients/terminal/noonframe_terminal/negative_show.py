"""A film page and the pictures behind it, as a printer reads them."""

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

_INDENT = "   "


def draw_made(console: Any, says: Mapping[str, Any], path: str, exposed: Sequence[str] | None = None) -> None:
    """What the film file holds, what was done to each picture, and why the page is mirrored.

    `exposed` are the options that tell an exposure of the recipe and target; None where no recipe was named.
    """
    console.print(path, soft_wrap=True)  # a path broken in two could not be copied
    console.print(says["summary"])
    for number, one in enumerate(says.get("negatives", ()), start=1):
        turned = ", turned by a quarter" if one["turned"] else ""
        levels = one["levels"]
        black, white = (100.0 * levels[f"{end}_share"] for end in ("black", "white"))
        console.print(
            f"\n{number}. {one['look']['name']}: {one['width_mm']:.1f} x {one['height_mm']:.1f} mm at"
            f" {one['left_mm']:.1f}, {one['top_mm']:.1f} mm{turned}; grey by {one['grey']};"
            f" black at {black:.0f} %, white at {white:.0f} % of the code range"
        )
        for note in (*one["look"]["conversions"], *one["warnings"]):
            _indented(console, note)
        for share, called in ((one["all_dark_share"], "darkest"), (one["all_light_share"], "lightest")):
            if share >= 0.02:
                _indented(console, f"{100.0 * share:.0f} % of it is at the {called} tone")
    if says.get("tone"):
        from noonframe_terminal.negative_tone_show import draw_tone_notes

        console.print()
        draw_tone_notes(console, says["tone"])
    console.print(f"\n{says['mirror_reason']}")
    for note in says["notes"]:
        console.print(f"Note: {note}.")
    if says.get("tone") and exposed is not None:
        from noonframe_terminal.show_strip import command_text

        carried = [*exposed, *_carried(says["tone"]["exposure"])]
        console.print("\nHow long, with this film in the frame; and the log of the print:")
        console.print(command_text("now", *carried, "--place", "PLACE"), soft_wrap=True)
        told = ("judge", exposed[1], "right", "--run", "last", "--film", path)
        console.print(command_text(*told), soft_wrap=True)


def _carried(carry: Mapping[str, Any]) -> list[str]:
    """What an exposure must be told of the film, as it is typed; nothing where the stack counts it whole."""
    if not carry["negative_includes_base"] and not carry["negative_density"]:
        return []
    told = ["--negative-density", f"{carry['negative_density']:g}"]
    return [*told, "--negative-includes-base"] if carry["negative_includes_base"] else told


def _indented(console: Any, text: str) -> None:
    console.print(
        textwrap.fill(text, console.width, initial_indent=_INDENT, subsequent_indent=_INDENT),
        soft_wrap=True,
    )


def draw_looks(console: Any, says: Mapping[str, Any]) -> None:
    """One paragraph for each picture."""
    for one in says["pictures"]:
        profile = f", profile {one['profile']}" if one["profile"] else ""
        console.print(
            f"{one['name']}: {one['kind']}, {one['width_px']} x {one['height_px']} pixels, {one['bits']} bits"
            f" to a channel ({one['mode']}){profile}, {one['bytes'] / 1e6:.1f} MB"
        )
        for note in one["conversions"]:
            _indented(console, note)
