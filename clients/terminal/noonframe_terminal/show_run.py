"""Runs: what one of them is at, all of them as a table, and the line that follows one."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from noonframe_terminal import words
from noonframe_terminal.finding import short, title
from noonframe_terminal.show_exposure import draw_basis, draw_cautions, target_words
from noonframe_terminal.telling import event_words

if TYPE_CHECKING:
    from rich.console import Console

_SAME_S = 15.0
_UNSEEN = 0.01


def draw_run(
    console: "Console",
    run: Mapping[str, Any],
    events: Sequence[Mapping[str, Any]] = (),
    *,
    usual: bool = False,
) -> None:
    """Everything `noonframe run show` shows; `usual` as for `draw_basis`."""
    for line in run_sentences(run):
        console.print(line, style="bold")
    console.print()
    if run["status"] in ("running", "covered"):
        console.print(sky_sentence(run) if "lamp" not in run["basis"] else _lamp_sentence(run))
    if run["events_ahead"]:
        console.print(f"Told for later than now, and not counted yet: {run['events_ahead']}.")
    if run["readings_unused"]:
        console.print(f"Meter readings that could not be compared: {run['readings_unused']}.")
    if events:
        console.print("Told:")
        for event in sorted(events, key=lambda one: (words.moment(one["at"]), one["sequence"])):
            console.print(f"  {words.clock(words.moment(event['at']), seconds=True)}  {event_words(event)}")
    draw_cautions(console, run)
    draw_basis(console, run, target_words(run), usual=usual)


def run_sentences(run: Mapping[str, Any]) -> list[str]:
    """Where the run stands, when it ends, what to do."""
    said = [f"{title(run)} {_standing(run)}."]
    ends = end_sentence(run)
    if ends is not None:
        said.append(ends)
    if run["status"] not in ("finished", "discarded"):
        said.append(run["advice"])
    return said


def _standing(run: Mapping[str, Any]) -> str:
    share = _percent(run["dose_share"])
    day = words.moment(run["at"]).date()
    match run["status"]:
        case "running":
            return f"is in the light since {_at(run['start'], day)}, with {share} of its dose"
        case "covered":
            return f"is covered, with {share} of its dose"
        case "finished" | "discarded":
            return f"was {run['status']} at {_at(run['stopped'] or run['at'], day)}, with {share} of its dose"
        case other:
            return f"is {other}"


def _percent(share: float) -> str:
    """A share of the dose; a whole only when it is there."""
    percent = 100.0 * share
    return f"{percent:.0f} %" if percent >= 100.0 else f"{min(percent, 99.0):.0f} %"


def _at(text: str, day: dt.date) -> str:
    when = words.moment(text)
    return f"{words.clock(when)}{words.on_day(when, day)}"


def end_sentence(run: Mapping[str, Any]) -> str | None:
    """When it ends, how sure that is, and what other skies would do; None without an end to tell."""
    if run["status"] != "running" or run["reached"] or run["end"] is None:
        return None
    at, end = words.moment(run["at"]), words.moment(run["end"])
    said = f"Ends at {words.clock(end, seconds=True)}, in {words.length(run['remaining_s'])}."
    if run["end_low"] is not None and run["end_high"] is not None:
        low, high = (words.clock(words.moment(run[key])) for key in ("end_low", "end_high"))
        if low != high:
            said += f" Eight times in ten between {low} and {high}."
    elif run["end_low"] is not None:
        said += (
            f" Not before {words.clock(words.moment(run['end_low']))}; at the slow end the light goes first."
        )
    for key, sky in (("if_sun_stays_s", "the sun stays out"), ("if_cloud_covers_s", "cloud covers the sun")):
        after_s = run[key]
        if after_s is not None and abs(after_s - run["remaining_s"]) > max(60.0, 0.1 * run["remaining_s"]):
            said += f" If {sky}: {words.clock(at + dt.timedelta(seconds=after_s))}."
    return said


def sky_sentence(run: Mapping[str, Any]) -> str:
    """What the sky is taken to be, and from what."""
    sky = run["sky"]
    said = f"Sky taken for now: {sky['says']}"
    if sky["seen_at"] is not None and sky["weight"] > _UNSEEN:
        said += f" (seen at {words.clock(words.moment(sky['seen_at']))}"
        said += ")" if sky["weight"] > 1.0 - _UNSEEN else f", by now {100.0 * sky['weight']:.0f} % of it)"
    if sky["metered"] != 1.0:
        said += f"; the meter makes it {sky['metered']:.2f} of that"
    return f"{said}."


def _lamp_sentence(run: Mapping[str, Any]) -> str:
    if run["status"] == "covered":
        return "The lamp counts as off; noonframe run tell lamp-on goes on."
    return f"Under the lamp: {run['effective_w_m2']:.3g} W/m² effective now."


def told_sentences(told: Mapping[str, Any], before: Mapping[str, Any]) -> list[str]:
    """An event that was kept, and what it changes."""
    run, event = told["run"], told["event"]
    when = words.clock(words.moment(event["at"]), seconds=True)
    first = f"{title(run)}: {event_words(event)} at {when}."
    if run["status"] in ("finished", "discarded"):
        return [first, run["advice"]]
    moved = end_moved(run, before)
    return [first, *([moved] if moved else []), *(run_sentences(run)[1:])]


def end_moved(run: Mapping[str, Any], before: Mapping[str, Any]) -> str | None:
    """By how much the end has moved; None where there is nothing to compare."""
    if any(one["status"] != "running" or one["end"] is None or one["reached"] for one in (run, before)):
        return None
    later_s = (words.moment(run["end"]) - words.moment(before["end"])).total_seconds()
    if abs(later_s) < _SAME_S:
        return "The end stays where it was."
    return f"The end moves {words.length(abs(later_s))} {'later' if later_s > 0.0 else 'sooner'}."


def draw_runs(console: "Console", runs: Sequence[Mapping[str, Any]]) -> None:
    """Runs as a table, newest first."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    if not runs:
        console.print("No runs. noonframe run start puts a print into the light.")
        return
    table = Table(box=SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0), header_style="")
    table.add_column("Id", no_wrap=True)
    table.add_column("Print", overflow="fold")
    table.add_column("Is", no_wrap=True)
    table.add_column("Started", no_wrap=True)
    table.add_column("Target J/m²", justify="right", no_wrap=True)
    for run in runs:
        when = words.moment(run["created"]).strftime("%Y-%m-%d %H:%M")
        table.add_row(short(run["id"]), run["name"], run["status"], when, f"{run['target_j_m2']:g}")
    console.print(table)


def watch_line(run: Mapping[str, Any], now: dt.datetime, away: str | None = None) -> str:
    """The run in one line, as it stands at `now`; `away` says why nothing newer is known."""
    line = f"{words.clock(now, seconds=True)}  {_share_by(run, now):>5}"
    return f"{line}  {'(no contact) ' if away is not None else ''}{_going(run, now)}"


def _share_by(run: Mapping[str, Any], now: dt.datetime) -> str:
    """The share at `now`, carried on from the last state by the light of then."""
    share = run["dose_share"]
    if run["status"] == "running":
        since_s = (now - words.moment(run["at"])).total_seconds()
        share += since_s * run["effective_w_m2"] / run["target_j_m2"]
    return _percent(max(share, 1.0) if is_due(run, now) else share)


def _going(run: Mapping[str, Any], now: dt.datetime) -> str:
    if is_due(run, now):
        over_stops = run["over_stops"]
        over = f", {over_stops:.1f} stops over" if over_stops >= 0.1 else ""
        return f"it has had its dose{over}: take it in"
    if run["status"] == "running" and run["end"] is not None:
        end = words.moment(run["end"])
        left = words.length((end - now).total_seconds())
        said = f"ends at {words.clock(end, seconds=True)}, in {left}"
        if run["end_low"] is not None and run["end_high"] is not None:
            low, high = (words.clock(words.moment(run[key])) for key in ("end_low", "end_high"))
            said += f" ({low} to {high})" if low != high else ""
        return f"{said}; {run['sky']['says']}"
    return str(run["advice"])


def is_due(run: Mapping[str, Any], now: dt.datetime) -> bool:
    """Whether a run in the light has had its dose by `now`."""
    if run["status"] != "running":
        return False
    return run["reached"] or (run["end"] is not None and now >= words.moment(run["end"]))
