"""Keys and changes, as tables."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table


def _table(*columns: str) -> "Table":
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for column in columns:
        table.add_column(column)
    return table


def draw_keys(console: "Console", keys: Sequence[Mapping[str, Any]], now: dt.datetime) -> None:
    """Keys, and whether each opens anything."""
    if not keys:
        console.print("No keys. noonframe keys add NAME makes one.")
        return
    table = _table("Key", "Whose", "Studio", "Scope", "State", "Last used")
    for key in keys:
        used = key["last_used_day"] or "never"
        table.add_row(key["id"], key["name"], key["studio"], key["scope"], _state(key, now), used)
    console.print(table)


def _state(key: Mapping[str, Any], now: dt.datetime) -> str:
    if key["revoked"] is not None:
        return f"revoked {key['revoked'][:10]}"
    if key["expires"] is None:
        return "good"
    ended = dt.datetime.fromisoformat(key["expires"]) <= now
    return f"{'ended' if ended else 'until'} {key['expires'][:10]}"


def draw_changes(console: "Console", changes: Sequence[Mapping[str, Any]]) -> None:
    """Changes, newest first, by the clock of UTC."""
    if not changes:
        console.print("Nothing was changed yet.")
        return
    table = _table("When (UTC)", "Who", "Key", "What", "Record")
    for change in changes:
        table.add_row(
            change["at"][:19].replace("T", " "),
            change["who"],
            change["key_id"] or "",
            f"{change['method']} {change['route']}",
            change["record"] or "",
        )
    console.print(table)
