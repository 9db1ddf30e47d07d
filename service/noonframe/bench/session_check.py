"""A plan held against what was asked of it, in seconds and by itself: it shares nothing with the search."""

from collections.abc import Sequence

from noonframe.bench.session import Session
from noonframe.bench.session_plan import SessionPlan

_SAME_S = 1e-6

Span = tuple[float, float]


def faults_of(session: Session, plan: SessionPlan) -> tuple[str, ...]:
    """Everything that is wrong with a plan, in words; nothing where it can be done as it says.

    What is under way is given: where two sheets in the light need the hands at once, that is no fault of the
    plan.
    """
    return (
        *_nothing_lost(session, plan),
        *_times(session, plan),
        *_hands(session, plan),
        *_frames(session, plan),
        *_tray(session, plan),
        *_room(session, plan),
    )


def _nothing_lost(session: Session, plan: SessionPlan) -> list[str]:
    told = sorted([*(placed.sheet_id for placed in plan.placed), *plan.left_out])
    asked = sorted(sheet.id for sheet in session.sheets)
    return [] if told == asked else [f"sheets asked for {asked}, told of {told}"]


def _times(session: Session, plan: SessionPlan) -> list[str]:
    faults = []
    sheets = {sheet.id: sheet for sheet in session.sheets}
    for placed in plan.placed:
        sheet = sheets[placed.sheet_id]
        chances = sheet.chances[placed.chance]
        given = float(chances.start_s[placed.index]), float(chances.end_s[placed.index])
        if (placed.start_s, placed.end_s) != given or placed.spot != chances.spot:
            faults.append(f"{sheet.id} is not exposed as it can be")
        begins = max(session.from_s, session.from_s if sheet.earliest_s is None else sheet.earliest_s)
        ends = min(session.until_s, session.until_s if sheet.done_by_s is None else sheet.done_by_s)
        if placed.load_s < begins - _SAME_S or placed.done_s > ends + _SAME_S:
            faults.append(f"{sheet.id} is outside its time")
        work = session.work
        steps = (
            placed.start_s - placed.load_s - work.load_s - work.carry_s,
            placed.unloaded_s - placed.end_s - work.carry_s - work.unload_s,
            placed.washed_s - placed.unloaded_s - work.wash_s,
            placed.done_s - placed.washed_s - work.soak_s,
        )
        if max(abs(step) for step in steps) > 1e-3:
            faults.append(f"{sheet.id} takes other times than the work does")
    return faults


def _hands(session: Session, plan: SessionPlan) -> list[str]:
    work = session.work
    planned: list[tuple[Span, str]] = []
    given: list[tuple[Span, str]] = [(each, "a break") for each in session.breaks]
    for placed in plan.placed:
        name = placed.sheet_id
        planned += [((placed.load_s, placed.start_s), name), ((placed.end_s, placed.washed_s), name)]
        planned += [((move_s, move_s + work.move_s), name) for move_s in placed.moves_s]
    for sheet in session.running:
        given.append(((sheet.end_s, sheet.end_s + work.after_s), sheet.sheet_id))
        given += [((move_s, move_s + work.move_s), sheet.sheet_id) for move_s in sheet.moves_s]
    for wet in session.washing:
        given.append(((wet.end_s, wet.end_s + work.after_s), wet.sheet_id))
    faults = []
    for number, (span, name) in enumerate(planned):
        for other, other_name in [*planned[number + 1 :], *given]:
            if _meet(span, other):
                faults.append(f"hands: {name} and {other_name} at once")
    return faults


def _frames(session: Session, plan: SessionPlan) -> list[str]:
    work, faults = session.work, []
    spans: dict[str, list[tuple[Span, str]]] = {}
    for sheet in session.running:
        spans.setdefault(sheet.frame, []).append(
            ((session.from_s, sheet.end_s + work.unloaded_s), sheet.sheet_id)
        )
    for wet in session.washing:
        spans.setdefault(wet.frame, []).append(((wet.end_s, wet.end_s + work.unloaded_s), wet.sheet_id))
    kinds = {kind.name: kind for kind in session.frames}
    for placed in plan.placed:
        kind = kinds[placed.frame_kind]
        if not kind.fits(placed.spot):
            faults.append(f"{placed.frame} cannot lie at {placed.spot}")
        mine = ((placed.load_s, placed.unloaded_s), placed.sheet_id)
        for other, name in spans.get(placed.frame, []):
            if _meet(mine[0], other):
                faults.append(f"{placed.frame}: {placed.sheet_id} and {name} at once")
        spans.setdefault(placed.frame, []).append(mine)
    for kind in session.frames:
        used = {placed.frame for placed in plan.placed if placed.frame_kind == kind.name}
        if len(used) > kind.count:
            faults.append(f"{kind.name}: {len(used)} used of {kind.count}")
    return faults


def _tray(session: Session, plan: SessionPlan) -> list[str]:
    work = session.work
    given = [*(each.end_s for each in session.running), *(each.end_s for each in session.washing)]
    old = [(end_s + work.unloaded_s, end_s + work.done_s) for end_s in given]
    new = [(placed.unloaded_s, placed.done_s) for placed in plan.placed]
    return _crowded("tray", new, old, work.tray_holds)


def _room(session: Session, plan: SessionPlan) -> list[str]:
    faults = []
    for spot, room in session.room.items():
        old = [(session.from_s, each.end_s) for each in session.running if each.spot == spot]
        new = [(each.start_s, each.end_s) for each in plan.placed if each.spot == spot]
        faults += _crowded(spot, new, old, room)
    return faults


def _crowded(name: str, new: Sequence[Span], old: Sequence[Span], room: int) -> list[str]:
    """A fault for each planned span during which more are there than there is room for."""
    faults = []
    for begins, ends in new:
        moments = [begins, *(other for other, _ in (*new, *old) if begins < other < ends)]
        most = max(sum(1 for a, b in (*new, *old) if a <= moment < b - _SAME_S) for moment in moments)
        if begins < ends and most > room:
            faults.append(f"{name}: {most} at once, {room} fit")
    return faults


def _meet(one: Span, other: Span) -> bool:
    return one[0] < other[1] - _SAME_S and other[0] < one[1] - _SAME_S
