"""What is said of a session plan, in the words of someone who reads the list aloud across the yard."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from noonframe.api.session_ask import Wanted
from noonframe.api.session_make import Made, last_start_s
from noonframe.api.wording import say_clock, say_length
from noonframe.bench.session import Placed, Quality
from noonframe.bench.session_reasons import Reason, WhyNot
from noonframe.bench.wording import dose_words, plural

_UNSURE = 0.9
_TIGHT_S = 2 * 3600.0
_MOST_NAMED = 5


class Speaker:
    """Says times of a session by the clock of its place; the day is named only where it is another."""

    def __init__(self, zone: ZoneInfo, day_s: float) -> None:
        self._zone, self._day_s = zone, day_s

    def clock(self, unix_s: float) -> str:
        """A time of day."""
        return say_clock(unix_s, self._zone, self._day_s)


def head(name: str) -> str:
    """A name at the head of a sentence."""
    return name[:1].upper() + name[1:]


def say_planned(name: str, placed: Placed, speak: Speaker) -> str:
    """A planned sheet in one sentence."""
    moves = f", moved {plural(len(placed.moves_s), 'time')}" if placed.moves_s else ""
    return (
        f"{head(name)}: load at {speak.clock(placed.load_s)}; in the light {speak.clock(placed.start_s)} to "
        f"{speak.clock(placed.end_s)} ({placed.spot}, {placed.frame}{moves}); "
        f"washed by {speak.clock(placed.done_s)}."
    )


def say_why(name: str, sheet: Wanted, why: WhyNot, made: Made, speak: Speaker) -> str:
    """Why a sheet does not fit, with figures."""
    reason = why.reason
    if reason in (Reason.TOO_DIM, Reason.NO_TIME, Reason.UNEVEN):
        return f"{head(name)} does not fit: {_of_the_light(sheet, why, made, speak)}."
    if reason is Reason.TOO_LATE and why.could_be_done_s is not None:
        limit_s, whose = made.session.until_s, "the end of the session"
        if sheet.asked.done_by is not None and sheet.asked.done_by.timestamp() < limit_s:
            limit_s, whose = sheet.asked.done_by.timestamp(), "its limit"
        after = say_length(why.could_be_done_s - limit_s)
        earliest = speak.clock(why.could_be_done_s)
        return (
            f"{head(name)} does not fit: even alone it is washed at {earliest} at the earliest, "
            f"{after} after {speak.clock(limit_s)}, {whose}."
        )
    frames = sum(kind.count for kind in made.session.frames)
    busy = {
        Reason.FRAMES_BUSY: f"{'the frame is' if frames == 1 else f'all {frames} frames are'} taken",
        Reason.HANDS_BUSY: "the one pair of hands is busy or on a break",
        Reason.TRAY_FULL: f"the wash tray is full ({plural(made.session.work.tray_holds, 'sheet')})",
        Reason.SPOT_FULL: "its spot has no room for another frame",
    }
    return (
        f"{head(name)} does not fit: {busy.get(reason, busy[Reason.HANDS_BUSY])} whenever its light would do."
    )


def _of_the_light(sheet: Wanted, why: WhyNot, made: Made, speak: Speaker) -> str:
    session = made.session
    first_s = max(
        session.from_s, sheet.asked.earliest.timestamp() if sheet.asked.earliest else session.from_s
    )
    first_s += session.work.before_s
    target = sheet.target.target_j_m2
    best = max(sheet.lights.values(), key=lambda light: light.dose(first_s, light.light_until_s(first_s)))
    until_s = min(best.light_until_s(first_s), session.until_s)
    dose = best.dose(first_s, max(until_s, first_s))
    if dose <= 0.0:
        return f"there is no light left after {speak.clock(first_s)}"
    if why.reason is Reason.UNEVEN:
        choice = next(each for each in made.understood.spots if each.name == best.spot)
        remedy = "let the frame be moved, or allow more" if choice.asked.moves == "none" else "allow more"
        allowed = choice.asked.evenness_stops or 0.0
        return (
            f"wherever it has its dose at {best.spot}, a part of the sheet is more than {allowed:g} stops "
            f"off; {remedy}"
        )
    span = say_length(max(until_s - first_s, 0.0))
    if why.reason is Reason.NO_TIME:
        return f"of the light of {best.spot} only {span} are left from {speak.clock(first_s)}"
    share = 100.0 * dose / target
    short = f"{share:.0f} %" if share < 99.0 else "not quite all"
    return (
        f"it needs {dose_words(target)}, and the {span} of light from {speak.clock(first_s)} to "
        f"{speak.clock(until_s)} give {short} of that at best ({best.spot})"
    )


def say_bound(quality: Quality, sheets: int) -> str:
    """How good the plan is, and how that is known."""
    if not sheets:
        return "There is nothing left to plan."
    if not quality.most_proven:
        more = quality.left_weight - quality.left_bound
        return f"Up to {more} more (by priority) might fit: the search has not ruled it out."
    if quality.proven:
        return "No better plan exists on this grid of starts."
    share = quality.within_share
    most = "No plan gets more done"
    return most + (
        "." if share is None else f", and none is done more than {100.0 * share:.1f} % sooner on the whole."
    )


def say_summary(made: Made, names: Sequence[str], planned: int, running: int, speak: Speaker) -> str:
    """The plan in one sentence; `names` are those left out."""
    if not made.plan.placed:
        opening = "Nothing is left to plan" if not names else "Nothing fits into this session"
    else:
        first = min(made.plan.placed, key=lambda each: each.load_s)
        last = max(made.plan.placed, key=lambda each: each.done_s)
        opening = (
            f"{plural(planned, 'sheet')} planned, from {speak.clock(first.load_s)}; "
            f"the last is washed at {speak.clock(last.done_s)}"
        )
    parts = [opening]
    if running:
        parts.append(f"{running} in the light now")
    if names:
        shown = ", ".join(names[:_MOST_NAMED]) + (" and more" if len(names) > _MOST_NAMED else "")
        parts.append(f"{len(names)} {'does' if len(names) == 1 else 'do'} not fit: {shown}")
    return "; ".join(parts) + "."


def advice_for(
    made: Made, names: dict[str, str], chances: dict[str, tuple[float, float]], speak: Speaker
) -> list[str]:
    """Which sheets to do first, and which to watch; `chances` are those by end and by limit."""
    placed = sorted(made.plan.placed, key=lambda each: each.load_s)
    if not placed:
        return []
    found = []
    first = placed[0]
    spare = []
    for each in placed:
        last_s = last_start_s(made, each.sheet_id)
        if last_s is not None:
            spare.append((last_s - each.start_s, last_s, each))
    spare.sort(key=lambda item: (item[0], item[2].load_s))
    if spare and spare[0][0] < _TIGHT_S:
        slack_s, last_s, tight = spare[0]
        when = f"it can be begun no later than {speak.clock(last_s)}, "
        when += "as planned" if slack_s < 60.0 else f"{say_length(slack_s)} after the plan"
        found.append(f"{head(names[tight.sheet_id])} has the least to spare: {when}.")
    unsure = sorted(
        (chances[each.sheet_id][1], each.load_s, each) for each in placed if each.sheet_id in chances
    )
    worst = [item for item in unsure if item[0] < _UNSURE]
    if worst:
        chance, _, each = worst[0]
        said = f"{head(names[each.sheet_id])} is the least sure to be done in time ({100.0 * chance:.0f} %)"
        rest = len(worst) - 1
        also = (
            f"; so {'is' if rest == 1 else 'are'} {rest} more below {100.0 * _UNSURE:.0f} %" if rest else ""
        )
        earlier = each is not first
        found.append(
            f"{said}{also}. {'Do it first if it matters most.' if earlier else 'It goes first already.'}"
        )
    found.insert(0, f"Begin with {names[first.sheet_id]}, at {speak.clock(first.load_s)}.")
    return found
