"""A film page and the pictures behind it, as a printer reads them."""

from collections.abc import Mapping
from typing import Any


def draw_made(console: Any, says: Mapping[str, Any], path: str) -> None:
    """What the film file holds, what was done to each picture, and why the page is mirrored."""
    console.print(path, soft_wrap=True)  # a path broken in two could not be copied
    console.print(says["summary"])
    for number, one in enumerate(says.get("negatives", ()), start=1):
        turned = ", turned by a quarter" if one["turned"] else ""
        levels = one["levels"]
        console.print(
            f"\n{number}. {one['look']['name']}: {one['width_mm']:.1f} x {one['height_mm']:.1f} mm at"
            f" {one['left_mm']:.1f}, {one['top_mm']:.1f} mm{turned}; grey by {one['grey']};"
            f" black at {levels['black_share']:.0%}, white at {levels['white_share']:.0%} of the code range"
        )
        for note in (*one["look"]["conversions"], *one["warnings"]):
            console.print(f"   {note}")
        for share, called in ((one["all_dark_share"], "darkest"), (one["all_light_share"], "lightest")):
            if share >= 0.02:
                console.print(f"   {share:.0%} of it is at the {called} tone")
    if says.get("tone"):
        from noonframe_terminal.negative_tone_show import draw_tone_notes

        console.print()
        draw_tone_notes(console, says["tone"])
    console.print(f"\n{says['mirror_reason']}")
    for note in says["notes"]:
        console.print(f"Note: {note}.")


def draw_looks(console: Any, says: Mapping[str, Any]) -> None:
    """One paragraph for each picture."""
    for one in says["pictures"]:
        profile = f", profile {one['profile']}" if one["profile"] else ""
        console.print(
            f"{one['name']}: {one['kind']}, {one['width_px']} x {one['height_px']} pixels, {one['bits']} bits"
            f" to a channel ({one['mode']}){profile}, {one['bytes'] / 1e6:.1f} MB"
        )
        for note in one["conversions"]:
            console.print(f"   {note}")
