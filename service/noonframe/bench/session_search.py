"""Good plans fast: some sheets are taken out of a plan and put back otherwise, over and over.

Ruin and recreate with blinks, after Christiaens and Vanden Berghe (2020), Transportation Science 54,
doi:10.1287/trsc.2019.0914, with simulated annealing: sheets that lie near each other in time leave the plan
and come back one by one where each costs least, now and then passing over free places on purpose.  The search
is repeatable: it counts its own steps, never seconds.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass

from noonframe.bench.session_grid import Grid

_SEED = 20260621
TRIES = 60_000
"""Sheets put back during the search: about a second on one core of 2.5 GHz."""
_HOTTEST, _COOLEST = 0.02, 0.0001  # of the plan's cost
_MOST_OUT = 6
_BLINK = 0.12
_FARTHEST_BLINK = 0.15  # of a sheet's options
_FORCED = 0.6
_EASY = 40  # more sheets than this get fewer rounds, as each costs more
_PULLED = 0.15
_FARTHEST_SHIFT = 0.25


@dataclass(frozen=True)
class Choice:
    """A plan: the options taken, and how it compares (less is better)."""

    options: tuple[int, ...]
    left_weight: int
    cost: int

    @property
    def rank(self) -> tuple[int, int]:
        """What plans are compared by."""
        return self.left_weight, self.cost


def choice_of(grid: Grid, options: Sequence[int]) -> Choice:
    """A plan from the options it takes."""
    total = sum(batch[0].priority * len(batch) for batch in grid.batches)
    done = sum(grid.batches[grid.options[option].batch][0].priority for option in options)
    return Choice(tuple(sorted(options)), total - done, sum(grid.options[option].cost for option in options))


def find_plan(grid: Grid, tries: int = TRIES) -> Choice:
    """The best plan of a bounded, repeatable search."""
    search = _Search(grid)
    sheets = [number for number, batch in enumerate(grid.batches) for _ in batch]
    if not sheets:
        return choice_of(grid, ())
    orders = _first_orders(grid, sheets)
    firsts = [search.put_back([], order) for order in orders]
    now = best = min((choice_of(grid, options) for options in firsts), key=lambda choice: choice.rank)
    penalty = 2.0 * max(best.cost, 1) / len(sheets)  # what a sheet left out counts while annealing
    rounds = max(tries * 2 // (_MOST_OUT + 1) * _EASY // max(len(sheets), _EASY), 50)
    for turn in range(rounds):
        new = search.changed(now)
        heat = _HOTTEST * (_COOLEST / _HOTTEST) ** (turn / rounds) * best.cost
        worse = (new.cost - now.cost) + penalty * (new.left_weight - now.left_weight)
        if worse <= 0.0 or worse < heat * search.chance.expovariate(1.0):
            now = new
        if new.rank < best.rank:
            best = new
    return best


def _first_orders(grid: Grid, sheets: list[int]) -> list[list[int]]:
    priority = [batch[0].priority for batch in grid.batches]
    least, last = {}, {}
    for number, options in enumerate(grid.by_batch):
        costs = [grid.options[option].cost / priority[number] for option in options]
        least[number], last[number] = min(costs, default=0.0), max(costs, default=0.0)
    return [
        sorted(sheets, key=lambda number: (-priority[number], last[number])),
        sorted(sheets, key=lambda number: (last[number], -priority[number])),
        sorted(sheets, key=lambda number: (least[number] / priority[number], last[number])),
        sorted(sheets, key=lambda number: -least[number]),
    ]


class _Search:
    """One search over one grid."""

    def __init__(self, grid: Grid) -> None:
        self.chance = random.Random(_SEED)
        self._grid = grid
        self._masks = [option.mask for option in grid.options]
        self._rows = [[(self._masks[option], option) for option in options] for options in grid.by_batch]
        self._batch = [option.batch for option in grid.options]
        self._cost = [option.cost for option in grid.options]
        self._start_s = [
            float(grid.batches[option.batch][0].chances[option.chance].start_s[option.index])
            for option in grid.options
        ]
        self._priority = [batch[0].priority for batch in grid.batches]
        self._counts = [len(batch) for batch in grid.batches]
        self._total = sum(p * c for p, c in zip(self._priority, self._counts, strict=True))
        self._free = grid.free()

    def put_back(self, kept: list[int], order: Sequence[int], blink: float = 0.0) -> list[int]:
        """The options of a plan that keeps some and adds sheets in an order, each where it costs least."""
        taken = self._free
        for option in kept:
            taken = taken.plus(self._masks[option])
        options = list(kept)
        chance = self.chance
        for batch in order:
            rows = self._rows[batch]
            pass_over = 0
            if blink and chance.random() < blink:
                pass_over = 1 + int(chance.random() ** 2 * _FARTHEST_BLINK * len(rows))
            full, fallback = taken.full, None
            for mask, option in rows:
                if not mask & full:
                    fallback = option
                    if not pass_over:
                        break
                    pass_over -= 1
            if fallback is not None:
                options.append(fallback)
                taken = taken.plus(self._masks[fallback])
        return options

    def changed(self, now: Choice) -> Choice:
        """Another plan near this one."""
        forced = now.options and self.chance.random() < _FORCED
        found = self._forced(now) if forced else self._ruined(now)
        new = self._counted(found)
        if self.chance.random() < _PULLED:
            return min(new, self._pulled(new), key=lambda choice: choice.rank)
        return new

    def _pulled(self, plan: Choice) -> Choice:
        """The plan with every sheet placed anew in the order of their starts: gaps close along the day."""
        order = sorted(plan.options, key=self._start_s.__getitem__)
        left = self._left(plan)
        return self._counted(self.put_back([], [self._batch[option] for option in order] + left))

    def _counted(self, found: list[int]) -> Choice:
        done = sum(self._priority[self._batch[option]] for option in found)
        return Choice(tuple(sorted(found)), self._total - done, sum(self._cost[option] for option in found))

    def _forced(self, now: Choice) -> list[int]:
        """One sheet put where the dice say; those in its way are put back after it."""
        chance = self.chance
        options = list(now.options)
        moved = options.pop(chance.randrange(len(options)))
        rows = self._rows[self._batch[moved]]
        place = moved - rows[0][1]
        far = max(int(len(rows) * _FARTHEST_SHIFT * chance.random() ** 2), 2)
        new = rows[min(max(place + chance.randint(-far, far // 2), 0), len(rows) - 1)][1]
        kept, out = [new], []
        taken = self._free.plus(self._masks[new])
        chance.shuffle(options)
        for option in options:
            if self._masks[option] & taken.full:
                out.append(self._batch[option])
            else:
                kept.append(option)
                taken = taken.plus(self._masks[option])
        out += self._left(now)
        chance.shuffle(out)
        return self.put_back(kept, out, _BLINK)

    def _ruined(self, now: Choice) -> list[int]:
        """Some sheets taken out and put back in another order."""
        chance = self.chance
        options = list(now.options)
        out: list[int] = []
        if options:
            count = min(chance.randint(1, _MOST_OUT), len(options))
            middle_s = self._start_s[options[chance.randrange(len(options))]]
            if chance.random() < 0.7:
                options.sort(key=lambda option: abs(self._start_s[option] - middle_s))
            else:
                chance.shuffle(options)
            out, options = options[:count], options[count:]
        order = [self._batch[option] for option in out] + self._left(now)
        turn = chance.random()
        if turn < 0.6:
            chance.shuffle(order)
        elif turn < 0.75:
            order.sort(key=lambda batch: -self._priority[batch])
        elif turn < 0.9:
            order.sort(key=lambda batch: len(self._rows[batch]))
        else:
            order.reverse()
        return self.put_back(options, order, _BLINK)

    def _left(self, now: Choice) -> list[int]:
        counts = list(self._counts)
        for option in now.options:
            counts[self._batch[option]] -= 1
        return [batch for batch, count in enumerate(counts) for _ in range(count)]
