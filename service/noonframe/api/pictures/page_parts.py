"""What the pages of a month and of a year share: heading, tints, the night, legend and notes."""

import datetime as dt
import textwrap
from collections.abc import Sequence

import numpy as np

from noonframe.api.pictures.drawing import FAINT, INK, QUIET, Point
from noonframe.api.pictures.page import SheetPage
from noonframe.api.year_answer import Outcome
from noonframe.bench.wording import dose_words

LEFT_MM, RIGHT_MM = 14.0, 196.0
NIGHT = "#dfe5ea"
RULE = "#b9c0c8"
_TINTS: tuple[tuple[float, str], ...] = (
    (1.25, "#f2c14e"),
    (2.0, "#f7d98d"),
    (4.0, "#fbebc0"),
    (float("inf"), "#ffffff"),
)
"""Fills by how many times the quickest length a length is: darker is quicker, in grey as in colour."""

_LINE_CHARACTERS = 136
_NOTE_PT = 7.2
_LOWEST_MM = 288.0
_DAY_H = 24.0


def minutes_text(length_s: float) -> str:
    """Minutes for a cell: a tenth matters below ten."""
    minutes = length_s / 60.0
    return f"{minutes:.1f}" if minutes < 9.95 else f"{minutes:.0f}"


def tint(length_s: float, quickest_s: float) -> str:
    """The fill of a cell."""
    return next(fill for most, fill in _TINTS if length_s <= most * quickest_s * (1.0 + 1e-9))


def heading(page: SheetPage, outcome: Outcome, starts_are: str) -> None:
    """Title, place, sheet and sky, down to 40 mm."""
    scene = outcome.ask.scene
    page.words((LEFT_MM, 21.0), page.title, 19.0, bold=True)
    page.words((LEFT_MM, 28.0), textwrap.shorten(outcome.where, 78, placeholder=" …"), 11.0)
    behind = " and ".join(scene.stack.ids) or "nothing, a bare sheet"
    spot = outcome.basis.spot
    lines = (
        f"Minutes of exposure under {scene.sky.says}, {starts_are}",
        f"{scene.sensitizer.id} behind {behind}; {spot}.",
    )
    y = 33.5
    for line in lines:
        for part in textwrap.wrap(line, 124, max_lines=2, placeholder=" …"):
            page.words((LEFT_MM, y), part, 8.0, colour=QUIET)
            y += 3.9


def legend(page: SheetPage, y: float, quickest_s: float | None, others: Sequence[str]) -> float:
    """The tints with their minutes, the night, and what the signs mean; returns the next free height."""
    x = LEFT_MM
    if quickest_s is not None:
        bounds = [minutes_text(quickest_s * most) for most, _ in _TINTS[:-1]]
        names = [f"up to {bounds[0]} min", f"to {bounds[1]}", f"to {bounds[2]}", "longer"]
        for (_, fill), name in zip(_TINTS, names, strict=True):
            page.box((x, y - 3.1), (6.0, 4.2), fill=fill, stroke=RULE, stroke_mm=0.15)
            page.words((x + 7.4, y), name, _NOTE_PT)
            x += 12.0 + 1.62 * len(name)
    page.box((x, y - 3.1), (6.0, 4.2), fill=NIGHT)
    page.words((x + 7.4, y), "sun below the horizon", _NOTE_PT)
    return paragraph(page, y + 6.0, ". ".join(others) + ".") + 0.8 if others else y + 6.0


def paragraph(page: SheetPage, y: float, text: str, *, bold: bool = False) -> float:
    """Small words in full lines; returns the next free height."""
    for line in textwrap.wrap(text, _LINE_CHARACTERS):
        page.words((LEFT_MM, y), line, _NOTE_PT, bold=bold)
        y += 3.7
    return y


def notes(page: SheetPage, y: float, outcome: Outcome) -> None:
    """What the page rests on, and the cautions: these come first where the sheet runs out."""
    page.line([(LEFT_MM, y - 3.2), (RIGHT_MM, y - 3.2)], stroke=FAINT, stroke_mm=0.2)
    for caution in outcome.cautions:
        y = paragraph(page, y + 0.3, f"Caution: {caution}")
    basis = outcome.basis
    changes = [_say_day(outcome, float(second)) for second in outcome.starts.days.changes_s]
    clocks = f"; its clocks change on {' and '.join(changes)}" if changes else ""
    spread = f"between {1.0 / outcome.high_factor:.2g} and {outcome.high_factor:.2g} times these minutes"
    target = outcome.target
    source = textwrap.shorten(target.source, 120, placeholder=" …")
    told = [
        f"Dose {dose_words(target.target_j_m2)} at the coat ({source}). Eight sheets in ten need {spread}.",
        f"Times are those on the clock, {basis.time_zone}{clocks}.",
        f"Basis: {basis.latitude_deg:.2f}, {basis.longitude_deg:.2f}, {basis.elevation_m:.0f} m; "
        f"{basis.sky.evidence}; {'; '.join(basis.notes)}.",
    ]
    for line in told:
        if y > _LOWEST_MM - 3.7 * (len(textwrap.wrap(line, _LINE_CHARACTERS)) - 1):
            page.words((RIGHT_MM, y), "… the rest is in the service's answer", _NOTE_PT, anchor="end")
            break
        y = paragraph(page, y + 0.3, line)


def _say_day(outcome: Outcome, unix_s: float) -> str:
    moment = dt.datetime.fromtimestamp(unix_s, outcome.ask.where.zone)
    return f"{moment.day} {moment:%B}"


def nothing_to_show(page: SheetPage, middle: Point) -> None:
    """Say so where no cell has a number."""
    page.words(middle, "No start gives the dose.", 14.0, anchor="middle", bold=True, colour=INK)


Span = tuple[float, float]


def shown_part(spans: Sequence[Span], first: int, last: int) -> list[Span]:
    """What of a day's dark spans lies on the hours from `first` to `last`, half an hour more on either side.

    The half hour before midnight, where it is shown at the head of the day, is that of the same night.
    """
    whole = list(spans)
    if first == 0 and whole and whole[-1][1] >= _DAY_H and whole[-1][0] < _DAY_H:
        evening = max(whole[-1][0] - _DAY_H, -0.5)
        joined = whole[0][0] <= 0.0
        head = (evening, whole[0][1] if joined else 0.0)
        whole = [head, *whole[1:]] if joined else [head, *whole]
    low, high = first - 0.5, last + 0.5
    return [(max(a, low), min(b, high)) for a, b in whole if b > low and a < high]


def dark_clock_hours(outcome: Outcome) -> list[list[Span]]:
    """Of each day, the spans of the clock's hours (0-24) in which the sun is down."""
    days, sun = outcome.starts.days, outcome.starts.sun
    found: list[list[Span]] = []
    for day in range(len(days.dates)):
        spans = sun.dark_spans(days, day)
        edges = np.array([second for span in spans for second in span])
        clock = days.clock_s(edges, np.full(edges.size, day)) / 3600.0 if edges.size else edges
        clock[edges >= days.end_s[day]] = _DAY_H
        found.append([(float(a), float(b)) for a, b in zip(clock[::2], clock[1::2], strict=True) if a < b])
    return found


def night_outlines(spans_by_day: Sequence[Sequence[Span]], edges: Sequence[Span]) -> list[list[Point]]:
    """Outlines of the night over days side by side.

    `spans_by_day` are dark spans along the other axis, `edges` where each day begins and ends; a span joins
    the one it overlaps on the day before.  Points are (along the days, along the hours).
    """
    runs: list[list[tuple[Span, Span]]] = []
    open_runs: list[list[tuple[Span, Span]]] = []
    for spans, edge in zip(spans_by_day, edges, strict=True):
        still_open: list[list[tuple[Span, Span]]] = []
        free = list(open_runs)
        for span in spans:
            joined = next((run for run in free if _overlap(run[-1][1], span)), None)
            if joined is None:
                joined = []
                runs.append(joined)
            else:
                free.remove(joined)
            joined.append((edge, span))
            still_open.append(joined)
        open_runs = still_open
    return [_outline(run) for run in runs]


def _overlap(one: Span, other: Span) -> bool:
    return one[0] < other[1] and other[0] < one[1]


def _outline(run: Sequence[tuple[Span, Span]]) -> list[Point]:
    there = [point for (x0, x1), (low, _) in run for point in ((x0, low), (x1, low))]
    back = [point for (x0, x1), (_, high) in reversed(run) for point in ((x1, high), (x0, high))]
    return there + back
