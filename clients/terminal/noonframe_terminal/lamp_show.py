"""Lamps as tables and sentences."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from noonframe_terminal import words

if TYPE_CHECKING:
    from rich.console import Console


def draw_lamp(console: "Console", lamp: Mapping[str, Any]) -> None:
    """What is known of a lamp."""
    console.print(f"{lamp['kind']}; {output_words(lamp['output'])}.")
    said = [f"{lamp['hours']:g} h burned since"] if lamp["hours"] else []
    for name, text in (
        ("loss_per_1000_h", "{} lost in 1000 h"),
        ("start_share", "{} of full light when cold"),
        ("time_constant_s", "warms with {:g} s"),
    ):
        if lamp[name] is not None:
            said.append(text.format(lamp[name] if name == "time_constant_s" else _percent(lamp[name])))
    if said:
        console.print(f"{'; '.join(said)}.")


def output_words(output: Mapping[str, Any]) -> str:
    """How a lamp's light is known."""
    match output["by"]:
        case "reading":
            mw = output["irradiance_mw_cm2"]
            read = f"{mw:g} mW/cm²" if mw is not None else f"{output['irradiance_w_m2']:g} W/m²"
            centre = output["meter_centre_nm"]
            low, high = output["meter_low_nm"] or 315, output["meter_high_nm"] or 400
            return f"a meter read {read} ({f'for {centre:g} nm' if centre else f'{low:g}-{high:g} nm'})"
        case "print":
            recipe = f" of {output['recipe']}" if output["recipe"] else ""
            return f"a print{recipe} came right in {words.length(output['length_s'])}"
        case _:
            power = output["power_w"]
            said = f"{power:g} W" if power is not None else f"{output['radiant_w']:g} W of light"
            return f"{said} from {_shape_words(output['source'])}, {output['distance_m']:g} m away"


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _shape_words(source: Mapping[str, Any]) -> str:
    match source["shape"]:
        case "tubes":
            return f"{source['count']} tubes of {source['length_m']:g} m"
        case "panel":
            return f"a panel of {source['width_m']:g} by {source['depth_m']:g} m"
        case _:
            return f"a single lamp with a beam of {source['beam_angle_deg']:g}°"


def draw_lamps(console: "Console", lamps: Sequence[Mapping[str, Any]]) -> None:
    """Saved lamps, newest first."""
    if not lamps:
        console.print("No lamps. noonframe lamp add saves one.")
        return
    table = _table("Lamp", "Kind", "Light known from")
    for lamp in lamps:
        table.add_row(lamp["name"], lamp["kind"], output_words(lamp["output"]))
    console.print(table)


def draw_kinds(console: "Console", kinds: Sequence[Mapping[str, Any]]) -> None:
    """The catalogue of kinds."""
    table = _table("Kind", "Works", "Power", "Cold", "Age")
    for kind in kinds:
        table.add_row(
            kind["id"],
            _percent(kind["effective_share"]),
            _percent(kind["efficiency"]),
            _percent(kind["start_share"]),
            _percent(kind["loss_per_1000_h"]),
        )
    console.print(table)
    console.print()
    for kind in kinds:
        console.print(f"{kind['id']}: {kind['label']}.")
    console.print()
    console.print(
        "Works: share of its light that works on a bare classic coat. Power: light per electrical watt. Cold:"
        " of full light when switched on. Age: lost in 1000 h. All but an own file: common practice, no"
        " source.",
        style="dim",
    )


def _table(*columns: str) -> Any:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    for index, name in enumerate(columns):
        # a kind is there to be typed
        is_kind, is_number = name == "Kind", columns[0] == "Kind" and index > 0
        table.add_column(
            name, overflow="fold", no_wrap=is_kind or is_number, justify="right" if is_number else "left"
        )
    return table
