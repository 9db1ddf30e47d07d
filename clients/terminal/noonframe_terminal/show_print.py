"""A finished print, with all that was written down of it."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from noonframe_terminal import words
from noonframe_terminal.finding import short
from noonframe_terminal.keeping import here
from noonframe_terminal.show_bench import judged, kilo

if TYPE_CHECKING:
    from rich.console import Console

_SAID = (
    ("wash_notes", "Wash"),
    ("rinse_notes", "Rinse"),
    ("photo", "Photo"),
    ("film", "Film"),
    ("notes", "Notes"),
)
_CONDITIONS = (
    ("coat_age_h", "coat {:g} h old"),
    ("relative_humidity_percent", "humidity {:g} %"),
    ("air_temperature_c", "air {:g} °C"),
)


def draw_print(console: "Console", each: Mapping[str, Any], recipe: Mapping[str, Any]) -> None:
    """A print, its recipe as it was then, its exposure and what was noted."""
    state = ", retired" if each["retired"] else ""
    console.print(f"{each['name']} ({short(each['id'])}), version {each['version']}{state}", style="bold")
    console.print(f"Judged: {judged(each) or 'not yet (noonframe prints change --judgement)'}.")
    console.print(f"Made {_made(each)}, by {recipe['name']}, version {recipe['version']}.")
    glass = " and ".join(recipe["stack"]) or "nothing over it"
    console.print(f"Coat and cover: {recipe['sensitizer']}; under {glass}.")
    dose = each["dose_j_m2"]
    if dose is not None:
        spread = each["dose_spread_stops"]
        sure = "" if spread is None else f", known to ± {spread:.2g} stops"
        console.print(f"Dose: {kilo(dose)}{sure}.")
    if each["run_id"] is not None:
        console.print(f"Exposed in run {short(each['run_id'])}; its light is kept with the print.")
    if each["spot"] is not None and each["spot"].get("says"):
        console.print(f"Spot: {each['spot']['says']}.")
    told = [form.format(each[key]) for key, form in _CONDITIONS if each[key] is not None]
    if told:
        console.print(f"Conditions: {', '.join(told)}.")
    for key, word in _SAID:
        if each[key]:
            console.print(f"{word}: {each[key]}")
    if each["tags"]:
        console.print(f"Tags: {', '.join(each['tags'])}.")


def _made(each: Mapping[str, Any]) -> str:
    zone = (each["spot"] or {}).get("time_zone")
    if zone is None:
        return f"{here(each['made'])} (by the clock of this machine)"
    when = words.moment(each["made"]).astimezone(ZoneInfo(zone))
    return f"{words.date(when.date())}, {words.clock(when)} (clock of {zone})"
