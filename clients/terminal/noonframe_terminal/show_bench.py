"""Recipes, targets, prints, spots and places, as they are saved."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from noonframe_terminal import words

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

_SAID = (("paper", "Paper"), ("coat_notes", "Coat"), ("negative_notes", "Negative"), ("notes", "Notes"))


def draw_recipe(console: "Console", recipe: Mapping[str, Any]) -> None:
    """What a recipe says."""
    glass = " and ".join(recipe["stack"]) or "a bare sheet, nothing over it"
    console.print(f"{recipe['name']}, version {recipe['version']}: {recipe['sensitizer']}; under {glass}.")
    for key, word in _SAID:
        if recipe[key]:
            console.print(f"{word}: {recipe[key]}.")


def draw_target(
    console: "Console", target: Mapping[str, Any], evidence: Sequence[Mapping[str, Any]] = ()
) -> None:
    """What is believed of the target, and each exposure behind it."""
    console.print()
    console.print(target_sentence(target), style="bold")
    console.print(target_range(target))
    if not target["learned"]:
        console.print("Nothing is learned of it yet; a test strip does that: noonframe strip plan.")
    for note in target["notes"]:
        console.print(f"Note: {note}.")
    if evidence:
        console.print("Learned from:")
    for item in evidence:
        console.print(
            f"  {item['id'][:8]}  {words.date(words.moment(item['made']).date())}: {_evidence_words(item)}"
        )


def target_sentence(target: Mapping[str, Any]) -> str:
    """The target and what it is known from."""
    return f"The target of {target['recipe']}, {target['summary']}."


def target_range(target: Mapping[str, Any]) -> str:
    """How sure the target is."""
    return f"Eight times in ten it lies between {kilo(target['low_j_m2'])} and {kilo(target['high_j_m2'])}."


def kilo(dose_j_m2: float) -> str:
    """A dose to three figures."""
    if dose_j_m2 < 1000.0:
        return f"{dose_j_m2:.3g} J/m²"
    return f"{float(f'{dose_j_m2 / 1000.0:.3g}'):g} kJ/m²"


def _evidence_words(item: Mapping[str, Any]) -> str:
    low, high = item["low_j_m2"], item["high_j_m2"]
    if low is None or high is None:
        where = f"above {kilo(low)}" if low is not None else "open" if high is None else f"below {kilo(high)}"
    else:
        where = f"between {kilo(low)} and {kilo(high)}"
    said = f"a {item['kind']}, the target {where}"
    if item["withdrawn"] is not None:
        return f"{said} (withdrawn: {item['withdrawn_reason']})"
    return said if item["counts"] else f"{said} (does not count for this version)"


def draw_recipes(console: "Console", recipes: Sequence[Mapping[str, Any]]) -> None:
    """Recipes as a table."""
    if not recipes:
        console.print("No recipes. noonframe recipe add NAME saves one.")
        return
    table = _table("Recipe", "Coat", "Under", "Paper")
    for recipe in recipes:
        table.add_row(
            recipe["name"], recipe["sensitizer"], ", ".join(recipe["stack"]) or "nothing", recipe["paper"]
        )
    console.print(table)


def draw_prints(console: "Console", answer: Mapping[str, Any], recipes: Mapping[str, str]) -> None:
    """Prints as a table."""
    prints = answer["prints"]
    if not prints:
        console.print("No prints. noonframe judge logs one that is finished.")
        return
    table = _table("Made", "Print", "Recipe", "Judged")
    table.add_column("Dose J/m²", justify="right", no_wrap=True)
    for each in prints:
        dose = each["dose_j_m2"]
        table.add_row(
            words.moment(each["made"]).strftime("%Y-%m-%d"),
            each["name"],
            recipes.get(each["recipe_id"], each["recipe_id"][:8]),
            judged(each),
            "" if dose is None else f"{dose:.0f}",
        )
    console.print(table)
    if answer["total"] > len(prints):
        console.print(f"{len(prints)} of {answer['total']}; --limit shows more.")


def judged(each: Mapping[str, Any]) -> str:
    """How a print came out, in words; empty where nobody has said."""
    if each["judgement"] is not None:
        return str(each["judgement"])
    stops = each["judgement_stops"]
    if stops is None:
        return ""
    return f"{abs(stops):g} stops too {'dark' if stops > 0.0 else 'pale'}" if stops else "right"


def draw_spots(console: "Console", spots: Sequence[Mapping[str, Any]]) -> None:
    """Spots as a table."""
    if not spots:
        console.print("No spots. noonframe spot add NAME saves one.")
        return
    table = _table("Spot", "What it is", "At")
    for spot in spots:
        place = spot["place"] or f"{spot['latitude_deg']:g}, {spot['longitude_deg']:g}"
        table.add_row(spot["name"], spot["says"], place)
    console.print(table)


def draw_saved_places(console: "Console", places: Sequence[Mapping[str, Any]]) -> None:
    """Saved places as a table."""
    if not places:
        console.print("No places. noonframe saved-place add NAME saves one.")
        return
    table = _table("Place", "Latitude", "Longitude", "Elevation", "Time zone")
    for place in places:
        table.add_row(
            place["name"],
            f"{place['latitude_deg']:.4f}",
            f"{place['longitude_deg']:.4f}",
            f"{place['elevation_m']:g} m",
            place["time_zone"],
        )
    console.print(table)


def _table(*columns: str) -> "Table":
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    for name in columns:
        table.add_column(name, overflow="fold")
    return table
