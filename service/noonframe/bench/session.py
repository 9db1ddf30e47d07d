"""What a session of printing is made of: sheets, frames, one pair of hands, a wash tray and the day.

A sheet goes through the session without waiting: it is loaded and carried out, lies in the light (the frame
may be moved meanwhile), is brought in and unloaded when its dose is there, and goes into the wash, where it
soaks unattended.  Hands are needed for all but the light and the soaking.  A frame is taken from loading to
unloading, a place in the tray from unloading to the end of the soak, room at the spot while in the light.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from noonframe.errors import OutOfDomain
from noonframe.types import FloatArray

MOST_SHEETS = 60
MOST_FRAMES = 20
LONGEST_SPAN_S = 24 * 3600.0
LONGEST_TASK_S = 4 * 3600.0
HIGHEST_PRIORITY = 9


@dataclass(frozen=True)
class Work:
    """How long the printer's hands take for a sheet, and what the tray does.  [s]

    `load_s` puts sheet and negative into a frame, `carry_s` takes it out or brings it in, `move_s` moves it
    once during an exposure, `unload_s` empties it, `wash_s` gets a sheet into the tray, where it soaks for
    `soak_s` with at most `tray_holds` sheets at once.  Defaults: common practice, no source.
    """

    load_s: float = 180.0
    carry_s: float = 60.0
    move_s: float = 60.0
    unload_s: float = 120.0
    wash_s: float = 120.0
    soak_s: float = 900.0
    tray_holds: int = 6

    def __post_init__(self) -> None:
        for name, least in _LEAST_S.items():
            value = getattr(self, name)
            if not (math.isfinite(value) and least <= value <= LONGEST_TASK_S):
                raise OutOfDomain(f"work.{name}", value, f"between {least:g} and {LONGEST_TASK_S:g} s")
        if not 1 <= self.tray_holds <= 100:
            raise OutOfDomain("work.tray_holds", self.tray_holds, "between 1 and 100")

    @property
    def before_s(self) -> float:
        """Hands before an exposure."""
        return self.load_s + self.carry_s

    @property
    def unloaded_s(self) -> float:
        """From the end of the light until the frame is empty."""
        return self.carry_s + self.unload_s

    @property
    def after_s(self) -> float:
        """Hands after an exposure."""
        return self.unloaded_s + self.wash_s

    @property
    def done_s(self) -> float:
        """From the end of the light until the sheet is out of the tray."""
        return self.after_s + self.soak_s


# Somebody has to be there when an exposure begins and when it ends.
_LEAST_S = {"load_s": 10.0, "carry_s": 0.0, "move_s": 0.0, "unload_s": 10.0, "wash_s": 0.0, "soak_s": 0.0}


@dataclass(frozen=True)
class FrameKind:
    """So many frames alike; `spots` names the only spots they can lie at (None: any)."""

    name: str
    count: int
    spots: frozenset[str] | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.count <= MOST_FRAMES:
            raise OutOfDomain("frames.count", self.count, f"between 1 and {MOST_FRAMES}")

    def fits(self, spot: str) -> bool:
        """Whether the frames can lie at a spot."""
        return self.spots is None or spot in self.spots


@dataclass(frozen=True, eq=False)
class Chances:
    """The exposures of one sheet that a spot offers; unix seconds.

    `start_s` (n,) are the starts to choose from, `end_s` (n,) when the dose is there (NaN: not before the
    light goes), inside its minute and never rounded; a later start never ends sooner.  `cost_s` (n,) is what
    unsteady light counts, as seconds later.  `moves_s` holds, by the index of a start, when the frame is to
    be moved.
    """

    spot: str
    start_s: FloatArray
    end_s: FloatArray
    cost_s: FloatArray
    moves_s: Mapping[int, tuple[float, ...]] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Sheet:
    """A sheet to print.

    Sheets of one `batch` are alike in all but their id.  `done_by_s` is when it must be out of the tray at
    the latest, `earliest_s` when it can be loaded (None: as the session).
    """

    id: str
    batch: str
    chances: tuple[Chances, ...]
    priority: int = 1
    earliest_s: float | None = None
    done_by_s: float | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.priority <= HIGHEST_PRIORITY:
            raise OutOfDomain("priority", self.priority, f"between 1 and {HIGHEST_PRIORITY}")


@dataclass(frozen=True)
class Running:
    """A sheet in the light now, whose frame is taken and whose end is known as far as the sky is.

    `moves_s` are moves still to come.
    """

    sheet_id: str
    frame: str
    spot: str
    end_s: float
    moves_s: tuple[float, ...] = ()


@dataclass(frozen=True)
class Washing:
    """A sheet that has had its light: hands until `hands_until_s`, in the tray until `until_s`."""

    sheet_id: str
    frame: str
    end_s: float


@dataclass(frozen=True, eq=False)
class Session:
    """All that a plan is made from.

    Work begins at `from_s` and everything is out of the tray by `until_s`.  In a break, (from, to), no hands
    are there; frames go on.  `room` is how many frames a spot takes at once (left out: any number).  For a
    plan made while the session runs, `from_s` is now, and `running` and `washing` tell what is under way.
    """

    from_s: float
    until_s: float
    sheets: tuple[Sheet, ...]
    frames: tuple[FrameKind, ...]
    work: Work = Work()
    breaks: tuple[tuple[float, float], ...] = ()
    room: Mapping[str, int] = field(default_factory=dict)
    running: tuple[Running, ...] = ()
    washing: tuple[Washing, ...] = ()

    def __post_init__(self) -> None:
        if not (math.isfinite(self.from_s) and math.isfinite(self.until_s)):
            raise OutOfDomain("end", self.until_s, "a finite time")
        if not 0.0 <= self.until_s - self.from_s <= LONGEST_SPAN_S:
            raise OutOfDomain("end", self.until_s, "after the start and at most 24 hours after it")
        if len(self.sheets) > MOST_SHEETS:
            raise OutOfDomain("sheets", len(self.sheets), f"at most {MOST_SHEETS}")
        _distinct("sheets", [sheet.id for sheet in self.sheets])
        _distinct("frames", [kind.name for kind in self.frames])
        if sum(kind.count for kind in self.frames) > MOST_FRAMES:
            raise OutOfDomain(
                "frames", sum(kind.count for kind in self.frames), f"at most {MOST_FRAMES} in all"
            )
        for begins, ends in self.breaks:
            if not begins < ends:
                raise OutOfDomain("breaks", ends, "ending after they begin")


def _distinct(field_name: str, names: Sequence[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise OutOfDomain(field_name, name, "named once each")


@dataclass(frozen=True)
class Placed:
    """A sheet with its times, unix seconds; `chance` and `index` say which of its chances it takes."""

    sheet_id: str
    frame_kind: str
    frame: str
    spot: str
    chance: int
    index: int
    load_s: float
    start_s: float
    end_s: float
    unloaded_s: float
    washed_s: float
    done_s: float
    moves_s: tuple[float, ...]


@dataclass(frozen=True)
class Quality:
    """How good a plan is, and how good any plan could be.

    Plans are compared by `left_weight`, the summed priority of the sheets left out, then by `cost_s`: over
    the planned sheets, priority times the seconds from the session's start until the sheet is done, with what
    unsteady light counts.  No plan leaves out less than `left_bound`; of those that leave out no more than
    this one, none costs less than `cost_bound_s`.
    """

    left_weight: int
    left_bound: int
    cost_s: float
    cost_bound_s: float
    method: str

    @property
    def most_proven(self) -> bool:
        """Whether no plan gets more done, counted by priority."""
        return self.left_bound >= self.left_weight

    @property
    def within_share(self) -> float | None:
        """The plan's cost is at most this share above the best possible; None while more might be done."""
        if not self.most_proven:
            return None
        if self.cost_s <= self.cost_bound_s:
            return 0.0
        return self.cost_s / self.cost_bound_s - 1.0 if self.cost_bound_s > 0.0 else None

    @property
    def proven(self) -> bool:
        """Whether no plan on the same grid is better."""
        return self.within_share == 0.0
