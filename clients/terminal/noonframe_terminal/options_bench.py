"""The options of the bench's commands; declared as in `options`."""

import dataclasses
import datetime as dt
import re
from typing import Annotated, Any

import typer

from noonframe_terminal.contract import in_json
from noonframe_terminal.options import Text, given, names_of, option
from noonframe_terminal.trouble import refusal

_MOST_STEPS = 60


@dataclasses.dataclass(frozen=True)
class RecipeFields:
    """What a recipe says, besides its name."""

    sensitizer: Annotated[
        Text, option("--sensitizer", "Recipe", "ID", "See noonframe materials; else citrate-classic.")
    ] = None
    stack: Annotated[
        Text,
        option("--stack", "Recipe", "LIST", "What covers the sheet, outermost first; none for a bare one."),
    ] = None
    paper: Annotated[Text, option("--paper", "Recipe", "TEXT", "Such as 'cotton rag, unbuffered'.")] = None
    coat_notes: Annotated[Text, option("--coat", "Recipe", "TEXT", "How it is coated.")] = None
    negative_notes: Annotated[Text, option("--negative", "Recipe", "TEXT", "What is printed from.")] = None
    notes: Annotated[Text, option("--notes", "Recipe", "TEXT", "Anything else.")] = None

    def body(self) -> dict[str, Any]:
        """The contract's fields that were typed; an empty text empties."""
        typed: dict[str, Any] = {
            field.name: getattr(self, field.name)
            for field in dataclasses.fields(self)
            if getattr(self, field.name) is not None
        }
        if self.stack is not None:
            typed["stack"] = stack_list(self.stack)
        return typed

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        return names_of(type(self)) | {f"stack.{number}": "--stack" for number in range(9)}


def stack_list(text: str) -> list[str]:
    """The ids in a comma list; none for a bare sheet."""
    return [] if text.strip().lower() in ("", "none") else [part.strip() for part in text.split(",")]


@dataclasses.dataclass(frozen=True)
class PlaceFields:
    """What a saved place says, besides its name."""

    latitude_deg: Annotated[Text, option("--latitude", "Place", "DEG", "North positive.")] = None
    longitude_deg: Annotated[Text, option("--longitude", "Place", "DEG", "East positive.")] = None
    elevation_m: Annotated[Text, option("--elevation", "Place", "M", "Above sea level.")] = None
    time_zone: Annotated[Text, option("--time-zone", "Place", "NAME", "IANA name; else as it was.")] = None


@dataclasses.dataclass(frozen=True)
class PrintFields:
    """What is written down of a print; an empty text empties."""

    name: Annotated[Text, option("--rename", "Print", "TEXT", "What was printed.")] = None
    judgement: Annotated[
        Text,
        option(
            "--judgement", "Print", "WORDS", "How it came out: right, a little dark, ..., or in stops: -0.5."
        ),
    ] = None
    dose_j_m2: Annotated[Text, option("--dose", "Print", "J/m2", "What the sheet had.")] = None
    wash_notes: Annotated[Text, option("--wash", "Print", "TEXT", "How it was washed.")] = None
    rinse_notes: Annotated[Text, option("--rinse", "Print", "TEXT", "How it was rinsed.")] = None
    photo: Annotated[Text, option("--photo", "Print", "FILE", "A file of it, by reference.")] = None
    film: Annotated[Text, option("--film", "Print", "FILE", "Its film page's file, by reference.")] = None
    notes: Annotated[Text, option("--notes", "Print", "TEXT", "Anything else.")] = None
    tags: Annotated[Text, option("--tags", "Print", "LIST", "Words to find it by: kelp,large.")] = None

    def body(self) -> dict[str, Any]:
        """The contract's fields that were typed."""
        typed: dict[str, Any] = given(self)
        if self.dose_j_m2 is not None:
            typed["dose_j_m2"] = in_json("dose_j_m2", self.dose_j_m2)
        if self.tags is not None:
            typed["tags"] = [tag.strip() for tag in self.tags.split(",") if tag.strip()]
        if self.judgement is not None:
            del typed["judgement"]
            typed |= judged(self.judgement)
        return typed

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        tags = {f"tags.{number}": "--tags" for number in range(40)}
        return names_of(type(self)) | tags | {"judgement_stops": "--judgement"}


def judged(text: str) -> dict[str, Any]:
    """A judgement in stops where a number was typed; in words, or none, else."""
    typed = text.strip()
    if re.fullmatch(r"[-+]?[0-9.]+", typed, re.ASCII):
        return {"judgement_stops": in_json("judgement_stops", typed)}
    if not typed:
        return {"judgement": None, "judgement_stops": None}
    return {"judgement": typed}


@dataclasses.dataclass(frozen=True)
class Ladder:
    """The doses of a test strip."""

    strip_count: Annotated[Text, option("--steps", "Strip", "N", "How many strips.")] = None
    step_stops: Annotated[
        Text, option("--stops", "Strip", "STOPS", "From strip to strip; 0.5 if not given.")
    ] = None
    first_j_m2: Annotated[
        Text, option("--first-dose", "Strip", "J/m2", "Dose of strip 1, the one covered first.")
    ] = None

    def fields(self) -> dict[str, str]:
        """What to ask the service."""
        return given(self)

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        names = names_of(type(self)) | {"last_j_m2": "--steps"}
        return (
            names | {f"ladder.{name}": option for name, option in names.items()} | {"ladder": "--first-dose"}
        )

    def body(self) -> dict[str, Any] | None:
        """The ladder as a JSON object, None where none was typed; refuses one that is not whole."""
        if not given(self):
            return None
        if self.first_j_m2 is None:
            raise refusal("--first-dose", None, "given with --steps and --stops, as the plan said it")
        if self.strip_count is None:
            raise refusal("--steps", None, "given with --first-dose, as the plan said it")
        return {name: in_json(name, text) for name, text in given(self).items()}


@dataclasses.dataclass(frozen=True)
class Reading:
    """What was seen on a strip or a wedge, washed and dry."""

    first_full: Annotated[
        Text,
        option(
            "--first-full", "Strip", "N", "First strip that is as dark as it gets, from strip 1 on; or none."
        ),
    ] = None
    first_toned: Annotated[
        Text, option("--first-toned", "Strip", "N", "First strip with any tone at all; or none.")
    ] = None
    covered: Annotated[
        Text,
        option("--covered", "Strip", "LIST", "With --run: when each was covered, 12:02:50,12:04,..."),
    ] = None
    last_full: Annotated[
        Text, option("--last-full", "Wedge", "N", "Densest step with a print as dark as it gets; or none.")
    ] = None
    last_toned: Annotated[
        Text, option("--last-toned", "Wedge", "N", "Densest step with any tone under it; or none.")
    ] = None
    dose_j_m2: Annotated[
        Text, option("--dose", "Wedge", "J/m2", "That fell on the wedge, where there is no run.")
    ] = None
    print_densities: Annotated[
        Text,
        option("--densities", "Wedge", "LIST", "Of the print under each step, 1.42,1.41,-,...: its curve."),
    ] = None

    def kind(self) -> str:
        """A strip or a wedge, by what was read; refuses a mixture, and nothing."""
        strip = [self.first_full, self.first_toned, self.covered]
        wedge = [self.last_full, self.last_toned, self.dose_j_m2, self.print_densities]
        if any(one is not None for one in strip) and any(one is not None for one in wedge):
            raise refusal(
                "--last-full", self.last_full, "given without --first-full: read a strip or a wedge"
            )
        seen = (self.first_full, self.first_toned, self.last_full, self.last_toned)
        if all(one is None for one in seen):
            raise refusal("--first-full", None, "given (of a strip), or --last-full (of a wedge)")
        return "strip" if any(one is not None for one in strip) else "wedge"

    def body(self) -> dict[str, Any]:
        """The contract's fields that were typed, but for the moments of covering."""
        told = {
            name: text for name, text in given(self).items() if name not in ("covered", "print_densities")
        }
        names = names_of(type(self))
        body: dict[str, Any] = {
            name: in_json(name, text) if name == "dose_j_m2" else _step(text, names[name])
            for name, text in told.items()
        }
        if self.print_densities is not None:
            read = [
                None if one.strip() == "-" else in_json("", one.strip())
                for one in self.print_densities.split(",")
            ]
            if any(isinstance(one, str | bool) for one in read):
                raise refusal("--densities", self.print_densities, "densities such as 1.42,1.41,-,0.89")
            body["densities"] = read
        return body

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        moments = {f"covered_at.{number}": "--covered" for number in range(_MOST_STEPS)}
        moments |= {f"densities.{n}": f"--densities, step {n + 1}" for n in range(_MOST_STEPS)}
        return (
            names_of(type(self))
            | moments
            | {"covered_at": "--covered", "doses_j_m2": "--first-dose", "densities": "--densities"}
        )


@dataclasses.dataclass(frozen=True)
class Wedge:
    """A transparent step wedge."""

    step_count: Annotated[
        Text, option("--wedge-steps", "Wedge", "N", "How many steps it has; 21 if not given.")
    ] = None
    step_density: Annotated[
        Text, option("--wedge-step", "Wedge", "DENSITY", "From step to step; 0.15 if not given.")
    ] = None
    densities: Annotated[
        Text,
        option(
            "--wedge-densities",
            "Wedge",
            "LIST",
            "Instead: density of each step above the film's own, from the clearest on: 0.02,0.17,...",
        ),
    ] = None
    base_in_stack: Annotated[
        bool,
        typer.Option(
            "--base-in-stack",
            help="It takes the place of a film that the recipe has: its own film counts once, not twice.",
            rich_help_panel="Wedge",
        ),
    ] = False

    def body(self) -> dict[str, Any]:
        """The contract's fields that were typed."""
        typed = {name: in_json(name, text) for name, text in given(self).items()}
        if self.densities is not None:
            typed["densities"] = [in_json("", part.strip()) for part in self.densities.split(",")]
        return typed

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        names = {f"wedge.{name}": called for name, called in names_of(type(self)).items()}
        each = {f"wedge.densities.{n}": f"--wedge-densities, step {n + 1}" for n in range(_MOST_STEPS)}
        return names | each | {"wedge.increment": "--wedge-step"}

    def first_typed(self) -> str:
        """The first of the options that were typed."""
        return names_of(type(self))[next(iter(given(self)))]


def _step(text: str, called: str) -> int | str:
    if text.strip().lower() == "none":
        return "none"
    if re.fullmatch(r"[0-9]{1,2}", text.strip(), re.ASCII) and 1 <= int(text) <= _MOST_STEPS:
        return int(text)
    raise refusal(called, text, f"a number from 1 to {_MOST_STEPS}, or none")


@dataclasses.dataclass(frozen=True)
class Conditions:
    """When it was made, and what may change the speed of a coat, as far as it was written down."""

    made_at: Annotated[
        Text,
        option(
            "--made",
            "Conditions",
            "TIME",
            "When it was exposed, '2026-06-21 12:00' here; else the run's, or now.",
        ),
    ] = None
    coat_age_h: Annotated[Text, option("--coat-age", "Conditions", "HOURS", "Since it was coated.")] = None
    relative_humidity_percent: Annotated[
        Text, option("--humidity", "Conditions", "PERCENT", "Relative humidity of the air.")
    ] = None
    air_temperature_c: Annotated[Text, option("--air", "Conditions", "DEG C", "Air temperature.")] = None

    def body(self) -> dict[str, Any]:
        """The contract's fields that were typed."""
        typed = {name: in_json(name, text) for name, text in given(self).items()}
        return typed if self.made_at is None else typed | {"made_at": _here(self.made_at)}

    def names(self) -> dict[str, str]:
        """What each field of the contract was called when it was typed."""
        return names_of(type(self)) | {"made_at_s": "--made"}


def _here(text: str) -> str:
    """RFC 3339 for a time by this machine's clock, or with an offset of its own."""
    try:
        return dt.datetime.fromisoformat(text.strip()).astimezone().isoformat()
    except (ValueError, OverflowError):
        limit = "a date, '2026-06-21 12:00' by the clock here, or RFC 3339 with an offset"
        raise refusal("--made", text, limit) from None
