"""Characteristic curves as a table, one beside the other."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from noonframe_terminal.readings import Readings
from noonframe_terminal.show_bench import kilo

if TYPE_CHECKING:
    from rich.console import Console

_Cell = Callable[[Mapping[str, Any]], str]
_ROWS: tuple[tuple[str, _Cell], ...] = (
    ("Paper white, D_min", lambda c: f"{c['d_min']:.2f}"),
    ("Full blue, D_max", lambda c: f"{c['d_max']:.2f}"),
    ("Exposure scale", lambda c: f"{c['exposure_scale']:.2f} ± {c['exposure_scale_error']:.2f}"),
    ("the same in stops", lambda c: f"{c['exposure_scale_stops']:.1f}"),
    ("Negative's range", lambda c: f"{c['negative_density_range']:.2f}"),
    ("Steepest slope", lambda c: f"{c['gamma']:.2f}"),
    ("Mean slope", lambda c: f"{c['mean_gradient']:.2f}"),
    ("ISO range", lambda c: f"R{c['iso_range']}"),
    ("Off the curve, rms", lambda c: f"{c['rms_residual']:.3f}"),
)
_DOSES: tuple[tuple[str, _Cell], ...] = (
    ("Dose of first tone", lambda c: kilo(c["toe_j_m2"])),
    ("of 0.60 above white", lambda c: _dose(c["speed_point_j_m2"])),
    ("of 9/10 of full blue", lambda c: kilo(c["shoulder_j_m2"])),
)


def draw_curves(
    console: "Console",
    answer: Mapping[str, Any],
    one: Readings,
    other: Readings | None,
    *,
    is_dose_known: bool,
) -> None:
    """A curve, or two, with how well each fits."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    console.print(_negative(answer["curve"]), style="bold")
    if answer["difference"] is not None:
        console.print(_difference(answer["difference"]), style="bold")
    console.print()
    drawn = [(one, answer["curve"])]
    if other is not None:
        drawn.append((other, answer["against"]))
    table = Table(
        box=SIMPLE_HEAD,
        show_edge=False,
        show_header=other is not None,
        pad_edge=False,
        padding=(0, 2, 0, 0),
        header_style="",
    )
    table.add_column("", overflow="fold")
    for readings, _ in drawn:
        table.add_column(readings.title, justify="right", overflow="fold")
    for name, cell in (*_ROWS, *(_DOSES if is_dose_known else ())):
        table.add_row(name, *(cell(curve) for _, curve in drawn))
    console.print(table)
    console.print()
    for readings, curve in drawn:
        whose = f"{readings.title}: " if other is not None else ""
        console.print(f"{whose}{_fit(curve, readings)}")
        for note in curve["notes"]:
            console.print(f"Note: {whose.lower()}{note}.")
    if not is_dose_known:
        same = " Both are taken to have had the same." if other is not None else ""
        console.print(f"The dose on the wedge is not known, so neither is the speed: --dose or --run.{same}")


def _negative(curve: Mapping[str, Any]) -> str:
    return (
        f"A negative for it should have a density range of {curve['negative_density_range']:.2f}, measured"
        " in the light that prints."
    )


def _difference(found: Mapping[str, Any]) -> str:
    slower, longer = found["slower_stops"], found["exposure_scale_stops"]
    speed = "slower" if slower >= 0.0 else "faster"
    scale = "longer" if longer >= 0.0 else "shorter"
    blue = "higher" if found["d_max"] >= 0.0 else "lower"
    at = f"{found['compared_at_net_density']:.2f}"
    return (
        f"Against the other it is {abs(slower):.2f} stops {speed} (at {at} above white), its scale"
        f" {abs(longer):.2f} stops {scale}, its D_max {abs(found['d_max']):.2f} {blue}."
    )


def _fit(curve: Mapping[str, Any], readings: Readings) -> str:
    """How far the readings lie from the curve, and which the most."""
    pairs = list(zip(readings.steps(), curve["residuals"], strict=True))
    step, most = max(pairs, key=lambda pair: abs(pair[1]))
    side = "darker" if most > 0.0 else "paler"
    return f"{len(pairs)} readings; the farthest off is step {step}, {abs(most):.3f} {side} than the curve."


def _dose(dose_j_m2: float | None) -> str:
    return "not reached" if dose_j_m2 is None else kilo(dose_j_m2)
