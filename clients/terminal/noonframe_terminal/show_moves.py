"""The answer to "when and where to move": the plan step by step, then how even, and what could change it."""

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from noonframe_terminal import words
from noonframe_terminal.show_exposure import (
    draw_basis,
    draw_cautions,
    next_chance,
    range_sentence,
    target_words,
)

if TYPE_CHECKING:
    from rich.console import Console

_AT_ONCE_S = 1.0
_GAIN_WORTH_TELLING_S = 5.0


def draw_moves(
    console: "Console",
    answer: Mapping[str, Any],
    now: dt.datetime,
    *,
    staying: Mapping[str, Any] | None,
    object_asked: bool,
    picture: str | None,
    usual: bool = True,
) -> None:
    """Everything `noonframe moves` shows.

    `staying` is the exposure without a move, asked for when no plan reaches the dose; `picture` is the file
    drawn, if any.
    """
    for line in plan_sentences(answer, now, staying):
        console.print(line, style="bold")
    console.print()
    if answer["reached"]:
        console.print(range_sentence(answer))
    console.print(evenness_sentence(answer))
    console.print(f"If cloud covers the sun: {answer['if_cloud_covers']}.")
    if answer["edge"] is not None:
        console.print(edge_sentence(answer["edge"]))
    elif object_asked:
        console.print("Edges: only told for a sheet that lies level all the time, with sun on it.")
    if answer["dose_map_stops"] is not None:
        console.print()
        _draw_map(console, answer)
    if picture is not None:
        console.print()
        console.print(f"Drawn in {picture}.", soft_wrap=True)
    draw_cautions(console, answer)
    draw_basis(console, answer, target_words(answer), _search_words(answer), usual=usual)


def plan_sentences(
    answer: Mapping[str, Any], now: dt.datetime, staying: Mapping[str, Any] | None = None
) -> list[str]:
    """What to do, in the order of doing it."""
    start = words.moment(answer["start"])
    when = f"at {words.clock(start)}{words.on_day(start, now.date())}"
    if abs((start - now).total_seconds()) < 90.0:
        when = "now"
    steps = [
        f"Begin {when}: {answer['begin_says']}.",
        *(_move_sentence(move, answer) for move in answer["moves"]),
    ]
    if answer["reached"]:
        return [*steps, _done_sentence(answer, start)]
    said = [answer["summary"], *(["This plan gets furthest:", *steps] if answer["moves"] else [])]
    return said if staying is None else [*said, _staying_sentence(staying, now)]


def _staying_sentence(exposure: Mapping[str, Any], now: dt.datetime) -> str:
    if exposure["reached"]:
        return f"Without a move it takes {words.length(exposure['length_s'])}."
    return f"{next_chance(exposure, now).removesuffix('.')}, without a move."


def _move_sentence(move: Mapping[str, Any], answer: Mapping[str, Any]) -> str:
    at = f"At {words.clock(words.moment(move['time']))}"
    if move["after_s"] < _AT_ONCE_S:
        at = "At once"
    said = f"{at} turn it: {move['says']}"
    if move["to"]["distance_m"] is not None:
        said = f"{at} move it to {move['says']}"
    if move["saves_s"]:
        return f"{said}; this saves {words.length(move['saves_s'])}."
    if answer["outcome"] == "reached":
        return f"{said}; without it the sheet is not done evenly."
    return f"{said}."


def _done_sentence(answer: Mapping[str, Any], start: dt.datetime) -> str:
    end, length_s, stay_s = words.moment(answer["end"]), answer["length_s"], answer["stay_length_s"]
    day = words.on_day(end, start.date())
    done = f"Done at {words.clock(end)}{day.replace(' tomorrow', ' the next day')}"
    done += f", after {words.length(length_s)}."
    if answer["moves"] and stay_s is not None:
        done += f" Without a move: {words.length(stay_s)}."
    elif answer["moves"]:
        done += " Without a move it is not done evenly, or not at all."
    elif answer["best_length_s"] is not None and length_s - answer["best_length_s"] > _GAIN_WORTH_TELLING_S:
        gain = words.length(length_s - answer["best_length_s"])
        done = f"Leave it there: moving would save no more than {gain}. {done}"
    else:
        done = f"Leave it there. {done}"
    return done


def evenness_sentence(answer: Mapping[str, Any]) -> str:
    """How even the dose is over the sheet."""
    low, high = answer["evenness"]["lowest_stops"], answer["evenness"]["highest_stops"]
    if answer["begin"]["distance_m"] is None:
        return "In the open all of the sheet gets the same."
    if high is None:
        return "No part of the sheet gets any light."
    least = "none" if low is None else _stops(low)
    said = f"Evenness: least {least}, most {_stops(high)}, in stops from the target."
    if answer["outcome"] == "uneven":
        return f"No plan found is as even as asked; this one comes closest. {said}"
    return said


def edge_sentence(edge: Mapping[str, Any]) -> str:
    """How the shadow's edge of an object on the sheet blurs."""
    return (
        f"Edges: {edge['edge_blur_mm']:.2f} mm of blur under an object {edge['object_height_mm']:g} mm high"
        f" (the sun's way {edge['wander_mm']:.2f} mm, its disc {edge['disc_mm']:.2f} mm;"
        f" {100.0 * edge['diffuse_share']:.0f} % of the light comes from the sky)."
    )


def _draw_map(console: "Console", answer: Mapping[str, Any]) -> None:
    rows = answer["dose_map_stops"]
    # a leaning sheet is drawn as it stands, a flat one as it lies before someone who looks out
    standing = answer["begin"]["tilt_deg"] > 0.0
    top, bottom = ("upper edge", "lower edge") if standing else ("toward the wall", "away from it")
    console.print("Dose over the sheet, in stops from the target; left and right as one looks out:")
    console.print(f"  {top}", style="dim")
    for row in reversed(rows) if standing else rows:
        console.print("  " + " ".join(f"{'none' if dose is None else _stops(dose):>6}" for dose in row))
    console.print(f"  {bottom}", style="dim")


def _stops(value: float) -> str:
    return f"{round(value, 2) + 0.0:+.2f}"  # adding nothing takes the sign off a zero


def _search_words(answer: Mapping[str, Any]) -> str:
    count, inside = answer["places_tried"], answer["begin"]["distance_m"] is not None
    if count == 1:
        return f"one {'place' if inside else 'aim'} tried"
    tried = f"{count} {'places' if inside else 'aims'} tried"
    if answer["proven"]:
        return f"{tried}, no better plan among them"
    if answer["within_share"] is None:
        return f"{tried}, the best plan found"
    return f"{tried}, the plan at most {100.0 * answer['within_share']:.0f} % longer than the best could be"
