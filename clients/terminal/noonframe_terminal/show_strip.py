"""Test strips: when to cover each, how to read them, and what a reading says."""

import shlex
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from noonframe_terminal import words
from noonframe_terminal.show_bench import kilo, target_range, target_sentence
from noonframe_terminal.show_exposure import draw_basis, draw_cautions, target_words

if TYPE_CHECKING:
    from rich.console import Console

_WIDEST = 77  # leaves room for the mark that a line goes on


def draw_plan(console: "Console", plan: Mapping[str, Any], recipe: str, scene: Sequence[str]) -> None:
    """A plan as it is followed in the yard; `scene` holds the options that a run needs to lie there too."""
    console.print(plan["summary"], style="bold")
    _draw_chance(console, plan)
    console.print()
    _draw_covers(console, plan)
    console.print()
    for line in plan["advice"]:
        console.print(_in_options(line))
    draw_cautions(console, plan)
    draw_basis(console, plan, target_words(plan), usual=False)
    ladder = plan["ladder"]
    doses = ["--first-dose", f"{ladder['first_j_m2']:.6g}", "--steps", str(ladder["strip_count"])]
    if ladder["step_stops"] != 0.5:
        doses += ["--stops", f"{ladder['step_stops']:.10g}"]
    seen = ["--first-full", "N", "--first-toned", "M"]
    target = f"{plan['dose_j_m2']:.6g}"
    console.print()
    console.print(
        "Washed and dry, count from strip 1, the palest: which strip is the first that is as dark as the"
        " last one, and which is the first with any tone? Tell it (N and M are those two):"
    )
    _command(console, "strip", "read", recipe, *doses, *seen)
    console.print()
    console.print(
        "Under a sky that changes, start a run with the sheet and follow it: it says when to cover each strip"
        " and how to tell the reading, and the doses are the run's:"
    )
    _command(console, "run", "start", "--recipe", recipe, "--name", "test strip", "--target", target, *scene)
    _command(console, "strip", "follow", *doses)


def draw_wedge(
    console: "Console", plan: Mapping[str, Any], recipe: str, scene: Sequence[str], wedge: Sequence[str]
) -> None:
    """A wedge as it is exposed; `wedge` holds the options that its reading needs too."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    console.print(plan["summary"], style="bold")
    if plan["end"] is not None:
        console.print(f"Until {words.clock(words.moment(plan['end']), seconds=True)}.")
    _draw_chance(console, plan)
    console.print()
    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 2, 0, 0), header_style="")
    for name in ("Step", "Dose", "Of target"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("")
    for step in plan["steps"]:
        mark = "full to here" if step["step"] == plan["expected_full_step"] else ""
        table.add_row(str(step["step"]), kilo(step["dose_j_m2"]), f"{step['target_stops']:+.1f} stops", mark)
    console.print(table)
    console.print()
    for line in plan["advice"]:
        console.print(line)
    films = [name for name in plan["basis"]["stack"] if name.endswith("film")]
    if films and "--base-in-stack" not in wedge:
        console.print(f"The recipe counts {films[0]}: where the wedge takes its place, say --base-in-stack.")
    draw_cautions(console, plan)
    draw_basis(console, plan, target_words(plan), usual=False)
    seen = ["--last-full", "N", "--last-toned", "M"]
    dose = f"{plan['dose_j_m2']:.6g}"
    console.print()
    console.print("Tell what it shows (N and M are those two steps, counted from the clear end):")
    _command(console, "strip", "read", recipe, "--dose", dose, *wedge, *seen)
    console.print()
    console.print("Under a sky that changes, start a run with the wedge; then the dose is the run's:")
    _command(console, "run", "start", "--recipe", recipe, "--name", "step wedge", "--target", dose, *scene)
    _command(console, "strip", "read", recipe, "--run", "last", *wedge, *seen)


def _draw_chance(console: "Console", plan: Mapping[str, Any]) -> None:
    if not plan["complete"] and plan["next_start"] is not None:
        begin = words.moment(plan["next_start"])
        length = words.length(plan["next_length_s"])
        console.print(f"The next chance: {words.clock(begin)} on {words.date(begin.date())}, for {length}.")


def _command(console: "Console", *parts: str) -> None:
    console.print(command_text(*parts), soft_wrap=True)


def command_text(*parts: str) -> str:
    """A command as a shell takes it, an option and its value together on a line."""
    lines = ["noonframe"]
    pieces: list[str] = []
    for part in parts:
        quoted = shlex.quote(part)
        is_open = pieces and pieces[-1].startswith("-") and "=" not in pieces[-1] and " " not in pieces[-1]
        if is_open and not part.startswith("-"):
            pieces[-1] += f" {quoted}"
        else:
            pieces.append(quoted)
    for piece in pieces:
        if len(lines[-1]) + len(piece) + 1 > _WIDEST:
            lines[-1] += " \\"
            lines.append(f"    {piece}")
        else:
            lines[-1] += f" {piece}"
    return "\n".join(lines)


def _draw_covers(console: "Console", plan: Mapping[str, Any]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 2, 0, 0), header_style="")
    for name in ("Strip", "Cover at", "After", "Dose"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("Eight times in ten", no_wrap=True)
    for strip in plan["strips"]:
        at, low, high = (
            None if strip[key] is None else words.clock(words.moment(strip[key]), seconds=True)
            for key in ("cover_at", "cover_low", "cover_high")
        )
        between = f"{low} to {high}" if low and high else f"not before {low}" if low else ""
        after = "" if strip["after_s"] is None else words.length(strip["after_s"])
        table.add_row(str(strip["strip"]), at or "no light left", after, kilo(strip["total_j_m2"]), between)
    console.print(table)


def _in_options(line: str) -> str:
    return line.replace("step_stops ", "--stops ")


def draw_reading(console: "Console", answer: Mapping[str, Any]) -> None:
    """The target after a reading, and what the reading said."""
    target, evidence = answer["target"], answer["evidence"]
    console.print(target_sentence(target), style="bold")
    console.print(target_range(target))
    told = evidence["told"]
    doses = told.get("doses_j_m2")
    if doses:
        span = f"{kilo(doses[0])} to {kilo(doses[-1])}"
        full = told.get("first_full")
        seen = f"; strip {full} had {kilo(doses[full - 1])}" if isinstance(full, int) else ""
        console.print(f"Read as {len(doses)} strips from {span}{seen}.")
    elif told.get("dose_j_m2"):
        console.print(f"Read as a wedge with {kilo(told['dose_j_m2'])} on it.")
    for note in target["notes"]:
        console.print(f"Note: {note}.")
    console.print()
    console.print("How long, from here on; and how every finished print sharpens it:")
    _command(console, "now", "--recipe", target["recipe"], "--place", "PLACE")
    _command(console, "judge", target["recipe"], "right", "--run", "last")
