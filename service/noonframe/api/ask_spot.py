"""From spots in requests to the engine's spots, with errors named as the request names its fields."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from noonframe.api.inputs_spot import OpenSpotBody, SpotBody, SpotFields, WindowSpotBody
from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.spot.indoors import NO_PANE_ID, WindowSpot
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.sheet import Frame
from noonframe.spot.skyline import Skyline
from noonframe.spot.window import Window
from noonframe.stack.curves import NO_PANE
from noonframe.stack.materials import find_material
from noonframe.stack.sheets import Stack

_NEEDED = (
    "window_outward_azimuth_deg",
    "window_width_m",
    "window_sill_m",
    "window_head_m",
    "frame_distance_m",
)
_INDOORS = tuple(name for name in SpotFields.model_fields if name.startswith(("window_", "frame_")))


def find_spot(fields: SpotFields, body: SpotBody | None) -> OpenSpot | WindowSpot:
    """The spot a request describes: its `spot` object, or its flat fields; not both."""
    given = fields.model_fields_set
    if body is not None:
        for name in SpotFields.model_fields:
            if name in given:
                raise OutOfDomain(
                    name, getattr(fields, name), "left out when a spot is given (it has its own)"
                )
        return _from_body(body)
    if not given.isdisjoint(_INDOORS) and any(getattr(fields, name) is not None for name in _INDOORS):
        return _from_flat_window(fields)
    if fields.skyline is None:
        return OpenSpot(Aim(fields.tilt_deg, fields.aim_azimuth_deg))
    with _named(lambda field: "skyline" if field.startswith("skyline") else field):
        return OpenSpot(Aim(fields.tilt_deg, fields.aim_azimuth_deg), _read_skyline(fields.skyline))


def _from_body(body: OpenSpotBody | WindowSpotBody) -> OpenSpot | WindowSpot:
    with _named(lambda field: f"spot.{field.replace('[', '.').replace(']', '')}"):
        if isinstance(body, OpenSpotBody):
            around = None if body.skyline is None else Skyline.from_pairs(body.skyline)
            return OpenSpot(Aim(body.tilt_deg, body.aim_azimuth_deg), around)
        hole, frame = body.window, body.frame
        opposite = None
        if hole.skyline is not None:
            with _named(lambda field: f"window.{field}"):
                opposite = Skyline.from_pairs(hole.skyline)
        window = Window(
            hole.outward_azimuth_deg,
            hole.width_m,
            hole.sill_m,
            hole.head_m,
            hole.reveal_depth_m,
            hole.overhang_depth_m,
            hole.pane,
            opposite,
        )
        return WindowSpot(
            window,
            Frame(
                frame.distance_m,
                frame.offset_m,
                frame.width_m,
                frame.height_m,
                frame.tilt_deg,
                frame.aim_azimuth_deg,
            ),
        )


def _from_flat_window(fields: SpotFields) -> WindowSpot:
    for name in _NEEDED:
        if getattr(fields, name) is None:
            raise OutOfDomain(name, None, "given for a frame inside a window")
    if fields.skyline is not None:
        raise OutOfDomain("skyline", fields.skyline, "left out for a window here; send the spot as JSON")

    def given(name: str, default: float) -> float:
        value = getattr(fields, name)
        return default if value is None else float(value)

    turned = "aim_azimuth_deg" in fields.model_fields_set
    with _named(lambda field: field.replace(".", "_", 1)):
        window = Window(
            given("window_outward_azimuth_deg", 0.0),
            given("window_width_m", 0.0),
            given("window_sill_m", 0.0),
            given("window_head_m", 0.0),
            given("window_reveal_depth_m", 0.0),
            given("window_overhang_depth_m", 0.0),
            fields.window_pane or NO_PANE_ID,
        )
        frame = Frame(
            given("frame_distance_m", 0.0),
            given("frame_offset_m", 0.0),
            given("frame_width_m", 0.3),
            given("frame_height_m", 0.4),
            fields.tilt_deg,
            fields.aim_azimuth_deg if turned else None,
        )
        return WindowSpot(window, frame)


def _read_skyline(text: str) -> Skyline:
    pairs = []
    for part in text.split(","):
        azimuth, _, elevation = part.partition(":")
        try:
            pairs.append((float(azimuth), float(elevation)))
        except ValueError:
            raise Malformed(
                "skyline", part[:40], "pairs of azimuth:elevation with commas between, such as 90:10,270:35"
            ) from None
    return Skyline.from_pairs(pairs)


@contextmanager
def _named(rename: Callable[[str], str]) -> Iterator[None]:
    """Errors of the geometry under the names of the request; it knows not where in a request it stands."""
    try:
        yield
    except OutOfDomain as problem:
        raise OutOfDomain(rename(problem.field), problem.value, problem.limit) from None
    except Malformed as problem:
        raise Malformed(rename(problem.field), problem.value, problem.limit) from None


def pane_of(spot: OpenSpot | WindowSpot, spectra_dir: Path | None, *, flat: bool) -> Stack:
    """The window's pane as a stack of one sheet, or of none; `flat` tells how the request names it."""
    if not isinstance(spot, WindowSpot) or spot.is_open:
        return NO_PANE
    try:
        return Stack((find_material(spot.window.pane, spectra_dir),))
    except UnknownName as problem:
        field = "window_pane" if flat else "spot.window.pane"
        raise UnknownName(field, problem.value, problem.limit, problem.near) from None


def describe_spot(spot: OpenSpot | WindowSpot) -> str:
    """A spot in plain words."""
    if isinstance(spot, WindowSpot):
        pane = "an open window" if spot.is_open else f"a window of {spot.window.pane}"
        facing = f"{spot.window.outward_azimuth_deg:g}°"
        return f"inside {pane} that faces {facing}, {spot.frame.distance_m:g} m from the wall"
    aim = spot.aim
    facing = "level" if aim.tilt_deg == 0.0 else f"tilted {aim.tilt_deg:g}° toward {aim.aim_azimuth_deg:g}°"
    around = "" if spot.skyline is None else ", with a skyline"
    return f"open ground, {facing}{around}"
