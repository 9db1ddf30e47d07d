"""A spot as it is stored with an event, and back.

    {"kind": "open", "tilt_deg": 0, "aim_azimuth_deg": 180, "skyline": [[azimuth_deg, elevation_deg], ...]}
    {"kind": "window",
     "window": {"outward_azimuth_deg", "width_m", "sill_m", "head_m", "reveal_depth_m", "overhang_depth_m",
                "pane", "skyline"},
     "frame": {"distance_m", "offset_m", "width_m", "height_m", "tilt_deg", "aim_azimuth_deg"}}

Fields that have a default where they are defined may be left out; unknown ones are refused.
"""

from collections.abc import Mapping, Sequence
from dataclasses import MISSING, fields
from typing import Any

from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import Aim, OpenSpot
from noonframe.spot.sheet import Frame
from noonframe.spot.skyline import Skyline
from noonframe.spot.window import Window

_MOST_CORNERS = 720
_KINDS = "open or window"


def spot_from(value: object, path: str) -> OpenSpot | WindowSpot:
    """The spot that `value` describes; errors name the field by its place below `path`."""
    given = _mapping(value, path)
    kind = given.pop("kind", None)
    if kind == "open":
        skyline = _skyline(given.pop("skyline", None), f"{path}.skyline")
        return OpenSpot(_read(Aim, given, path), skyline)
    if kind != "window":
        raise UnknownName(f"{path}.kind", kind, _KINDS)
    opening = _mapping(given.pop("window", None), f"{path}.window")
    skyline = _skyline(opening.pop("skyline", None), f"{path}.window.skyline")
    window = _read(Window, opening, f"{path}.window", skyline=skyline)
    frame = _read(Frame, _mapping(given.pop("frame", None), f"{path}.frame"), f"{path}.frame")
    _refuse_others(given, path)
    spot: WindowSpot = _placed(path, WindowSpot, window, frame)
    return spot


def spot_payload(spot: OpenSpot | WindowSpot) -> dict[str, Any]:
    """What `spot_from` reads back as the same spot.

    Raises `OutOfDomain` for a grid of sample points other than the usual: it has no place there.
    """
    if isinstance(spot, OpenSpot):
        return {"kind": "open"} | _written(spot.aim) | _corners(spot.skyline)
    if spot.grid != WindowSpot.grid:
        raise OutOfDomain("spot.grid", spot.grid, f"{WindowSpot.grid}, to be kept")
    window = _written(spot.window) | _corners(spot.window.skyline)
    return {"kind": "window", "window": window, "frame": _written(spot.frame)}


def _read(shape: type[Any], given: dict[str, Any], path: str, **ready: object) -> Any:
    """An instance of a flat dataclass of numbers and words; takes its fields out of `given`."""
    values: dict[str, Any] = dict(ready)
    for field in fields(shape):
        if field.name in ready:
            continue
        if field.name not in given:
            if field.default is MISSING:
                raise Malformed(f"{path}.{field.name}", None, "is needed")
            continue
        value = given.pop(field.name)
        if value is None and field.default is None:
            continue
        read = word_of if field.type is str else number_of
        values[field.name] = read(value, f"{path}.{field.name}")
    _refuse_others(given, path)
    return _placed(path, shape, **values)


def _placed(path: str, make: Any, *args: object, **values: object) -> Any:
    """`make(...)`, whose complaints know their field but not where in the payload it stands."""
    try:
        return make(*args, **values)
    except (OutOfDomain, Malformed) as problem:
        last = path.rpartition(".")[2]
        inner = f"{problem.field.replace('[', '.').replace(']', '')}.".removeprefix(f"{last}.")
        raise type(problem)(f"{path}.{inner}".rstrip("."), problem.value, problem.limit) from None


def _skyline(value: object, path: str) -> Skyline | None:
    if value is None:
        return None
    if not isinstance(value, Sequence) or isinstance(value, str) or len(value) > _MOST_CORNERS:
        raise Malformed(path, value, f"needs a list of at most {_MOST_CORNERS} pairs")
    for index, pair in enumerate(value):
        if not (isinstance(pair, Sequence) and not isinstance(pair, str) and len(pair) == 2):
            raise Malformed(f"{path}.{index}", pair, "needs an azimuth and an elevation")
    pairs = [[number_of(x, f"{path}.{index}") for x in pair] for index, pair in enumerate(value)]
    made: Skyline = _placed(path, Skyline.from_pairs, pairs)
    return made


def number_of(value: object, field: str) -> float:
    """`value` as a number; whole numbers count, truth values and words do not."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        try:
            return float(value)
        except OverflowError:
            pass
    raise Malformed(field, value, "needs a number")


def word_of(value: object, field: str) -> str:
    """`value` as a word."""
    if isinstance(value, str):
        return value
    raise Malformed(field, value, "needs a word")


def _mapping(value: object, path: str) -> dict[str, Any]:
    if not isinstance(value, Mapping):
        raise Malformed(path, value, "needs named fields")
    return dict(value)


def _refuse_others(given: Mapping[str, Any], path: str) -> None:
    if given:
        name = min(given)
        raise Malformed(f"{path}.{name}", given[name], "is not a field of it")


def _written(made: Aim | Window | Frame) -> dict[str, Any]:
    values = {field.name: getattr(made, field.name) for field in fields(made) if field.name != "skyline"}
    return {name: value for name, value in values.items() if value is not None}


def _corners(skyline: Skyline | None) -> dict[str, Any]:
    if skyline is None:
        return {}
    pairs = zip(skyline.azimuth_deg, skyline.elevation_deg, strict=True)
    return {"skyline": [list(pair) for pair in pairs]}
