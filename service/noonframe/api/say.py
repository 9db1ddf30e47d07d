"""One-line answers: a sentence to be spoken, and the same as flat JSON."""

import datetime as dt
from typing import Any, Literal
from zoneinfo import ZoneInfo

from noonframe.api.outputs import ExposureAnswer, MovesAnswer, SayAnswer, SlotsAnswer
from noonframe.api.say_outputs import SayNextMove, SayTomorrow
from noonframe.api.wording import say_clock, say_length

Of = Literal["plan", "session", "run", "nothing"]
_JUST_NOW_S = 90.0


def flat_answer(answer: ExposureAnswer) -> SayAnswer:
    """An exposure without nesting."""
    return SayAnswer(
        summary=answer.summary,
        reached=answer.reached,
        minutes=minutes_of(answer.length_s),
        seconds=None if answer.length_s is None else round(answer.length_s),
        start=answer.start,
        end=answer.end,
        end_epoch=epoch_of(answer.end),
        minutes_low=minutes_of(answer.length_low_s),
        minutes_high=minutes_of(answer.length_high_s),
        next_start=answer.next_start,
        caution=first(answer.cautions),
    )


def tomorrow_answer(answer: SlotsAnswer, day: dt.date) -> SayTomorrow:
    """The best slot of a day's answer, which is told as tomorrow's."""
    best: dict[str, Any] = answer.slots[0].model_dump() if answer.slots else {}
    length_s = best.get("length_s")
    times = ("best_start", "best_end", "first_start", "last_start")
    return SayTomorrow(
        summary=_say_tomorrow(answer),
        found=bool(best),
        date=day.isoformat(),
        **{name: best.get(name) for name in times},
        **{f"{name}_epoch": epoch_of(best.get(name)) for name in times},
        minutes=minutes_of(length_s),
        seconds=None if length_s is None else round(length_s),
        minutes_low=minutes_of(best.get("length_low_s")),
        minutes_high=minutes_of(best.get("length_high_s")),
        pace=best.get("pace"),
        sky=answer.basis.sky.says,
        next_start=answer.next_start,
        next_start_epoch=epoch_of(answer.next_start),
        caution=first(answer.cautions),
    )


def _say_tomorrow(answer: SlotsAnswer) -> str:
    zone = ZoneInfo(answer.basis.time_zone)
    if not answer.slots:
        if answer.next_start is None:
            return "Tomorrow there is not enough light, nor on any day of the year after it."
        when = say_clock(unix_of(answer.next_start), zone, 0.0)  # seen from 1970 it is told with its date
        length = say_length(answer.next_length_s or 0.0)
        return f"Tomorrow there is not enough light; the next chance is {when}, for {length}."
    best = answer.slots[0]
    begin, early, late = (unix_of(text) for text in (best.best_start, best.first_start, best.last_start))
    clock = {at_s: say_clock(at_s, zone, begin) for at_s in (begin, early, late)}
    starts = f"starts from {clock[early]} to {clock[late]} are {best.pace}"
    if early == late:
        starts = f"the only start is {best.pace}"
    return f"Tomorrow begin at {clock[begin]}, for {say_length(best.length_s or 0.0)}; {starts}."


def next_in_plan(answer: MovesAnswer, now_s: float) -> SayNextMove:
    """The first move of a plan that lies ahead, or that none does."""
    zone = ZoneInfo(answer.basis.time_zone)
    ahead = [move for move in answer.moves if unix_of(move.time) > now_s]
    move = ahead[0] if ahead else None
    if move is not None:
        more, onto = len(ahead) - 1, "turn it:" if move.to.distance_m is None else "move it to"
        after = (
            ""
            if not more
            else "; one more move comes after it"
            if more == 1
            else f"; {more} more come after it"
        )
        summary = f"At {say_clock(unix_of(move.time), zone, now_s)} {onto} {move.says}{after}."
    elif not answer.reached or answer.end is None:
        summary = answer.summary
    else:
        end = say_clock(unix_of(answer.end), zone, now_s)
        begun = unix_of(answer.start) < now_s - _JUST_NOW_S
        opening = "No move is left" if begun else f"No move is needed: lay it {answer.begin_says}"
        summary = f"{opening}; the dose is there at {end}."
    return next_move(
        summary,
        of="plan",
        says=None if move is None else move.says,
        at=None if move is None else move.time,
        now_s=now_s,
        moves_left=len(ahead),
        end=answer.end,
        caution=first(answer.cautions),
    )


def next_move(
    summary: str,
    *,
    of: Of,
    now_s: float,
    name: str | None = None,
    says: str | None = None,
    at: str | None = None,
    moves_left: int = 0,
    end: str | None = None,
    caution: str | None = None,
) -> SayNextMove:
    """A next thing to do, with the time until then."""
    left_s = None if at is None else unix_of(at) - now_s
    return SayNextMove(
        summary=summary,
        found=at is not None,
        of=of,
        name=name,
        says=says,
        at=at,
        at_epoch=epoch_of(at),
        minutes_left=minutes_of(left_s),
        seconds_left=None if left_s is None else round(left_s),
        moves_left=moves_left,
        end=end,
        end_epoch=epoch_of(end),
        caution=caution,
    )


def minutes_of(length_s: float | None) -> float | None:
    """Seconds as minutes, to a tenth."""
    return None if length_s is None else round(length_s / 60.0, 1)


def epoch_of(text: str | None) -> int | None:
    """Whole unix seconds of an answer's time."""
    return None if text is None else round(unix_of(text))


def unix_of(text: str) -> float:
    """Unix seconds of an answer's time, which always has an offset."""
    return dt.datetime.fromisoformat(text).timestamp()


def first(texts: list[str]) -> str | None:
    """The first of some texts."""
    return texts[0] if texts else None
