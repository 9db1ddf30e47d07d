"""A session over the light of its day: a line for each frame, one for the hands, one for the tray."""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass

from noonframe.api.pictures.drawing import FAINT, FRAME, INK, QUIET, SUN, Drawing, note_lines
from noonframe.api.session_answers import SessionPlanAnswer, SessionSheet, SessionStep

_WIDTH = 960.0
_LEFT, _RIGHT = 110.0, 930.0
_TOP, _HILL = 76.0, 130.0
_LANE, _BAR = 30.0, 20.0
_LINE = 20.0
_CHARACTER = 6.6
_LOOKS = ("none", "7 4", "2 3", "9 3 2 3")
_TEA = "#d7d2c6"
_WATER = "#bcd7dd"
_WORK = "#e9e4d8"


@dataclass(frozen=True)
class _Scale:
    """Times to places across the page."""

    from_s: float
    until_s: float

    def at(self, unix_s: float) -> float:
        """Where an instant lies; those outside the session on its edge."""
        share = (unix_s - self.from_s) / max(self.until_s - self.from_s, 1.0)
        return _LEFT + min(max(share, 0.0), 1.0) * (_RIGHT - _LEFT)


def draw_session(plan: SessionPlanAnswer, name: str | None = None) -> str:
    """The plan as SVG: the numbers on the bars are those of the list below, which says it all in words."""
    scale = _scale(plan)
    shown = [sheet for sheet in plan.sheets if sheet.start is not None]
    shown.sort(key=lambda sheet: (sheet.load_start or "", sheet.sheet_id))
    numbers = {sheet.sheet_id: number for number, sheet in enumerate(shown, start=1)}
    frames = sorted({sheet.frame for sheet in shown if sheet.frame is not None}, key=_natural)
    others = [sheet for sheet in plan.sheets if sheet.start is None]
    footer = [plan.summary, plan.bound_says, *plan.advice, f"Times are those of {plan.basis.time_zone}."]
    lanes = [*frames, "hands", "wash tray"]
    floor = _TOP + _HILL + 18.0 + _LANE * len(lanes)
    noted = note_lines(footer) + note_lines([each.says for each in others])
    height = floor + 72.0 + _LINE * (len(shown) + noted)
    day = dt.datetime.fromisoformat(plan.start)
    title = f"{name or 'Session'}, {day.day} {day:%B %Y}"
    drawing = Drawing(_WIDTH, height, title, plan.summary)
    drawing.text((_LEFT, 28.0), title, 18.0, font_weight="600")
    looks = ", ".join(
        f"{item.spot} ({'line' if look == 'none' else 'broken line'})"
        for item, look in zip(plan.light, _LOOKS, strict=False)
    )
    drawing.text(
        (_LEFT, 48.0),
        f"Light at the sheet: {looks}. Hatched: in the light. The numbers are listed below.",
        12.0,
    )
    _draw_light(drawing, plan, scale)
    _draw_hours(drawing, scale, day.tzinfo, floor)
    for index, lane in enumerate(lanes):
        y = _TOP + _HILL + 18.0 + _LANE * index
        drawing.text((_LEFT - 10.0, y + 14.0), lane, 12.0, text_anchor="end")
        drawing.path([(_LEFT, y + _BAR + 3.0), (_RIGHT, y + _BAR + 3.0)], stroke=FAINT, stroke_width="0.6")
        _draw_lane(drawing, lane, [step for step in plan.steps if _is_in(step, lane)], numbers, (scale, y))
    now_s = _seconds(plan.planned_at)
    if scale.from_s < now_s < scale.until_s:
        x = scale.at(now_s)
        drawing.path([(x, _TOP - 6.0), (x, floor)], stroke=INK, stroke_width="1.4", stroke_dasharray="3 2")
        drawing.text((x, _TOP - 10.0), "planned at", 11.0, text_anchor="middle")
    y = floor + 44.0
    for sheet in shown:
        drawing.text((_LEFT - 84.0, y), str(numbers[sheet.sheet_id]), 13.0, font_weight="600")
        drawing.text((_LEFT - 56.0, y), _entry(sheet), 13.0)
        y += _LINE
    for sheet in others:
        y = drawing.note((_LEFT - 56.0, y), sheet.says, _LINE)
    y += 8.0
    for words in footer:
        y = drawing.note((_LEFT - 84.0, y), words, _LINE)
    return drawing.to_svg()


def _scale(plan: SessionPlanAnswer) -> _Scale:
    """The session, cut to what happens in it with half an hour to spare."""
    from_s, until_s = _seconds(plan.start), _seconds(plan.end)
    if plan.steps:
        first_s = min(_seconds(step.start) for step in plan.steps)
        last_s = max(_seconds(step.end) for step in plan.steps)
        from_s, until_s = (
            min(max(from_s, first_s - 1800.0), first_s),
            max(min(until_s, last_s + 1800.0), last_s),
        )
    return _Scale(from_s, until_s)


def _draw_light(drawing: Drawing, plan: SessionPlanAnswer, scale: _Scale) -> None:
    base = _TOP + _HILL
    highest = max((max(item.effective_w_m2, default=0.0) for item in plan.light), default=0.0)
    drawing.path([(_LEFT, base), (_RIGHT, base)], stroke=QUIET, stroke_width="1")
    if highest <= 0.0:
        drawing.text((_LEFT, base - 8.0), "no light", 12.0, fill=QUIET)
        return
    top = float(f"{highest:.1g}") if highest < 1.0 else 5.0 * math.ceil(highest / 5.0)
    for number, item in enumerate(plan.light[: len(_LOOKS)]):
        points = [
            (scale.at(_seconds(time)), base - _HILL * min(value / top, 1.0))
            for time, value in zip(item.time, item.effective_w_m2, strict=True)
            if scale.from_s <= _seconds(time) <= scale.until_s
        ]
        if len(points) < 2:
            continue
        if number == 0:
            outline = [(points[0][0], base), *points, (points[-1][0], base)]
            drawing.polygon(outline, fill=SUN, fill_opacity="0.22", stroke="none")
        drawing.path(points, stroke="#b98a12", stroke_width="1.6", stroke_dasharray=_LOOKS[number])
    for value in (top / 2.0, top):
        y = base - _HILL * value / top
        drawing.text((_LEFT - 10.0, y + 4.0), f"{value:g} W/m²", 11.0, text_anchor="end", fill=QUIET)
        drawing.path([(_LEFT, y), (_RIGHT, y)], stroke=FAINT, stroke_width="0.5", stroke_dasharray="2 4")


def _draw_hours(drawing: Drawing, scale: _Scale, zone: dt.tzinfo | None, floor: float) -> None:
    span_s = scale.until_s - scale.from_s
    every_s = next((each for each in (900.0, 1800.0, 3600.0, 7200.0) if span_s / each <= 13.0), 10800.0)
    tick_s = every_s * math.ceil(scale.from_s / every_s)
    while tick_s <= scale.until_s:
        x = scale.at(tick_s)
        drawing.path([(x, _TOP), (x, floor)], stroke=FAINT, stroke_width="0.5")
        drawing.text(
            (x, floor + 14.0), f"{dt.datetime.fromtimestamp(tick_s, zone):%H:%M}", 11.0, text_anchor="middle"
        )
        tick_s += every_s


def _is_in(step: SessionStep, lane: str) -> bool:
    if lane == "hands":
        return step.hands or step.kind == "break"
    if lane == "wash tray":
        return step.kind in ("wash", "soak")
    return step.frame == lane and step.kind in ("load", "expose", "unload", "move")


def _draw_lane(
    drawing: Drawing,
    lane: str,
    steps: Sequence[SessionStep],
    numbers: dict[str, int],
    where: tuple[_Scale, float],
) -> None:
    scale, y = where
    shade = 0.5 if lane == "wash tray" else 1.0  # sheets in the tray overlap
    for step in steps:
        left, right = scale.at(_seconds(step.start)), scale.at(_seconds(step.end))
        width = max(right - left, 0.8)
        number = "" if step.sheet_id is None else str(numbers.get(step.sheet_id, ""))
        if step.kind == "expose":
            drawing.box((left, y), (width, _BAR), fill="url(#sunlit)", stroke=FRAME, stroke_width="1.6")
            label = f"{number} {step.sheet}"
            if width < _CHARACTER * len(label) + 6.0:
                label = number
            drawing.text((left + 4.0, y + 14.0), label, 11.0, font_weight="600")
            continue
        if step.kind == "move":
            drawing.polygon(
                [(left, y - 2.0), (left + 7.0, y - 2.0), (left + 3.5, y + 5.0)], fill=INK, stroke="none"
            )
            continue
        fill = _TEA if step.kind == "break" else _WATER if lane == "wash tray" else _WORK
        drawing.box(
            (left, y), (width, _BAR), fill=fill, fill_opacity=f"{shade:g}", stroke=QUIET, stroke_width="0.6"
        )
        if step.kind == "break" and width > 30.0:
            drawing.text((left + 3.0, y + 14.0), step.says.lower(), 10.0)
        elif lane == "hands" and step.kind in ("load", "unload") and width >= 9.0:
            drawing.text((left + 1.5, y + 13.0), number, 8.5)


def _entry(sheet: SessionSheet) -> str:
    """One line of the list, in words."""
    parts = [f"{sheet.sheet}: {_clock(sheet.start)} to {_clock(sheet.end)}, {sheet.spot}, {sheet.frame}"]
    if sheet.begin_says:
        parts.append(sheet.begin_says)
    parts += [f"at {_clock(move.time)} to {move.says}" for move in sheet.moves]
    if sheet.state == "planned":
        parts.insert(0, f"load {_clock(sheet.load_start)}")
        parts.append(f"washed by {_clock(sheet.done)}")
    else:
        parts.append(
            {"running": "in the light now", "done": "has had its light"}.get(sheet.state, sheet.state)
        )
    return "; ".join(parts)


def _clock(text: str | None) -> str:
    """A time of day, to the nearest minute."""
    if text is None:
        return ""
    zone = dt.datetime.fromisoformat(text).tzinfo
    return f"{dt.datetime.fromtimestamp(60.0 * round(_seconds(text) / 60.0), zone):%H:%M}"


def _seconds(text: str) -> float:
    return dt.datetime.fromisoformat(text).timestamp()


def _natural(name: str) -> tuple[str, int]:
    """Frame 10 after frame 9."""
    head, _, tail = name.rpartition(" ")
    return (head, int(tail)) if tail.isdecimal() else (name, 0)
