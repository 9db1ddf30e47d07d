"""What is in the light and what is next to be done, in one sentence and flat."""

import datetime as dt
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from noonframe.api.calendar_session import PlanStep, SessionPlan
from noonframe.api.outputs_runs import RunAnswer
from noonframe.api.runs import RunDesk
from noonframe.api.say import epoch_of, first, minutes_of, next_move, unix_of
from noonframe.api.say_outputs import SayNextMove, SayRunning
from noonframe.api.wording import say_clock, say_length

if TYPE_CHECKING:
    from noonframe.store.sessions import SessionFields
    from noonframe.store.versioned import Saved

MOST_RUNNING = 20
_MOST_NAMED = 4
_LATE_S = 60.0
_FORGOTTEN_S = 86400.0
_NO_NAME = "the print"
_NOT_AT_ALL = float("inf")
NOTHING = "Nothing is in the light."


def runs_under_way(desk: RunDesk, now_s: float, name: str | None = None) -> list[RunAnswer]:
    """The newest exposures under way, the next to finish first; with `name` only those called so.

    One that had its dose more than a day ago was forgotten, and comes last.
    """
    from noonframe.store import exposures
    from noonframe.store.exposures import ExposureStatus
    from noonframe.store.versioned import folded

    under_way = (ExposureStatus.RUNNING, ExposureStatus.COVERED)
    with desk.records.open().read() as db:
        rows = exposures.newest(db, statuses=under_way, limit=MOST_RUNNING)
    wanted = None if name is None else folded(name)
    runs = [desk.state(row.id, now_s) for row in rows if wanted is None or folded(row.name) == wanted]
    return sorted(runs, key=lambda run: (_is_forgotten(run, now_s), _done_s(run)))


def _done_s(run: RunAnswer) -> float:
    text = done_of(run)
    return _NOT_AT_ALL if text is None else unix_of(text)


def _is_forgotten(run: RunAnswer, now_s: float) -> bool:
    return run.reached and _done_s(run) < now_s - _FORGOTTEN_S


def done_of(run: RunAnswer) -> str | None:
    """When a print has its dose, or had it; None when the light does not suffice."""
    return run.reached_at if run.reached_at is not None else run.end


def running_answer(runs: list[RunAnswer], now_s: float, name: str | None = None) -> SayRunning:
    """What is in the light."""
    return _flat(_say_running(runs, now_s, name), runs, now_s)


def time_left_answer(runs: list[RunAnswer], now_s: float, name: str | None = None) -> SayRunning:
    """How much longer the next to finish takes."""
    return _flat(_say_time_left(runs, now_s, name), runs, now_s)


def _flat(summary: str, runs: list[RunAnswer], now_s: float) -> SayRunning:
    run: dict[str, Any] = runs[0].model_dump() if runs else {}
    end = done_of(runs[0]) if runs else None
    left_s = 0.0 if run.get("reached") else run.get("remaining_s")
    return SayRunning(
        summary=summary,
        count=len(runs),
        names=", ".join(each.name or _NO_NAME for each in runs),
        run_id=run.get("id"),
        **{field: run.get(field) for field in ("name", "status", "start", "end_low", "end_high")},
        reached=bool(run.get("reached")),
        start_epoch=epoch_of(run.get("start")),
        end=end,
        end_epoch=epoch_of(end),
        minutes_left=minutes_of(left_s),
        seconds_left=None if left_s is None else round(left_s),
        dose_percent=round(100.0 * run["dose_share"]) if run else None,
        sky=(run.get("sky") or {}).get("says"),
        caution=first(run["cautions"]) if run else None,
    )


def _nothing(name: str | None) -> str:
    return NOTHING if name is None else f"Nothing called {name} is in the light."


def _say_running(runs: list[RunAnswer], now_s: float, name: str | None) -> str:
    if not runs:
        return _nothing(name)
    told = [_until(run, now_s) for run in runs]
    if len(runs) == 1:
        run = runs[0]
        percent = round(100.0 * run.dose_share)
        where = "lies covered" if run.status == "covered" else "is in the light"
        ends = "" if run.reached and run.reached_at is None else f", {told[0]}"
        return _sentence(f"{_called(run)} {where} with {percent} per cent of its dose{ends}")
    named = [f"{_called(run)} {words}" for run, words in zip(runs, told, strict=True)][:_MOST_NAMED]
    rest = len(runs) - len(named)
    more = "" if not rest else f", and {rest} more"
    return _sentence(f"{len(runs)} prints are in the light: {', then '.join(named)}{more}")


def _until(run: RunAnswer, now_s: float) -> str:
    at = done_of(run)
    if run.reached:
        return "ready now" if at is None else f"ready since {_clock(run, at, now_s)}"
    if run.status == "covered" or at is None:
        return "waiting under its cover" if run.status == "covered" else "without enough light to finish"
    return f"until {_clock(run, at, now_s)}"


def _say_time_left(runs: list[RunAnswer], now_s: float, name: str | None) -> str:
    if not runs:
        return _nothing(name)
    run, more = runs[0], len(runs) - 1
    at = done_of(run)
    if run.reached:
        since = "" if at is None else f" since {_clock(run, at, now_s)}"
        said = f"{_called(run)} has had its dose{since}: take it in"
    elif run.status == "covered":
        left = (
            "" if run.remaining_s is None else f", and needs {say_length(run.remaining_s)} more of the light"
        )
        said = f"{_called(run)} lies covered{left}"
    elif run.remaining_s is None or at is None:
        said = f"{_called(run)} does not get its dose from the light that is left"
    else:
        said = f"{_called(run)} has {say_length(run.remaining_s)} left, until {_clock(run, at, now_s)}"
        covered_s = run.if_cloud_covers_s
        if covered_s is not None and covered_s > 1.1 * run.remaining_s:
            said += f"; if cloud covers the sun, {say_length(covered_s)}"
    if more:
        said += f"; {more} more {'print is' if more == 1 else 'prints are'} in the light"
    return _sentence(said)


def next_of_runs(runs: list[RunAnswer], now_s: float) -> SayNextMove:
    """The next to be taken in, of what is in the light."""
    if not runs:
        return next_move(
            f"{NOTHING[:-1]}, and no session is on: there is nothing to move.", of="nothing", now_s=now_s
        )
    run = runs[0]
    at = done_of(run)
    says = f"take in {_called(run)}"
    if run.reached:
        summary = f"Now {says}: it has had its dose."
    elif at is None or run.status == "covered":
        summary = f"{_say_time_left(runs[:1], now_s, None)[:-1]}; there is no time for it yet."
        at = None
    else:
        left = say_length(max(unix_of(at) - now_s, 0.0))
        summary = f"Next: {says} at {_clock(run, at, now_s)}, in {left}."
    return next_move(
        summary,
        of="run",
        name=run.name,
        says=says,
        at=at,
        now_s=now_s,
        moves_left=len(runs),
        end=done_of(run),
        caution=first(run.cautions),
    )


def next_of_session(saved: "Saved[SessionFields]", plan: SessionPlan, now_s: float) -> SayNextMove:
    """The next thing that a session's plan has for the hands to do."""
    waiting = [step for step in plan.steps if step.state == "planned" and (step.hands or step.kind == "move")]
    end = max((step.end for step in plan.steps), default=None)
    step = waiting[0] if waiting else None
    name = saved.fields.name
    if step is None:
        summary = f"Nothing more is to be done in the session {name}."
    else:
        at_s = step.start.timestamp()
        clock = say_clock(at_s, _zone(plan), now_s)
        when = f"Next, at {clock}" if at_s > now_s - _LATE_S else f"Due since {clock}"
        summary = _sentence(f"{when}: {_small(step)}")
    return next_move(
        summary,
        of="session",
        name=step.sheet if step is not None and step.sheet else name,
        says=None if step is None else step.says.rstrip("."),
        at=None if step is None else step.start.isoformat(),
        now_s=now_s,
        moves_left=len(waiting),
        end=None if end is None else end.isoformat(),
        caution=plan.cautions[0] if plan.cautions and step is not None else None,
    )


def _small(step: PlanStep) -> str:
    """What a step says, to stand within a sentence."""
    says = step.says.rstrip(".")
    keeps = step.sheet is not None and says.startswith(step.sheet)
    return says if keeps else says[:1].lower() + says[1:]


def _zone(plan: SessionPlan) -> ZoneInfo:
    return ZoneInfo("UTC" if plan.basis is None else plan.basis.time_zone)


def _clock(run: RunAnswer, at: str, now_s: float) -> str:
    zone = run.basis.time_zone  # under a lamp there may be none: the answer's own offset will do
    return say_clock(
        unix_of(at), dt.datetime.fromisoformat(at).tzinfo or dt.UTC if zone is None else ZoneInfo(zone), now_s
    )


def _called(run: RunAnswer) -> str:
    return " ".join(run.name.split()) or _NO_NAME


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."
