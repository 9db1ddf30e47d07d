"""A session plan as a list to work from: what to do when, then what becomes of each sheet."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from noonframe_terminal import words
from noonframe_terminal.show_exposure import draw_cautions

if TYPE_CHECKING:
    from rich.console import Console

_SURE = 0.95


def draw_plan(
    console: "Console", plan: Mapping[str, Any], *, name: str | None = None, past: bool = False
) -> None:
    """Everything `noonframe session` shows of a plan; with `past` also what is over."""
    start = words.moment(plan["start"])
    head = f"{name}, " if name else ""
    console.print(f"{head}{start.day} {start:%B %Y}", style="bold")
    console.print(plan["summary"], style="bold")
    steps = [step for step in plan["steps"] if past or step["state"] != "done"]
    if steps:
        console.print()
        _draw_steps(console, steps)
    console.print()
    _draw_sheets(console, plan["sheets"])
    said = [
        *(sheet["says"] for sheet in plan["sheets"] if sheet["state"] == "not-fitting"),
        *plan["advice"],
        plan["bound_says"],
    ]
    console.print()
    for line in said:
        console.print(line)
    draw_cautions(console, plan)
    basis = plan["basis"]
    sky, zone = basis["sky"]["says"], basis["time_zone"]
    console.print()
    console.print(f"{basis['place']}; {basis['spot']}; {sky}. Times are those of {zone}.", style="dim")
    for note in basis["notes"]:
        console.print(note, style="dim")


def _table(*columns: str) -> Any:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    for name in columns[:-1]:
        table.add_column(name, no_wrap=True)
    table.add_column(columns[-1])
    return table


def _draw_steps(console: "Console", steps: list[dict[str, Any]]) -> None:
    table = _table("From", "Until", "Hands", "What")
    for step in steps:
        if step["kind"] == "soak":
            continue
        table.add_row(
            words.clock(words.moment(step["start"])),
            words.clock(words.moment(step["end"])),
            "yes" if step["hands"] else "-",
            step["says"] + ("" if step["state"] == "planned" else f" ({_state(step['state'])})"),
        )
    console.print(table)


def _draw_sheets(console: "Console", sheets: list[dict[str, Any]]) -> None:
    table = _table("Sheet", "Light", "Spot", "Frame", "Done", "Sure", "State")
    for sheet in sheets:
        table.add_row(
            sheet["sheet_id"],
            _span(sheet),
            sheet["spot"] or "-",
            sheet["frame"] or "-",
            "-" if sheet["done"] is None else words.clock(words.moment(sheet["done"])),
            _sure(sheet["chance_by_limit"]),
            _state(sheet["state"]),
        )
    console.print(table)


def _span(sheet: Mapping[str, Any]) -> str:
    if sheet["start"] is None:
        return "-"
    return f"{words.clock(words.moment(sheet['start']))}-{words.clock(words.moment(sheet['end']))}"


def _sure(chance: float | None) -> str:
    if chance is None:
        return "-"
    return "yes" if chance >= _SURE else f"{100.0 * chance:.0f} %"


def _state(state: str) -> str:
    return {"running": "now", "not-fitting": "does not fit"}.get(state, state)


def draw_sessions(console: "Console", sessions: list[dict[str, Any]]) -> None:
    """Saved sessions, a line each."""
    if not sessions:
        console.print("No session is saved yet: noonframe session plan --save NAME ... saves one.")
        return
    table = _table("Name", "Day", "From", "Until", "Plan")
    for session in sessions:
        start, end = (words.moment(session[key]) for key in ("start", "end"))
        day = start.date().isoformat()
        table.add_row(session["name"], day, words.clock(start), words.clock(end), session["summary"])
    console.print(table)
