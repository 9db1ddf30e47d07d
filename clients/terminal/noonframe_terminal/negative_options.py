"""The options of the negative, each under the name of the contract's field that it fills."""

import dataclasses
import json
from pathlib import Path
from typing import Annotated, Any

import typer

from noonframe_terminal.contract import in_json
from noonframe_terminal.options import Text, option
from noonframe_terminal.trouble import refusal

_SIDES = ("width", "height")
_CROP = "left,top,width,height, as shares of the sides (0.1,0.1,0.8,0.8) or in pixels with px at the end"
_UNITS = {"mm": "mm", "in": "in", '"': "in"}


@dataclasses.dataclass(frozen=True)
class PageOptions:
    """The page of film."""

    page: Annotated[
        Text, option("--page", "Page", "NAME", "a5, a4, a3, letter, 8x10in, ... or WIDTHxHEIGHT in mm; a4.")
    ] = None
    lying: Annotated[
        bool, typer.Option("--lying", help="The page on its long side.", rich_help_panel="Page")
    ] = False
    dpi: Annotated[Text, option("--dpi", "Page", "N", "The film printer's dots to the inch; 720.")] = None
    bits: Annotated[Text, option("--bits", "Page", "N", "8 or 16; 8 in a PDF, else 16.")] = None
    margin_mm: Annotated[Text, option("--margin", "Page", "MM", "Free at the edges; 8.")] = None
    gap_mm: Annotated[Text, option("--gap", "Page", "MM", "Free between negatives; 6.")] = None
    no_marks: Annotated[
        bool, typer.Option("--no-marks", help="No cutting marks.", rich_help_panel="Page")
    ] = False
    wedge_steps: Annotated[
        Text, option("--wedge", "Page", "N", "A step wedge at the foot, with N steps.")
    ] = None
    label: Annotated[Text, option("--label", "Page", "TEXT", "A line of text at the foot.")] = None
    no_mirror: Annotated[
        bool, typer.Option("--no-mirror", help="Not mirrored: inked side up.", rich_help_panel="Page")
    ] = False

    def body(self) -> dict[str, Any]:
        """What was typed, as the contract has it."""
        body: dict[str, Any] = {
            name: in_json(name, getattr(self, name))
            for name in ("dpi", "bits", "margin_mm", "gap_mm", "wedge_steps")
            if getattr(self, name) is not None
        }
        if self.page is not None:
            body["page"] = _page(self.page)
        if self.label is not None:
            body["label"] = self.label
        switches = {"lying": self.lying, "cutting_marks": not self.no_marks, "mirror": not self.no_mirror}
        usual = {"lying": False, "cutting_marks": True, "mirror": True}
        return body | {name: on for name, on in switches.items() if on is not usual[name]}

    @staticmethod
    def names() -> dict[str, str]:
        """What each field was called when it was typed."""
        typed = ("page", "dpi", "bits", "label")
        names = {name: f"--{name}" for name in typed}
        names |= {"page.width_mm": "--page", "page.height_mm": "--page", "format": "--out"}
        return names | {"margin_mm": "--margin", "gap_mm": "--gap", "wedge_steps": "--wedge"}


@dataclasses.dataclass(frozen=True)
class Steps:
    """What is done to every picture, in this order."""

    rotate: Annotated[Text, option("--rotate", "Picture", "DEG", "90, 180 or 270, clockwise.")] = None
    flip: Annotated[
        bool,
        typer.Option("--flip", help="Left for right in the picture itself.", rich_help_panel="Picture"),
    ] = False
    straighten: Annotated[
        Text, option("--straighten", "Picture", "DEG", "Clockwise; the corners are cut off.")
    ] = None
    crop: Annotated[Text, option("--crop", "Picture", "L,T,W,H", f"The part to print: {_CROP}.")] = None
    width: Annotated[
        Text, option("--width", "Picture", "LENGTH", "Of the print: 150, 150mm or 6in; else what fits.")
    ] = None
    height: Annotated[Text, option("--height", "Picture", "LENGTH", "Of the print.")] = None
    fill: Annotated[
        bool,
        typer.Option(
            "--fill", help="Fill width and height, cutting off what stands over.", rich_help_panel="Picture"
        ),
    ] = False
    grey: Annotated[
        Text,
        option(
            "--grey",
            "Picture",
            "MIX",
            "luminance, luma-709, luma-601, a filter (yellow, orange, red, green, blue), or R,G,B.",
        ),
    ] = None
    levels: Annotated[
        Text, option("--levels", "Picture", "LEVELS", "auto, or BLACK,WHITE[,GAMMA] as shares.")
    ] = None
    contrast: Annotated[Text, option("--contrast", "Picture", "N", "Slope at the middle; 1.")] = None
    already_negative: Annotated[
        bool,
        typer.Option("--already-negative", help="The picture is a negative.", rich_help_panel="Picture"),
    ] = False
    copies: Annotated[Text, option("--copies", "Picture", "N", "Of each picture.")] = None

    def item(self) -> dict[str, Any]:
        """One negative as the contract has it."""
        item: dict[str, Any] = {}
        for field, typed in (
            ("rotate_deg", self.rotate),
            ("straighten_deg", self.straighten),
            ("contrast", self.contrast),
            ("copies", self.copies),
        ):
            if typed is not None:
                item[field] = in_json(field, typed)
        if self.flip:
            item["flip"] = True
        if self.already_negative:
            item["invert"] = False
        if self.crop is not None:
            item["crop"] = _crop(self.crop)
        if self.grey is not None:
            item["grey"] = _grey(self.grey)
        if self.levels is not None:
            item["levels"] = _levels(self.levels)
        size = self._size()
        return item | ({"size": size} if size else {})

    def _size(self) -> dict[str, Any]:
        size: dict[str, Any] = {}
        for side in _SIDES:
            typed = getattr(self, side)
            if typed is not None:
                value, unit = _length(f"--{side}", typed)
                size[f"{side}_{unit}"] = value
        if self.fill:
            if len(size) < 2:
                raise refusal("--fill", None, "given with --width and --height")
            size["fit"] = "fill"
        return size

    @staticmethod
    def names(count: int) -> dict[str, str]:
        """What each field of the first `count` negatives was called when it was typed."""
        one = {"rotate_deg": "--rotate", "straighten_deg": "--straighten", "levels": "--levels"}
        one |= {f"levels.{name}": "--levels" for name in ("black_share", "white_share", "middle_gamma")}
        one |= {f"crop.{name}": "--crop" for name in ("left", "top", "width", "height", "unit")}
        one |= {f"size.{side}_{unit}": f"--{side}" for side in _SIDES for unit in ("mm", "in")}
        one |= {f"grey.{name}": "--grey" for name in ("red", "green", "blue", "light", "GreyBody")}
        one |= {name: f"--{name}" for name in ("crop", "grey", "contrast", "copies")}
        one |= {"size": "--width", "grey.str": "--grey"}
        return {f"negatives.{index}.{name}": typed for index in range(count) for name, typed in one.items()}


def settings_file(path: str) -> dict[str, Any]:
    """The settings in a file, which may tell each negative's own."""
    try:
        settings = json.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError) as problem:
        raise refusal("--settings", path, f"a file with JSON ({problem})") from None
    if not isinstance(settings, dict):
        raise refusal("--settings", path, "a file with a JSON object")
    return settings


def _page(typed: str) -> object:
    sides = typed.lower().removesuffix("mm").split("x")
    if len(sides) == 2:
        width, height = (in_json("side", side.strip()) for side in sides)
        if not isinstance(width, str) and not isinstance(height, str):
            return {"width_mm": width, "height_mm": height}
    return typed.lower()


def _length(name: str, typed: str) -> tuple[object, str]:
    text, unit = typed.strip(), "mm"
    for ending, meant in _UNITS.items():
        if text.lower().endswith(ending):
            text, unit = text[: -len(ending)].strip(), meant
            break
    value = in_json("length", text)
    if isinstance(value, str):
        raise refusal(name, typed, "a length such as 150, 150mm or 6in")
    return value, unit


def _numbers(name: str, typed: str, counts: tuple[int, ...], limit: str) -> list[Any]:
    numbers = [in_json("number", part.strip()) for part in typed.split(",")]
    if len(numbers) not in counts or any(isinstance(number, str | bool) for number in numbers):
        raise refusal(name, typed, limit)
    return numbers


def _crop(typed: str) -> dict[str, Any]:
    text = typed.strip()
    pixels = text.lower().endswith("px")
    numbers = _numbers("--crop", text[:-2] if pixels else text, (4,), _CROP)
    return dict(zip(("left", "top", *_SIDES), numbers, strict=True)) | ({"unit": "px"} if pixels else {})


def _grey(typed: str) -> object:
    if "," not in typed:
        return typed.strip().lower()
    numbers = _numbers("--grey", typed, (3,), "a name, or three weights such as 0.6,0.3,0.1")
    return dict(zip(("red", "green", "blue"), numbers, strict=True))


def _levels(typed: str) -> object:
    if typed.strip().lower() == "auto":
        return "auto"
    numbers = _numbers("--levels", typed, (2, 3), "auto, or shares such as 0.05,0.9 or 0.05,0.9,1.2")
    return dict(zip(("black_share", "white_share", "middle_gamma"), numbers, strict=False))
