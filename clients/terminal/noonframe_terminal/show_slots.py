"""The answer to "when": the best start in words, the slots as a table, and the sun's day."""

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from noonframe_terminal import words
from noonframe_terminal.show_exposure import draw_basis, draw_cautions, next_chance, target_words

if TYPE_CHECKING:
    from rich.console import Console

_OUTCOMES = {
    "up-all-day": "the sun stays up all day",
    "down-all-day": "the sun stays down all day",
    "rises-only": "the sun rises and does not set",
    "sets-only": "the sun sets and does not rise",
}


def draw_slots(
    console: "Console", answer: Mapping[str, Any], now: dt.datetime, *, usual: bool = True
) -> None:
    """Everything `noonframe slots` shows."""
    for line in slots_sentences(answer, now):
        console.print(line, style="bold")
    if answer["slots"]:
        console.print()
        _draw_table(console, answer["slots"])
    console.print()
    for day in answer["sun"]:
        console.print(sun_sentence(day))
    draw_cautions(console, answer)
    draw_basis(console, answer, target_words(answer), usual=usual)


def slots_sentences(answer: Mapping[str, Any], now: dt.datetime) -> list[str]:
    """The best start, or when there is one."""
    if not answer["slots"]:
        return ["There is not enough light that day.", next_chance(answer, now)]
    best = answer["slots"][0]
    start = words.moment(best["best_start"])
    said = [
        f"Start at {words.clock(start)}{words.on_day(start, now.date())} and expose"
        f" {words.length(best['length_s'])}, until {words.clock(words.moment(best['best_end']))}."
    ]
    if best["length_low_s"] is not None and best["length_high_s"] is not None:
        low, high = words.length(best["length_low_s"]), words.length(best["length_high_s"])
        said.append(f"Eight times in ten it takes {low} to {high}.")
    return said


def _draw_table(console: "Console", slots: list[dict[str, Any]]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    for name in ("Start", "Best at", "Expose", "Pace"):
        table.add_column(name, no_wrap=True)
    table.add_column("Why")
    for slot in slots:
        first, last = (words.clock(words.moment(slot[key])) for key in ("first_start", "last_start"))
        table.add_row(
            first if first == last else f"{first}-{last}",
            words.clock(words.moment(slot["best_start"])),
            words.length(slot["length_s"]) if slot["length_s"] is not None else "light goes first",
            slot["pace"],
            slot["why"],
        )
    console.print(table)


def sun_sentence(day: Mapping[str, Any]) -> str:
    """The sun's day in a line or two."""

    def at(key: str) -> str:
        return words.clock(words.moment(day[key]))

    high = f"is highest at {at('transit')} ({day['transit_elevation_deg']:.0f}°)"
    steps = [_OUTCOMES.get(day["outcome"], "the sun")]
    if day["rise"] and day["set"]:
        steps = [f"the sun rises at {at('rise')}", high, f"sets at {at('set')}"]
    elif day["rise"]:
        steps += [f"rises at {at('rise')}", high]
    elif day["set"]:
        steps += [f"sets at {at('set')}", high]
    elif day["outcome"] == "up-all-day":
        steps.append(high)
    twilight = ""
    if day["dawn"] and day["dusk"]:
        twilight = f" Twilight begins at {at('dawn')} and ends at {at('dusk')}."
    told = f"{words.date(dt.date.fromisoformat(day['date']))}: {', '.join(steps)}."
    return told + twilight
