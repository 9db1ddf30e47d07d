"""What a session plan costs, and how near to the best possible it is proven to be.

Run it as a script, or take `rows()` into another table.  Seconds are those of one processor, all that an
answer takes: light of every spot, moves, the search and its proof.  The baseline places the sheets in the
order asked for, each as soon as it can be: what a careful printer does without a plan.
"""

import json
import os
import sys
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")  # one processor, as for the other rows
sys.path.insert(0, str(Path(__file__).parent))

from run import FULL, TINY, Row, Size, milliseconds, table

from noonframe.api import session_make
from noonframe.api.examples import OPEN_SPOT, WINDOW_SPOT
from noonframe.api.session_answers import SessionPlanAnswer
from noonframe.api.session_ask import Desk
from noonframe.api.session_bodies import SessionBody
from noonframe.api.session_desk import plan_new
from noonframe.bench.session import Session
from noonframe.bench.session_grid import COST_UNIT_S, grid_of
from noonframe.settings import Settings

NOW_S = 1_782_032_400.0  # ten in the morning in Porto at midsummer 2026
MOST_S = 5.0
MOST_GAP_PERCENT = 3.0
FORTY_S, FORTY_GAP_PERCENT = 20.0, 15.0
SPOTS = [{"name": "yard", "spot": OPEN_SPOT}, {"name": "window", "spot": WINDOW_SPOT, "moves": "table"}]
FOUR_KINDS = [
    {"name": "kelp fronds", "count": 4, "target_j_m2": 24000},
    {"name": "tide table", "count": 3, "target_j_m2": 18000, "priority": 2},
    {"name": "ferry ticket", "count": 3, "target_j_m2": 40000},
    {"name": "gull feather", "count": 2, "target_j_m2": 30000, "priority": 3},
]
TWELVE_KINDS = [
    {"name": f"print {k}", "target_j_m2": 15000 + 2500 * k, "priority": 1 + k % 2} for k in range(12)
]
FORTY = [{**sheet, "count": 10} for sheet in FOUR_KINDS]
DAYS: Mapping[str, dict[str, Any]] = {
    "12 sheets of four kinds, 3 frames, 10 hours, June": {
        "sheets": FOUR_KINDS,
        "start": "2026-06-21T09:00:00+01:00",
        "end": "2026-06-21T19:00:00+01:00",
    },
    "12 different sheets, 3 frames, 10 hours, June": {
        "sheets": TWELVE_KINDS,
        "start": "2026-06-21T09:00:00+01:00",
        "end": "2026-06-21T19:00:00+01:00",
    },
    "12 different sheets, 3 frames, 10 hours, December": {
        "sheets": TWELVE_KINDS,
        "start": "2026-12-21T08:00:00+00:00",
        "end": "2026-12-21T18:00:00+00:00",
    },
    "40 sheets, 4 frames, 10 hours, June": {
        "sheets": FORTY,
        "frames": [{"name": "frame", "count": 4}],
        "start": "2026-06-21T09:00:00+01:00",
        "end": "2026-06-21T19:00:00+01:00",
    },
}


def body_of(day: Mapping[str, Any]) -> SessionBody:
    """The request of a day at the yard and the window."""
    place = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
    asked = {**place, "stack": "float-glass-4mm,polyester-film", "spots": SPOTS, **day}
    return SessionBody.model_validate_json(json.dumps(asked))


def planned(day: Mapping[str, Any]) -> tuple[SessionPlanAnswer, Session, float, float]:
    """The answer, the engine's problem and the plan's cost, and the processor seconds of it all."""
    seen: list[tuple[Session, float]] = []
    plan_session = session_make.plan_session

    def watched(session: Session) -> Any:
        plan = plan_session(session)
        seen.append((session, plan.quality.cost_s))
        return plan

    session_make.plan_session = watched
    try:
        began = time.process_time()
        answer = plan_new(body_of(day), Desk(Settings(), NOW_S))
        taken_s = time.process_time() - began
    finally:
        session_make.plan_session = plan_session
    return answer, seen[0][0], seen[0][1], taken_s


def in_order_s(session: Session) -> tuple[int, float]:
    """Sheets that fit, and the cost, when they are placed in the order asked for."""
    grid = grid_of(session)
    taken, count, cost = grid.free(), 0, 0
    for batch, options in zip(grid.batches, grid.by_batch, strict=True):
        for _ in batch:
            found = next((k for k in options if not grid.options[k].mask & taken.full), None)
            if found is not None:
                taken = taken.plus(grid.options[found].mask)
                count, cost = count + 1, cost + grid.options[found].cost
    return count, cost * COST_UNIT_S


def rows(size: Size) -> Iterator[Row]:
    """Seconds and proven gap of every day; in the smallest form of the first alone."""
    plan_new(body_of({**next(iter(DAYS.values())), "sheets": FOUR_KINDS[:1]}), Desk(Settings(), NOW_S))
    for number, (name, day) in enumerate(DAYS.items()):
        if number and size == TINY:
            return
        answer, session, cost_s, taken_s = planned(day)
        most_s, most_gap = (
            (FORTY_S, FORTY_GAP_PERCENT) if name.startswith("40") else (MOST_S, MOST_GAP_PERCENT)
        )
        yield Row(name, milliseconds(taken_s), "-", taken_s, most_s, False, "s")
        fits, simple_s = in_order_s(session)
        simple = f"{fits} in the order asked"
        if fits == answer.sheets_planned:
            simple += f", {100.0 * (simple_s / cost_s - 1.0):.0f} % later"
        gap = 100.0 if answer.within_share is None else 100.0 * answer.within_share
        ours = f"{answer.sheets_planned} planned, {answer.method}"
        yield Row("  at most from the best possible", ours, simple, gap, most_gap, False, "%")


def main() -> int:
    """Measure and print; 1 when a target is missed."""
    found = list(rows(TINY if "--tiny" in sys.argv[1:] else FULL))
    print(table(found))
    return 0 if all(row.met for row in found) else 1


if __name__ == "__main__":
    sys.exit(main())
