"""The options of a tone correction, and of film printers; declared as in `options`."""

import dataclasses
import os
from typing import Annotated, Any

import typer

from noonframe_terminal.contract import in_json
from noonframe_terminal.options import Text, given, names_of, option
from noonframe_terminal.options_bench import Wedge
from noonframe_terminal.readings import readings_of
from noonframe_terminal.trouble import refusal

_NOMINAL_J_M2 = 100_000.0
_MOST_BYTES = 20_000
_WORDS = ("recipe", "film_printer", "even", "when_short", "sensitizer")


@dataclasses.dataclass(frozen=True)
class ToneOptions:
    """For which coat and which film printer the tones are made even."""

    recipe: Annotated[
        Text, option("--recipe", "Tone", "NAME", "A saved recipe: its coat and its learned target.")
    ] = None
    film_printer: Annotated[
        Text,
        option("--film-printer", "Tone", "NAME", "A saved film printer; else a usual one is guessed at."),
    ] = None
    readings: Annotated[
        Text,
        option(
            "--readings", "Tone", "FILE", "Of a step wedge on this coat: density of the step, of the print."
        ),
    ] = None
    d_min: Annotated[
        Text, option("--d-min", "Tone", "DENSITY", "Measured, of washed paper without a tone.")
    ] = None
    d_max: Annotated[Text, option("--d-max", "Tone", "DENSITY", "Measured, of the darkest tone.")] = None
    even: Annotated[
        Text, option("--even", "Tone", "WAY", "density (as a wedge is read) or lightness (as an eye sees).")
    ] = None
    when_short: Annotated[
        Text, option("--when-short", "Tone", "WAY", "clip or squeeze, where the ink is not dense enough.")
    ] = None
    lightest_net_density: Annotated[
        Text, option("--lightest", "Tone", "DENSITY", "Of the picture's white above paper white; 0.04.")
    ] = None
    target_j_m2: Annotated[
        Text, option("--target", "Tone", "J/m2", "Dose that bare film is to be given; the recipe's.")
    ] = None
    sensitizer: Annotated[
        Text, option("--sensitizer", "Tone", "ID", "Without a recipe: the coat, for its usual curve.")
    ] = None

    def body(self) -> dict[str, Any]:
        """The contract's fields that were typed."""
        typed = given(self)
        typed.pop("readings", None)
        body = {name: text if name in _WORDS else in_json(name, text) for name, text in typed.items()}
        if self.readings is not None:
            read = readings_of([self.readings], "--readings", Wedge(), "This coat")
            body["curve"] = {**read.fields, "dose_j_m2": _NOMINAL_J_M2}
        return body

    def exposed(self) -> list[str] | None:
        """The options that tell an exposure of the same recipe and target; None where none was named."""
        if self.recipe is None:
            return None
        target = [] if self.target_j_m2 is None else ["--target", self.target_j_m2]
        return ["--recipe", self.recipe, *target]

    def names(self, prefix: str = "") -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        names = names_of(type(self))
        if self.readings is not None:
            read = readings_of([self.readings], "--readings", Wedge(), "This coat")
            names |= {f"curve.{name}": called for name, called in read.names.items()}
        for way in ("film", "print", "usual"):
            names |= {f"film_printer.scale.{way}": "--film-printer"}
        names["film_printer.scale.recipe"] = "--film-printer"
        return {f"{prefix}{name}": called for name, called in names.items()}


@dataclasses.dataclass(frozen=True)
class ScaleOptions:
    """How a film printer's ink density scale is known; step by step from bare film to full ink."""

    film: Annotated[
        Text, option("--film", "Film", "LIST", "Densities of the film: 0.11,0.15,... or a file of them.")
    ] = None
    zeroed: Annotated[
        bool,
        typer.Option("--zeroed", help="The densitometer was set to 0 on bare film.", rich_help_panel="Film"),
    ] = False
    print_densities: Annotated[
        Text, option("--print", "Print", "LIST", "Instead: densities of the print that the steps made.")
    ] = None
    codes: Annotated[
        Text, option("--scan", "Print", "LIST", "Or grey codes, 0 to 255, of its scan or even photograph.")
    ] = None
    paper_code: Annotated[
        Text, option("--paper-code", "Print", "N", "That of the bare washed paper in the same scan.")
    ] = None
    recipe: Annotated[Text, option("--recipe", "Print", "NAME", "The coat it was printed on.")] = None
    readings: Annotated[
        Text, option("--readings", "Print", "FILE", "Or readings of a step wedge on that coat.")
    ] = None
    exposure_stops: Annotated[
        Text, option("--exposed", "Print", "STOPS", "What bare film had, above the coat's target; 0.")
    ] = None
    ink_shares: Annotated[
        Text, option("--ink", "Steps", "LIST", "Ink of each step, 0 to 1; even steps if not given.")
    ] = None
    noise: Annotated[Text, option("--noise", "Steps", "DENSITY", "So far a step may be off; 0.03.")] = None
    full_density: Annotated[
        Text, option("--full-density", "Unread", "DENSITY", "Nothing was read but full ink, or not even it.")
    ] = None

    def scale(self) -> dict[str, Any] | None:
        """The scale as the contract has it; None where nothing of it was typed."""
        ways = [
            ("film", "densities", "--film", self.film),
            ("print", "densities", "--print", self.print_densities),
            ("print", "codes", "--scan", self.codes),
            ("usual", "full_density", "--full-density", self.full_density),
        ]
        told = [way for way in ways if way[3] is not None]
        if len(told) > 1:
            raise refusal(told[1][2], told[1][3], f"left out when {told[0][2]} is given")
        by, field, called, text = told[0] if told else ("", "", "", "")
        self._refuse_others(by, called)
        if not told or text is None:
            return None
        if by == "usual":
            return {"by": by, field: in_json(field, text)}
        scale: dict[str, Any] = {"by": by, field: _numbers(called, text)}
        if self.zeroed:
            scale["includes_base"] = False
        if self.ink_shares is not None:
            scale["ink_shares"] = _numbers("--ink", self.ink_shares)
        for name in ("noise", "paper_code", "exposure_stops"):
            if getattr(self, name) is not None:
                scale[name] = in_json(name, getattr(self, name))
        if self.recipe is not None:
            scale["recipe"] = self.recipe
        if self.readings is not None:
            read = readings_of([self.readings], "--readings", Wedge(), "That coat")
            scale["curve"] = {**read.fields, "dose_j_m2": _NOMINAL_J_M2}
        return scale

    def _refuse_others(self, by: str, called: str) -> None:
        others = [] if by == "print" else [*_ONLY_PRINT]
        others += [] if by in ("print", "film") else [*_ONLY_STEPS]
        others += [] if by == "film" else [("zeroed", "--zeroed")]
        for name, other in others:
            if getattr(self, name) not in (None, False):
                raise refusal(other, None, f"left out with {called}" if called else _GOES_WITH[name])

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        listed = "--print" if self.film is None else "--film"
        inner = {"densities": listed, "codes": "--scan", "includes_base": "--zeroed", "ink_shares": "--ink"}
        inner |= {"paper_code": "--paper-code", "exposure_stops": "--exposed", "noise": "--noise"}
        inner |= {"recipe": "--recipe or --readings", "curve": "--readings", "full_density": "--full-density"}
        for index in range(60):
            step = f"step {index + 1}"
            inner |= {f"densities.{index}": f"{listed}, {step}", f"codes.{index}": f"--scan, {step}"}
            inner[f"ink_shares.{index}"] = f"--ink, {step}"
        inner["curve.densities"] = "--readings"
        names = {f"scale.{name}": called for name, called in inner.items()}
        for way in ("film", "print", "usual"):
            names |= {f"scale.{way}.{name}": called for name, called in inner.items()}
        return names


_ONLY_PRINT = (
    ("paper_code", "--paper-code"),
    ("recipe", "--recipe"),
    ("readings", "--readings"),
    ("exposure_stops", "--exposed"),
)
_ONLY_STEPS = (("ink_shares", "--ink"), ("noise", "--noise"))
_GOES_WITH = {name: "given with --print or --scan" for name, _ in _ONLY_PRINT}
_GOES_WITH |= {name: "given with --film, --print or --scan" for name, _ in _ONLY_STEPS}
_GOES_WITH["zeroed"] = "given with --film"


def _numbers(called: str, typed: str) -> list[Any]:
    """Numbers with commas between, or those in a file, one to a line or with commas."""
    text = typed
    if "\0" not in typed and os.path.isfile(typed):
        try:
            with open(typed, "rb") as file:
                text = file.read(_MOST_BYTES).decode("utf-8-sig")
        except (OSError, ValueError) as problem:
            raise refusal(called, typed, f"a file that can be read ({problem})") from None
    parts = [part.strip() for part in text.replace("\n", ",").replace(";", ",").split(",")]
    numbers = [in_json("number", part) for part in parts if part]
    if not numbers or any(isinstance(number, str | bool) for number in numbers):
        raise refusal(
            called, typed.replace("\0", "")[:40], "numbers such as 0.11,0.15,0.2, or a file of them"
        )
    return numbers
