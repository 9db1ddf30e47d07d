"""What was saved, version by version, and what was put away."""

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from noonframe_terminal.keeping import here

if TYPE_CHECKING:
    from rich.console import Console

_HEAD = frozenset({"id", "version", "created", "saved", "retired", "says"})
_CALLED = {
    "coat_notes": "coat",
    "negative_notes": "negative",
    "stack": "under",
    "latitude_deg": "latitude",
    "longitude_deg": "longitude",
    "elevation_m": "elevation in m",
    "dose_j_m2": "dose in J/m²",
    "dose_spread_stops": "spread of the dose in stops",
    "coat_age_h": "age of the coat in h",
    "relative_humidity_percent": "humidity in %",
    "air_temperature_c": "air in °C",
    "judgement_stops": "judged too dark by stops",
}


def draw_history(console: "Console", versions: Sequence[Mapping[str, Any]]) -> None:
    """Versions, oldest first, each with what is new in it."""
    from rich.table import Table

    console.print(f"{versions[-1]['name']}{', retired' if versions[-1]['retired'] else ''}", style="bold")
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(justify="right", no_wrap=True)
    grid.add_column(overflow="fold")
    before: Mapping[str, Any] | None = None
    for each in versions:
        told = "; ".join(_news(before, each)) or "nothing changed"
        grid.add_row(str(each["version"]), f"{here(each['saved'])}: {told}.")
        before = each
    console.print(grid)
    console.print("Times by the clock of this machine.", style="dim")


def _news(before: Mapping[str, Any] | None, now: Mapping[str, Any]) -> Iterator[str]:
    if before is None:
        yield "saved"
        return
    if now["retired"] != before["retired"]:
        yield "retired" if now["retired"] else "taken back"
    for key, value in now.items():
        if key in _HEAD or value == before.get(key):
            continue
        if isinstance(value, dict) or isinstance(before.get(key), dict):
            # what a spot says is how it was worded; a record of light has no short form
            said = (
                f": {now['says']} (was: {before['says']})" if key == "spot" and "says" in now else " changed"
            )
            yield f"{_called(key)}{said}"
        else:
            yield f"{_called(key)}: {_said(value)} (was {_said(before.get(key))})"


def _called(key: str) -> str:
    return _CALLED.get(key, key.replace("_", " "))


def _said(value: object) -> str:
    if value in (None, "", []):
        return "nothing"
    if isinstance(value, list):
        return ", ".join(str(one) for one in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def draw_retired(console: "Console", records: Sequence[Mapping[str, Any]], word: str, command: str) -> None:
    """What was put away, and how to take it back."""
    if not records:
        console.print(f"No {word} is retired.")
        return
    for each in records:
        console.print(f"{each['id'][:8]}  {each['name']}, retired {here(each['saved'])}")
    console.print(f"{command} restore NAME takes one back.")
