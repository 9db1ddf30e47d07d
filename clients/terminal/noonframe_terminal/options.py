"""The options, each declared once under the name of the contract's field that it fills."""

import dataclasses
import functools
import inspect
import os
from collections.abc import Callable, Mapping
from typing import Annotated, Any, get_type_hints

import typer

from noonframe_terminal.compass import azimuth_text
from noonframe_terminal.keyed import KEY_VARIABLE, Keyed
from noonframe_terminal.trouble import Refused, refusal

USUAL_STACK = "float-glass-4mm,polyester-film"
PLACE_VARIABLE = "NOONFRAME_PLACE"
SERVER_VARIABLE = "NOONFRAME_SERVER"

_NO_PLACE = (
    "no place given. Use --place with a city, coordinates or a geo: URI"
    f' (--place Porto, --place "41.15,-8.61"), or --latitude and --longitude, or --saved-place, or set'
    f" {PLACE_VARIABLE}."
)

# Numbers stay text on their way: their ranges live in the contract, and so do the words that refuse them.
Text = str | None


def option(name: str, panel: str, metavar: str, text: str) -> Any:
    """An option that takes a value, under the heading `panel` of the help."""
    return typer.Option(name, metavar=metavar, help=text, rich_help_panel=panel)


@dataclasses.dataclass(frozen=True)
class Where:
    """Where: a place in words, coordinates, or one that was saved."""

    place: Annotated[
        Text,
        option(
            "--place",
            "Place",
            "TEXT",
            f"A city, lat,lon, a geo: URI, or a demo place (quayside-yard). Else {PLACE_VARIABLE}.",
        ),
    ] = None
    saved_place: Annotated[
        Text, option("--saved-place", "Place", "NAME", "A place you saved: noonframe saved-place add.")
    ] = None
    latitude_deg: Annotated[Text, option("--latitude", "Place", "DEG", "North positive.")] = None
    longitude_deg: Annotated[Text, option("--longitude", "Place", "DEG", "East positive.")] = None
    elevation_m: Annotated[Text, option("--elevation", "Place", "M", "Above sea level.")] = None
    time_zone: Annotated[
        Text, option("--time-zone", "Place", "NAME", "IANA name; found from the place if not given.")
    ] = None

    def fields(self) -> dict[str, str]:
        """What to ask the service; refuses a question without a place."""
        asked = given(self)
        if (self.latitude_deg is None) != (self.longitude_deg is None):
            missing = "--latitude" if self.latitude_deg is None else "--longitude"
            raise refusal(missing, None, "given with the other coordinate, or else --place")
        if self.lacks_place():
            usual = os.environ.get(PLACE_VARIABLE, "").strip()
            if not usual:
                raise Refused(_NO_PLACE)
            asked["place"] = usual
        return asked

    def lacks_place(self) -> bool:
        """Whether the place is the usual one, as nothing else is said of it."""
        return self.place is None and self.latitude_deg is None and self.saved_place is None

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        names = names_of(type(self))
        if self.lacks_place():
            names["place"] = PLACE_VARIABLE
        return names


@dataclasses.dataclass(frozen=True)
class Scene(Where):
    """Where, under what sky, facing how, behind what, coated with what."""

    sky: Annotated[
        Text,
        option("--sky", "Sky", "WORD", "What you see: clear, thin-cloud, broken, overcast, rain, fog."),
    ] = None
    tilt_deg: Annotated[Text, option("--tilt", "Frame", "DEG", "Of the frame, from level.")] = None
    aim_azimuth_deg: Annotated[
        Text,
        option(
            "--facing", "Frame", "WORD", "Where a tilted frame leans: south-west, ssw, or degrees from north."
        ),
    ] = None
    saved_spot: Annotated[
        Text,
        option("--saved-spot", "Frame", "NAME", "A spot you saved, with its place: noonframe spot add."),
    ] = None
    stack: Annotated[
        Text,
        option(
            "--stack",
            "Frame",
            "LIST",
            f"What covers the sheet, outermost first; none for a bare sheet. Else {USUAL_STACK}.",
        ),
    ] = None
    recipe: Annotated[
        Text,
        option(
            "--recipe",
            "Sheet",
            "NAME",
            "A recipe you saved, in place of --stack and --sensitizer; knows its own target.",
        ),
    ] = None
    sensitizer: Annotated[Text, option("--sensitizer", "Sheet", "ID", "See noonframe materials.")] = None
    cloud_optical_depth: Annotated[
        Text, option("--cloud", "Air", "DEPTH", "Optical depth of a whole-sky cloud, in place of --sky.")
    ] = None
    aerosol_optical_depth: Annotated[Text, option("--aerosol", "Air", "DEPTH", "Haze, at 500 nm.")] = None
    ozone_du: Annotated[Text, option("--ozone", "Air", "DU", "Climatology if not given.")] = None
    ground_albedo: Annotated[
        Text, option("--albedo", "Air", "SHARE", "Light the country around throws back; snow: 0.8.")
    ] = None
    lamp: Annotated[
        Text,
        option("--lamp", "Lamp", "NAME", "A UV lamp you saved, in place of the sun: noonframe lamp add."),
    ] = None
    lamp_lit_s: Annotated[
        Text,
        option("--lamp-lit", "Lamp", "S", "Seconds it has burned already; 0 if not given."),
    ] = None
    negative_density: Annotated[
        Text,
        option("--negative-density", "Frame", "D", "UV density of the negative where it is clearest."),
    ] = None
    negative_includes_base: Annotated[
        bool,
        typer.Option(
            "--negative-includes-base",
            help="It was read through the film too, which --stack then leaves out.",
            rich_help_panel="Frame",
        ),
    ] = False
    near_ground_albedo: Annotated[
        Text, option("--near-albedo", "Air", "SHARE", "The same of the ground a tilted frame sees.")
    ] = None

    def fields(self) -> dict[str, str]:
        """What to ask the service; refuses a question without a place."""
        asked = super().fields()
        if self.negative_includes_base and self.stack is None and self.recipe is None:
            asked["stack"] = USUAL_STACK.partition(",")[0]  # the usual frame without its film
        if self.aim_azimuth_deg is not None:
            asked["aim_azimuth_deg"] = azimuth_text(self.aim_azimuth_deg)
        if self.recipe is None:  # a recipe has its own
            asked.setdefault("stack", USUAL_STACK)
        return asked

    def lacks_place(self) -> bool:
        """Whether the place is the usual one, as nothing else is said of it."""
        return super().lacks_place() and self.saved_spot is None and self.lamp is None

    def notes(self) -> list[str]:
        """What was typed to no effect."""
        if self.aim_azimuth_deg is not None and self.tilt_deg is None:
            return ["--facing does nothing on a level frame; give --tilt too"]
        return []


@dataclasses.dataclass(frozen=True)
class Target:
    """What the sheet needs."""

    target_j_m2: Annotated[
        Text,
        option("--target", "Sheet", "J/m2", "Effective dose; a wide guess if not given."),
    ] = None
    target_spread_stops: Annotated[
        Text, option("--spread", "Sheet", "STOPS", "How sure --target is, as one standard deviation.")
    ] = None
    reciprocity_exponent: Annotated[
        Text, option("--reciprocity", "Sheet", "P", "Schwarzschild's p; 1 is plain reciprocity.")
    ] = None

    def fields(self) -> dict[str, str]:
        """What to ask the service."""
        return given(self)

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        return names_of(type(self))


@dataclasses.dataclass(frozen=True)
class Reach:
    """Which service is asked, and how its answer is shown."""

    server: Annotated[
        Text,
        option(
            "--server", "Answer", "URL", f"Ask this service. Else {SERVER_VARIABLE}; else none is needed."
        ),
    ] = None
    key: Annotated[
        Text,
        option("--key", "Answer", "KEY", f"Key for that service; {KEY_VARIABLE} keeps it out of sight."),
    ] = None
    json: Annotated[
        bool, typer.Option("--json", help="The service's JSON, untouched.", rich_help_panel="Answer")
    ] = False

    def address(self) -> str | None:
        """The server to ask, with the key given for it; None for the application itself."""
        usual = os.environ.get(SERVER_VARIABLE, "").strip() or None
        named = self.server if self.server is not None else usual
        if self.key is None:
            return named
        if named is None:
            raise refusal("--key", None, f"given with --server or {SERVER_VARIABLE}: a key is for a service")
        return Keyed(named, self.key)

    def named(self) -> str:
        """What gave the address."""
        return "--server" if self.server is not None else SERVER_VARIABLE


def given(group: Any) -> dict[str, str]:
    """The fields that were given, as text; a switch is given when it is on."""
    values = {field.name: getattr(group, field.name) for field in dataclasses.fields(group)}
    return {
        name: "true" if value is True else value
        for name, value in values.items()
        if value not in (None, False)
    }


def names_of(group: type) -> dict[str, str]:
    """The option that fills each field."""
    hints = get_type_hints(group, include_extras=True)
    return {name: str(hint.__metadata__[0].default) for name, hint in hints.items()}


def takes(**groups: type) -> Callable[[Callable[..., int]], Callable[..., int]]:
    """Give a command the options of `groups`; each group arrives as one argument of its name."""

    def widen(command: Callable[..., int]) -> Callable[..., int]:
        own = [p for p in inspect.signature(command).parameters.values() if p.name not in groups]
        theirs = [parameter for group in groups.values() for parameter in _parameters(group)]

        @functools.wraps(command)
        def widened(**values: Any) -> int:
            made = {name: _take(group, values) for name, group in groups.items()}
            return command(**values, **made)

        parameters = [p.replace(kind=inspect.Parameter.KEYWORD_ONLY) for p in (*own, *theirs)]
        widened.__signature__ = inspect.Signature(parameters, return_annotation=int)  # type: ignore[attr-defined]
        widened.__annotations__ = {p.name: p.annotation for p in parameters} | {"return": int}
        return widened

    return widen


def _parameters(group: Any) -> list[inspect.Parameter]:
    hints: Mapping[str, Any] = get_type_hints(group, include_extras=True)
    return [
        inspect.Parameter(
            field.name,
            inspect.Parameter.KEYWORD_ONLY,
            default=inspect.Parameter.empty if field.default is dataclasses.MISSING else field.default,
            annotation=hints[field.name],
        )
        for field in dataclasses.fields(group)
    ]


def _take(group: Any, values: dict[str, Any]) -> Any:
    return group(**{field.name: values.pop(field.name) for field in dataclasses.fields(group)})
