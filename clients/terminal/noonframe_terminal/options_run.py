"""The options of `run`; declared as in `options`."""

import dataclasses
from collections.abc import Mapping
from typing import Annotated, Any

import typer

from noonframe_terminal.compass import azimuth_text
from noonframe_terminal.contract import in_json
from noonframe_terminal.moments import step_text
from noonframe_terminal.options import Text, given, names_of, option
from noonframe_terminal.options_spot import Spot
from noonframe_terminal.trouble import Refused, refusal


@dataclasses.dataclass(frozen=True)
class Print:
    """What lies in the frame."""

    name: Annotated[Text, option("--name", "Sheet", "TEXT", "What is printed, such as 'kelp fronds'.")] = None

    def fields(self) -> dict[str, str]:
        """What to ask the service."""
        return given(self)

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        return names_of(type(self))


@dataclasses.dataclass(frozen=True)
class Telling:
    """What goes with something told of a run, besides a spot."""

    at: Annotated[
        Text, option("--at", "Time", "TIME", "When it happened, HH:MM[:SS] at the place; now if not given.")
    ] = None
    vouched_s: Annotated[
        Text, option("--for", "Sky", "LENGTH", "So long the sky can be relied on: 10min; 0 for one look.")
    ] = None
    quantity: Annotated[Text, option("--quantity", "Meter", "WORD", "What it measures: uv or lux.")] = None
    ratio: Annotated[
        Text, option("--ratio", "Meter", "R", "This reading over the earlier one, the meter held alike.")
    ] = None
    reference: Annotated[
        Text, option("--since", "Meter", "TIME", "When the earlier one was taken; the start if not given.")
    ] = None
    relative_uncertainty: Annotated[
        Text, option("--uncertainty", "Meter", "SHARE", "One standard deviation of the ratio: 0.1 is 10 %.")
    ] = None
    target_j_m2: Annotated[Text, option("--target", "Sheet", "J/m2", "The new dose.")] = None
    target_spread_stops: Annotated[
        Text, option("--spread", "Sheet", "STOPS", "How sure it is; as it was if not given.")
    ] = None

    lamp_on: Annotated[
        bool,
        typer.Option("--lamp-burns", help="With covered: the lamp stays on over it.", rich_help_panel="Lamp"),
    ] = False

    def fields(self) -> dict[str, Any]:
        """The contract's fields, apart from the moments."""
        told = {k: v for k, v in given(self).items() if k not in ("at", "reference")}
        if self.vouched_s is not None:
            told["vouched_s"] = step_text(self.vouched_s, "--for")
        return {name: in_json(name, text) for name, text in told.items()}

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        return names_of(type(self)) | {
            "at_s": "--at",
            "reference_s": "--since",
            "kind": "WHAT",
            "sky": "WHAT",
        }


@dataclasses.dataclass(frozen=True)
class Lean:
    """How a frame that was moved leans."""

    tilt_deg: Annotated[Text, option("--tilt", "Spot", "DEG", "Of the frame, from level.")] = None
    aim_azimuth_deg: Annotated[
        Text, option("--facing", "Spot", "WORD", "Where it leans: south-west, ssw, or degrees from north.")
    ] = None

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        return names_of(type(self))


def whole_spot(spot: Spot, lean: Lean) -> dict[str, Any] | None:
    """The spot that the options say, as the contract's JSON object; None where they say none."""
    leaning = given(lean)
    if lean.aim_azimuth_deg is not None:
        leaning["aim_azimuth_deg"] = azimuth_text(lean.aim_azimuth_deg)
    fields = spot.fields()
    if spot.spot is not None:
        if fields or leaning:
            raise refusal("--spot", spot.spot, "given without the other options of a spot")
        return spot.from_file()
    skyline = {} if spot.skyline is None else {"skyline": _pairs(spot.skyline)}
    window, frame = (_part(fields, start) for start in ("window_", "frame_"))
    angles = {name: in_json(name, text) for name, text in leaning.items()}
    if window or frame:
        return {"kind": "window", "window": window | skyline, "frame": frame | angles}
    return {"kind": "open", **angles, **skyline} if angles or skyline else None


def spot_names(spot: Spot, lean: Lean) -> dict[str, str]:
    """The option behind each field of a spot, by the field's name and by its way into the object."""
    if spot.spot is not None:
        return {"spot": "--spot"}
    names = {**spot.names(), **lean.names()}
    ways = {
        f"spot.{part}.{name.removeprefix(f'{part}_')}": option
        for name, option in names.items()
        for part in ("window", "frame")
        if name.startswith(f"{part}_")
    }
    tilts = {f"spot.{part}{name}": option for name, option in lean.names().items() for part in ("", "frame.")}
    skylines = {f"spot.{part}skyline": "--skyline" for part in ("", "window.")}
    return names | ways | tilts | skylines


def _part(fields: Mapping[str, str], start: str) -> dict[str, Any]:
    return {
        name.removeprefix(start): text if name == "window_pane" else in_json(name, text)
        for name, text in fields.items()
        if name.startswith(start)
    }


def _pairs(text: str) -> list[list[object]]:
    pairs = [pair.split(":") for pair in text.split(",")]
    if any(len(pair) != 2 for pair in pairs):
        raise refusal("--skyline", text, "azimuth:elevation pairs such as 90:10,180:0,270:35")
    return [[in_json("", number.strip()) for number in pair] for pair in pairs]


def check_belongs(kind: str, said: str, typed: Mapping[str, Any], names: Mapping[str, str]) -> None:
    """Refuse options that do not go with this kind of event, and ask for those that it needs."""
    wants = _NEEDS.get(kind, ())
    stray = [names[field] for field in typed if field not in (*wants, *_MAY.get(kind, ()))]
    if stray:
        raise Refused(*(f"{name} does not go with {said}" for name in stray))
    missing = [names[field] for field in wants if field not in typed]
    if missing:
        raise Refused(f"{said} needs {', '.join(missing)}")


_NEEDS = {
    "meter": ("quantity", "ratio", "relative_uncertainty"),
    "target": ("target_j_m2",),
}
_MAY = {
    "covered": ("lamp_on",),
    "meter": ("reference",),
    "target": ("target_spread_stops",),
    "sky": ("vouched_s",),
    "moved": ("spot",),
}
