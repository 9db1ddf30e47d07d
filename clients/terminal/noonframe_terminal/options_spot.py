"""The options for where a frame lies, and for a plan of moves; declared as in `options`."""

import dataclasses
from typing import Annotated, Any

import typer

from noonframe_terminal.compass import azimuth_text
from noonframe_terminal.moments import step_text
from noonframe_terminal.options import Text, given, names_of, option
from noonframe_terminal.spot_file import read_spot


@dataclasses.dataclass(frozen=True)
class Spot:
    """What stands around a frame in the open, or the window that it lies inside of."""

    skyline: Annotated[
        Text,
        option(
            "--skyline",
            "Spot",
            "LIST",
            "Height of what stands around, as azimuth:elevation pairs in degrees: 90:10,180:0,270:35.",
        ),
    ] = None
    spot: Annotated[
        Text,
        option(
            "--spot",
            "Spot",
            "FILE",
            "All of the spot as a JSON object, in place of the options here, --tilt and --facing.",
        ),
    ] = None
    window_outward_azimuth_deg: Annotated[
        Text,
        option("--window-facing", "Window", "WORD", "Where you look, looking straight out: south-east, 135."),
    ] = None
    window_width_m: Annotated[Text, option("--window-width", "Window", "M", "Of the opening.")] = None
    window_sill_m: Annotated[
        Text, option("--sill", "Window", "M", "Lower edge of the opening, above the table.")
    ] = None
    window_head_m: Annotated[
        Text, option("--head", "Window", "M", "Upper edge of the opening, above the table.")
    ] = None
    window_reveal_depth_m: Annotated[
        Text, option("--reveal", "Window", "M", "Thickness of the wall; 0 if not given.")
    ] = None
    window_overhang_depth_m: Annotated[
        Text, option("--overhang", "Window", "M", "How far a slab above the opening stands out; else 0.")
    ] = None
    window_pane: Annotated[
        Text, option("--pane", "Window", "ID", "See noonframe materials; an open window if not given.")
    ] = None
    frame_distance_m: Annotated[
        Text, option("--distance", "Window", "M", "From the inner face of the wall to the frame's centre.")
    ] = None
    frame_offset_m: Annotated[
        Text, option("--offset", "Window", "M", "From the centre line, to the right looking out; else 0.")
    ] = None
    frame_width_m: Annotated[
        Text, option("--frame-width", "Window", "M", "Along the wall; 0.3 if not given.")
    ] = None
    frame_height_m: Annotated[
        Text, option("--frame-height", "Window", "M", "Away from the wall; 0.4 if not given.")
    ] = None

    def fields(self) -> dict[str, str]:
        """What to ask the service, apart from the spot of a file."""
        asked = given(self)
        asked.pop("spot", None)
        if self.window_outward_azimuth_deg is not None:
            asked["window_outward_azimuth_deg"] = azimuth_text(
                self.window_outward_azimuth_deg, "--window-facing"
            )
        return asked

    def from_file(self) -> dict[str, Any] | None:
        """The spot of `--spot FILE`, or None when there is none."""
        return None if self.spot is None else read_spot(self.spot, "--spot")

    def is_said(self) -> bool:
        """Whether anything of it was typed."""
        return bool(given(self))

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        names = names_of(type(self))
        if self.spot is None:  # the service calls them so where it compares one with another
            names |= {"sill_m": "--sill", "head_m": "--head"}
        return names


def merged_spot(saved: dict[str, Any], typed: dict[str, Any]) -> dict[str, Any]:
    """A saved spot with what was typed of it; inside, a lean is the frame's and a skyline the window's."""
    if typed["kind"] == "window":
        if saved["kind"] != "window":
            return typed
        parts = {part: {**saved[part], **typed[part]} for part in ("window", "frame")}
        return {**saved, **parts}
    if saved["kind"] != "window":
        return {**saved, **typed}
    lean = {name: value for name, value in typed.items() if name in ("tilt_deg", "aim_azimuth_deg")}
    skyline = {name: value for name, value in typed.items() if name == "skyline"}
    return {**saved, "window": {**saved["window"], **skyline}, "frame": {**saved["frame"], **lean}}


@dataclasses.dataclass(frozen=True)
class TableEdges:
    """How far the frame's centre may go on the table inside a window."""

    table_nearest_m: Annotated[
        Text, option("--table-nearest", "Table", "M", "The frame's centre is no nearer the wall than this.")
    ] = None
    table_farthest_m: Annotated[
        Text, option("--table-farthest", "Table", "M", "Nor farther from it; 1.2 if not given.")
    ] = None
    table_leftmost_m: Annotated[
        Text,
        option("--table-leftmost", "Table", "M", "Nor farther left, looking out; negative left of centre."),
    ] = None
    table_rightmost_m: Annotated[
        Text,
        option("--table-rightmost", "Table", "M", "Nor farther right; 0.3 past the opening if not given."),
    ] = None

    def fields(self) -> dict[str, str]:
        """What to ask the service."""
        return given(self)

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        names = names_of(type(self))
        return names | {name.removeprefix("table_"): option for name, option in names.items()}


@dataclasses.dataclass(frozen=True)
class Plan:
    """What a plan of moves may do."""

    max_moves: Annotated[
        Text, option("--max-moves", "Plan", "N", "At most so many moves; 4 if not given.")
    ] = None
    move_cost_s: Annotated[
        Text, option("--move-cost", "Plan", "LENGTH", "Without light for each move: 30s, 1min; else 30s.")
    ] = None
    evenness_stops: Annotated[
        Text,
        option("--evenness", "Plan", "STOPS", "All of the sheet so near the target; 0.5 if not given."),
    ] = None
    start_fixed: Annotated[
        bool,
        typer.Option(
            "--begin-here", help="Begin where the spot says, not where is best.", rich_help_panel="Plan"
        ),
    ] = False
    aims: Annotated[
        Text, option("--aims", "Plan", "WORD", "In the open: flat, propped (at 30°) or free; else free.")
    ] = None
    most_places: Annotated[
        Text, option("--most-places", "Plan", "N", "Inside: so many places to try; 60 if not given.")
    ] = None
    object_height_mm: Annotated[
        Text, option("--object-height", "Plan", "MM", "Of what lies on the sheet; tells how its edge blurs.")
    ] = None
    dose_map: Annotated[
        bool, typer.Option("--map", help="The dose over the sheet too.", rich_help_panel="Plan")
    ] = False

    def fields(self) -> dict[str, str]:
        """What to ask the service."""
        asked = given(self)
        if self.move_cost_s is not None:
            asked["move_cost_s"] = step_text(self.move_cost_s, "--move-cost")
        return asked

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        return names_of(type(self))
