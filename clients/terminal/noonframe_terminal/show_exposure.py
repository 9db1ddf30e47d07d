"""The answer to "how long": sentences first, then the range, the cautions and what it rests on."""

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from noonframe_terminal import words
from noonframe_terminal.options import USUAL_STACK

if TYPE_CHECKING:
    from rich.console import Console

_TELLING = 1.1  # another sky is worth a sentence when it changes the length by more than this
_UNEVEN_STOPS = 0.5
_WHOLE_DAY_S = 86400.0


def draw_exposure(
    console: "Console", answer: Mapping[str, Any], now: dt.datetime, *, usual: bool = True
) -> None:
    """Everything `noonframe now` shows; `now` in the place's zone tells which dates need saying."""
    for line in exposure_sentences(answer, now):
        console.print(line, style="bold")
    for move in answer["moves"]:
        saves = f" (saves {words.length(move['saves_s'])})" if move["saves_s"] else ""
        console.print(f"{words.clock(words.moment(move['time']))}: {move['says']}{saves}")
    for item in answer.get("objects") or ():
        console.print(object_sentence(item))
    draw_cautions(console, answer)
    draw_basis(console, answer, target_words(answer), usual=usual)


def object_sentence(item: Mapping[str, Any]) -> str:
    """What the part of the sheet under an object gets."""
    if item["stops_less"] is None:
        return f"{item['label']}: no light, {item['says']}."
    low, high = item["stops_less_low"], item["stops_less_high"]
    return f"{item['label']}: about {low:.0f} to {high:.0f} stops less, {item['says']}."


def exposure_sentences(answer: Mapping[str, Any], now: dt.datetime) -> list[str]:
    """What to do, in order of weight."""
    return _reached(answer, now) if answer["reached"] else _unreached(answer, now)


def _reached(answer: Mapping[str, Any], now: dt.datetime) -> list[str]:
    length_s = answer["length_s"]
    start, end = words.moment(answer["start"]), words.moment(answer["end"])
    short = length_s < 120.0
    until = f"until {words.clock(end, seconds=short)}"
    if abs((start - now).total_seconds()) < 90.0:
        when = f", {until}{words.on_day(end, now.date())}"
    elif words.on_day(start, now.date()) == words.on_day(end, now.date()):
        when = f" from {words.clock(start, seconds=short)} {until}{words.on_day(end, now.date())}"
    else:
        begins = f"{words.clock(start, seconds=short)}{words.on_day(start, now.date()) or ' today'}"
        when = f" from {begins} {until}{words.on_day(end, now.date())}"
    first = f"Expose {words.length(length_s)}{when}.{_other_skies(answer)}"
    return [first, *_uneven(answer), range_sentence(answer)]


def _uneven(answer: Mapping[str, Any]) -> list[str]:
    """A warning where a sheet would come out unevenly lit, inside a window or near a lamp."""
    evenness = answer.get("evenness")
    if evenness is None or evenness["lowest_stops"] is None or evenness["highest_stops"] is None:
        return []
    spread = evenness["highest_stops"] - evenness["lowest_stops"]
    if spread <= _UNEVEN_STOPS:
        return []
    if under_lamp(answer):
        return [
            f"Uneven: the sheet's parts lie {spread:.1f} stops apart. More distance, or more tubes, evens it."
        ]
    return [
        f"Left there it comes out uneven: its parts lie {spread:.1f} stops apart, as the patch of sun goes on"
        " without it. noonframe moves, with the same options, tells where to move it and when."
    ]


def range_sentence(answer: Mapping[str, Any]) -> str:
    """How sure the length is."""
    low_s, high_s = answer["length_low_s"], answer["length_high_s"]
    if high_s is None and under_lamp(answer):
        return f"Eight times in ten it takes {words.length(low_s)} or more, perhaps over a day."
    if high_s is None:
        return (
            f"Eight times in ten it takes {words.length(low_s)} or more;"
            " at the slow end the light goes first."
        )
    return f"Eight times in ten it takes {words.length(low_s)} to {words.length(high_s)}."


def _other_skies(answer: Mapping[str, Any]) -> str:
    if under_lamp(answer):
        return ""
    length_s, covered_s, out_s = answer["length_s"], answer["if_cloud_covers_s"], answer["if_sun_stays_s"]
    said = ""
    if out_s is not None and length_s > _TELLING * out_s:
        said += f" If the sun comes out and stays: {words.length(out_s)}."
    if covered_s is None:
        said += " If cloud covers the sun, the light goes before the sheet has enough."
    elif covered_s > _TELLING * length_s:
        said += f" If cloud covers the sun: {words.length(covered_s)}."
    return said


def _unreached(answer: Mapping[str, Any], now: dt.datetime) -> list[str]:
    if under_lamp(answer):
        return [str(answer["summary"])]
    start = words.moment(answer["start"])
    ends = None if answer["light_end"] is None else words.moment(answer["light_end"])
    if ends is not None and ends <= start:
        opening = f"It is dark at {words.clock(start)}{words.on_day(start, now.date())}."
    else:
        share = min(max(round(answer["dose_share"] * 100), 1), 99)
        by = "in a whole day"
        if ends is not None and (ends - start).total_seconds() < _WHOLE_DAY_S:
            by = f"by dark, at {words.clock(ends)}{words.on_day(ends, now.date())}"
        opening = f"There is not enough light: {share} % of the dose {by}."
    return [opening, next_chance(answer, now)]


def next_chance(answer: Mapping[str, Any], now: dt.datetime) -> str:
    """When an exposure that cannot be made now can be made."""
    if answer["next_start"] is None:
        return "No day in the coming year gives enough."
    begin = words.moment(answer["next_start"])
    when = f"{words.clock(begin)}{words.on_day(begin, now.date())}"
    return f"The next chance: {when}, for {words.length(answer['next_length_s'])}."


def draw_cautions(console: "Console", answer: Mapping[str, Any]) -> None:
    """One paragraph of cautions, if there are any."""
    if answer["cautions"]:
        console.print()
        for caution in answer["cautions"]:
            console.print(f"Caution: {caution}")


def target_words(answer: Mapping[str, Any]) -> str:
    """The target and who says so."""
    dose = answer["target_j_m2"]
    said = f"{dose:.0f}" if dose >= 1000.0 else f"{dose:.10g}"  # a learned one has digits that mean nothing
    return f"target {said} J/m² ({answer['target_source']})"


def draw_basis(console: "Console", answer: Mapping[str, Any], *more: str, usual: bool = True) -> None:
    """What the answer rests on, dim, because it is there to be checked rather than read.

    `usual` where the usual frame may have been taken for want of another, and can be changed.
    """
    basis = answer["basis"]
    stack = ",".join(basis["stack"])
    if not stack:
        behind = "a bare sheet, nothing over it"
    elif usual and stack == USUAL_STACK:
        behind = f"behind {' and '.join(basis['stack'])}, the usual frame (--stack changes it)"
    else:
        behind = f"behind {' and '.join(basis['stack'])}"
    parts = [
        *(lamp_words(basis) if "lamp" in basis else _sun_words(basis)),
        behind,
        basis["sensitizer"],
        *more,
        *basis["notes"],
    ]
    console.print()
    console.print(f"Basis: {'; '.join(parts)}.", style="dim")


def _sun_words(basis: Mapping[str, Any]) -> list[str]:
    place = f"{basis['place']}, clock of {basis['time_zone']}"
    return [place, basis["sky"]["evidence"], *weather_words(basis), basis["spot"]]


def lamp_words(basis: Mapping[str, Any]) -> list[str]:
    """The lamp, how its light is known, and what it gives."""
    said = [
        basis["lamp"],
        f"{basis['uva_w_m2']:.3g} W/m² of UVA when warm, ± {basis['spread_stops']:.1f} stops",
    ]
    if basis["age_share"] < 1.0:
        said.append(f"{100.0 * (1.0 - basis['age_share']):.0f} % lost with age")
    if basis["time_zone"] is not None:
        said.append(f"clock of {basis['time_zone']}")
    return said


def under_lamp(answer: Mapping[str, Any]) -> bool:
    """Whether an answer is about a lamp in place of the sun."""
    return "lamp" in answer.get("basis", ())


def weather_words(basis: Mapping[str, Any]) -> list[str]:
    """Whose forecast it is, how old, and why no better one was to be had."""
    weather = basis.get("weather")
    if weather is None:
        return []
    said = []
    if weather["attribution"] is not None:
        aged = "" if weather["age_s"] is None else f", {words.length(weather['age_s'])} old"
        said.append(f"{weather['attribution']}{aged}")
    return [*said, *weather["why"]]
