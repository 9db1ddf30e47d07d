"""Session plans against an exhaustive search of our own over the same grid: equal in every small case."""

import math
import random

import numpy as np
import pytest

from noonframe.bench.session import Chances, FrameKind, Running, Session, Sheet, Washing, Work
from noonframe.bench.session_check import faults_of
from noonframe.bench.session_grid import COST_UNIT_S
from noonframe.bench.session_plan import Effort, plan_session

FROM_S = 1_700_000_040.0
MINUTE_S = 60.0
INSTANCES = 300
IN_A_TEST = 50
EFFORT = Effort(tries=2000, solver=20.0)


def instance(seed):
    """A small session: up to four sheets, two spots, two kinds of frames, breaks, sheets under way."""
    dice = random.Random(seed)
    span_s = dice.choice([60, 90, 120]) * MINUTE_S
    step_s = dice.choice([120.0, 180.0, 240.0, 300.0])
    spots = ["yard", "window"][: dice.randint(1, 2)]
    work = Work(
        load_s=dice.choice([60.0, 130.0, 180.0]),
        carry_s=dice.choice([0.0, 30.0, 60.0]),
        move_s=60.0,
        unload_s=dice.choice([10.0, 60.0, 100.0]),
        wash_s=dice.choice([0.0, 60.0]),
        soak_s=dice.choice([0.0, 300.0, 900.0]),
        tray_holds=dice.randint(1, 2),
    )
    sheets = []
    for kind in range(dice.randint(1, 3)):
        chances = tuple(offer(dice, spot, span_s, step_s, work) for spot in spots)
        rest = {
            "priority": dice.choice([1, 1, 2, 3]),
            "earliest_s": dice.choice([None, None, FROM_S + span_s * dice.uniform(0.0, 0.4)]),
            "done_by_s": dice.choice([None, None, FROM_S + span_s * dice.uniform(0.4, 1.0)]),
        }
        sheets += [Sheet(f"s{kind}-{k}", f"s{kind}", chances, **rest) for k in range(dice.randint(1, 2))]
    frames = (FrameKind("frame", dice.randint(1, 2)),)
    names = ["frame 1", "frame 2"] if frames[0].count == 2 else ["frame", "frame"]
    if dice.random() < 0.3:
        frames += (FrameKind("small", 1, frozenset(["yard"])),)
    breaks = ()
    if dice.random() < 0.4:
        begins_s = FROM_S + span_s * dice.uniform(0.1, 0.6)
        breaks = ((begins_s, begins_s + dice.uniform(300.0, 1200.0)),)
    running = (Running("run", names[0], spots[0], FROM_S + dice.uniform(60, 1500)),)
    washing = (Washing("wet", names[1], FROM_S - dice.uniform(0.0, 300.0)),)
    return Session(
        FROM_S,
        FROM_S + span_s,
        tuple(sheets[:4]),
        frames,
        work,
        breaks,
        {"window": 1} if dice.random() < 0.7 else {},
        running if dice.random() < 0.3 else (),
        washing if dice.random() < 0.2 and len(set(names)) == 2 else (),
    )


def offer(dice, spot, span_s, step_s, work):
    start_s = FROM_S + np.arange(work.before_s + dice.choice([0.0, 17.0]), span_s, step_s)
    length_s = dice.uniform(200.0, 2400.0) + dice.uniform(-0.6, 0.6) * (start_s - FROM_S)
    end_s = np.maximum.accumulate(start_s + np.maximum(length_s, 30.0) + dice.uniform(0.0, 40.0))
    end_s = np.where(end_s <= FROM_S + span_s * dice.uniform(0.6, 1.3), end_s, np.nan)
    moves = {}
    if dice.random() < 0.3:
        long = [k for k in range(start_s.size) if end_s[k] - start_s[k] > 300.0]
        moves = {k: (float(start_s[k] + (end_s[k] - start_s[k]) / 2.0),) for k in long}
    return Chances(spot, start_s, end_s, np.array([dice.uniform(0.0, 200.0) for _ in start_s]), moves)


class Exhaustive:
    """Tries every way to place every sheet, minute by minute, with counters instead of bits."""

    def __init__(self, session):
        self.session = session
        self.count = math.ceil((session.until_s - session.from_s) / MINUTE_S)
        self.there = {"hands": 1, "tray": session.work.tray_holds}
        self.there |= {f"frame {kind.name}": kind.count for kind in session.frames}
        self.there |= {f"spot {spot}": room for spot, room in session.room.items()}
        self.used = {name: [0] * self.count for name in self.there}
        for begins_s, ends_s in session.breaks:
            self.take({"hands": self.minutes(begins_s, ends_s)}, 1)
        for sheet in session.running:
            needs = self.after(sheet.end_s, self.kind(sheet.frame))
            needs[f"frame {self.kind(sheet.frame)}"] |= self.minutes(session.from_s, sheet.end_s)
            needs[f"spot {sheet.spot}"] = self.minutes(session.from_s, sheet.end_s)
            self.take(needs, 1)
        for sheet in session.washing:
            self.take(self.after(sheet.end_s, self.kind(sheet.frame)), 1)
        self.ways = [sorted(self.all_ways(sheet), key=lambda way: way[0]) for sheet in session.sheets]
        self.best = (10**9, 10**9)
        alone = [ways[0][0] if ways else 10**9 for ways in self.ways]
        self.least = [sum(alone[number:]) for number in range(len(alone) + 1)]
        self.place(0, 0, 0)

    def kind(self, frame):
        return next(kind.name for kind in self.session.frames if frame.split(" ")[0] == kind.name)

    def minutes(self, begins_s, ends_s):
        first = max(math.floor((begins_s - self.session.from_s) / MINUTE_S), 0)
        last = min(math.ceil((ends_s - self.session.from_s) / MINUTE_S), self.count)
        return set(range(first, last)) if ends_s > begins_s else set()

    def after(self, end_s, kind):
        work = self.session.work
        empty_s = end_s + work.carry_s + work.unload_s
        clean_s = empty_s + work.wash_s
        return {
            "hands": self.minutes(end_s, clean_s),
            f"frame {kind}": self.minutes(end_s, empty_s),
            "tray": self.minutes(empty_s, clean_s + work.soak_s),
        }

    def all_ways(self, sheet):
        session, work = self.session, self.session.work
        before_s = work.load_s + work.carry_s
        done_after_s = work.carry_s + work.unload_s + work.wash_s + work.soak_s
        for chances in sheet.chances:
            for k, (start_s, end_s) in enumerate(zip(chances.start_s, chances.end_s, strict=True)):
                done_s = end_s + done_after_s
                if not done_s <= min(session.until_s, sheet.done_by_s or math.inf):
                    continue
                if start_s - before_s < max(session.from_s, sheet.earliest_s or -math.inf):
                    continue
                cost = sheet.priority * round((done_s - session.from_s + chances.cost_s[k]) / COST_UNIT_S)
                for kind in session.frames:
                    if kind.spots is not None and chances.spot not in kind.spots:
                        continue
                    needs = self.after(end_s, kind.name)
                    needs["hands"] |= self.minutes(start_s - before_s, start_s)
                    for move_s in chances.moves_s.get(k, ()):
                        needs["hands"] |= self.minutes(move_s, move_s + work.move_s)
                    needs[f"frame {kind.name}"] |= self.minutes(start_s - before_s, end_s)
                    needs[f"spot {chances.spot}"] = self.minutes(start_s, end_s)
                    yield cost, needs

    def take(self, needs, sign):
        for name, minutes in needs.items():
            for minute in minutes if name in self.used else ():
                self.used[name][minute] += sign

    def is_free(self, needs):
        return all(
            self.used[name][minute] < self.there[name]
            for name, minutes in needs.items()
            if name in self.used
            for minute in minutes
        )

    def place(self, number, left, cost):
        # Where no more may be left out, each sheet to come costs what it costs alone, or more.
        if (left, cost + (self.least[number] if left == self.best[0] else 0)) >= self.best:
            return
        if number == len(self.ways):
            self.best = (left, cost)
            return
        for added, needs in self.ways[number]:
            if self.is_free(needs):
                self.take(needs, 1)
                self.place(number + 1, left, cost + added)
                self.take(needs, -1)
        self.place(number + 1, left + self.session.sheets[number].priority, cost)


def rank(plan):
    return plan.quality.left_weight, round(plan.quality.cost_s / COST_UNIT_S)


@pytest.mark.parametrize("first", range(0, INSTANCES, IN_A_TEST))
def test_small_sessions_are_planned_as_well_as_any_plan_can_be(first):
    for seed in range(first, first + IN_A_TEST):
        session = instance(seed)
        best = Exhaustive(session).best
        plan = plan_session(session, EFFORT)
        assert rank(plan) == best, seed
        assert plan.quality.proven, seed
        assert faults_of(session, plan) == (), seed


def test_without_the_solver_the_bound_is_still_below_the_best_and_the_plan_can_be_done():
    as_good, count = 0, 100
    for seed in range(count):
        session = instance(seed)
        left, cost = Exhaustive(session).best
        plan = plan_session(session, Effort(tries=2000, use_solver=False))
        quality = plan.quality
        assert quality.method == "search"
        assert faults_of(session, plan) == (), seed
        assert quality.left_bound <= left <= quality.left_weight, seed
        if quality.left_weight == left:
            assert quality.cost_bound_s <= cost * COST_UNIT_S + 1e-6 <= quality.cost_s + 2e-6, seed
        as_good += rank(plan) == (left, cost)
    assert as_good >= 0.95 * count


def test_the_instances_are_of_every_sort():
    """Otherwise the comparison would prove little."""
    sessions = [instance(seed) for seed in range(INSTANCES)]
    left = [Exhaustive(session).best[0] > 0 for session in sessions[:60]]
    assert any(left)
    assert not all(left)
    for part in ("running", "washing", "breaks", "room"):
        assert any(getattr(session, part) for session in sessions), part
    assert any(len(session.frames) == 2 for session in sessions)
    assert any(
        chances.moves_s for session in sessions for sheet in session.sheets for chances in sheet.chances
    )
