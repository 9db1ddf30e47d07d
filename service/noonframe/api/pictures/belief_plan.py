"""What is believed of a target, drawn over the evidence that it rests on."""

import math
from collections.abc import Callable, Sequence

import numpy as np

from noonframe.api.pictures.drawing import FAINT, FRAME, INK, QUIET, SUN, Drawing, Point, note_lines
from noonframe.bench.belief import NOT_BELIEVED, Belief, BeliefCurves, EvidenceSpan
from noonframe.bench.wording import dose_words
from noonframe.types import FloatArray

_WIDTH = 720.0
_MARGIN = 60.0
_LABEL = 84.0
_TOP = 94.0
_HILL = 190.0
_ROW = 18.0
_LINE = 20.0
_MOST_ROWS = 24
_LEAST_REACH_STOPS = 3.0
_MOST_POINTS = 240
_LIKELY = 0.03


def draw_belief(name: str, belief: Belief, notes: Sequence[str]) -> str:
    """The belief as SVG: densities over dose in equal stops, and a bar for where each exposure puts it.

    A bar runs from one limit of a reading to the other and fades over its spread; an arrow is an open end.
    Only the newest exposures are drawn where there are many.
    """
    curves = belief.curves()
    spans = curves.spans[-_MOST_ROWS:]
    left, right = _reach(curves, belief, spans)
    base = _TOP + _HILL
    floor = base + 40.0 + _ROW * max(len(spans), 1)
    footer = [_sentence(belief.sentence), *(_sentence(note) for note in notes)]
    if len(curves.spans) > len(spans):
        footer.append(f"The newest {len(spans)} of {len(curves.spans)} exposures are drawn.")
    drawing = Drawing(_WIDTH, floor + 30.0 + _LINE * (note_lines(footer) + 1), f"Target of {name}", footer[0])
    scale = (_WIDTH - _MARGIN - _LABEL) / (right - left)

    def across(dose_j_m2: float) -> float:
        stops = min(max(math.log2(dose_j_m2), left), right)
        return _LABEL + (stops - left) * scale

    drawing.text((_LABEL, 30.0), f"Target of {name}", 18.0, font_weight="600")
    drawing.text((_LABEL, 50.0), "Dose for full density. Dashed: believed beforehand; filled: now.", 12.0)
    drawing.text(
        (_LABEL, 66.0), "Bars: what each exposure says. Dotted: four times in five it lies between.", 12.0
    )
    highest = float(max(curves.prior_density.max(), curves.posterior_density.max()))
    kept = _thinned(curves.dose_j_m2, left, right)

    def hill(density: FloatArray) -> list[Point]:
        return [
            (across(float(curves.dose_j_m2[k])), base - _HILL * 0.94 * float(density[k]) / highest)
            for k in kept
        ]

    now = hill(curves.posterior_density)
    drawing.polygon([(now[0][0], base), *now, (now[-1][0], base)], fill="url(#sunlit)", stroke="none")
    drawing.path(hill(curves.prior_density), stroke=QUIET, stroke_width="1.4", stroke_dasharray="6 4")
    drawing.path(now, stroke=FRAME, stroke_width="2.2")
    found = belief.distribution
    for dose, look in ((found.low_j_m2, "2 3"), (found.median_j_m2, "none"), (found.high_j_m2, "2 3")):
        x = across(dose)
        drawing.path([(x, base), (x, floor - 8.0)], stroke=FRAME, stroke_width="1", stroke_dasharray=look)
    drawing.text(
        (across(found.median_j_m2), _TOP - 6.0), dose_words(found.median_j_m2), 13.0, text_anchor="middle"
    )
    _draw_axis(drawing, across, (left, right), base)
    y = base + 40.0
    if not spans:
        drawing.text((_LABEL, y), "no exposure yet", 12.0, fill=QUIET)
    for span in spans:
        _draw_span(drawing, across, span, y)
        y += _ROW
    y = floor + 24.0
    for words in footer:
        y = drawing.note((_LABEL, y), words, _LINE)
    return drawing.to_svg()


def _reach(curves: BeliefCurves, belief: Belief, spans: Sequence[EvidenceSpan]) -> tuple[float, float]:
    """The stops to show: what is held likely, and every limit read, within eight stops of the median."""
    likely = [
        curves.dose_j_m2[density > _LIKELY * density.max()]
        for density in (curves.prior_density, curves.posterior_density)
    ]
    lowest, highest = (float(end) for end in (min(d[0] for d in likely), max(d[-1] for d in likely)))
    middle = math.log2(belief.distribution.median_j_m2)
    limits = [math.log2(d) for span in spans for d in (span.low_j_m2, span.high_j_m2) if d is not None]
    first = min(math.log2(lowest), middle - _LEAST_REACH_STOPS, *limits)
    last = max(math.log2(highest), middle + _LEAST_REACH_STOPS, *limits)
    return max(first, middle - 8.0) - 0.25, min(last, middle + 8.0) + 0.25


def _thinned(dose_j_m2: FloatArray, left: float, right: float) -> list[int]:
    shown = np.flatnonzero((np.log2(dose_j_m2) >= left) & (np.log2(dose_j_m2) <= right))
    step = max(shown.size // _MOST_POINTS, 1)
    return [int(k) for k in [*shown[::step], shown[-1]]]


def _draw_axis(
    drawing: Drawing, across: Callable[[float], float], reach: tuple[float, float], base: float
) -> None:
    drawing.path([(across(2.0 ** reach[0]), base), (across(2.0 ** reach[1]), base)], stroke=INK)
    span = reach[1] - reach[0]
    steps = (1.0, 2.0, 5.0) if span < 7.0 else (1.0, 3.0) if span < 12.0 else (1.0,)
    for power in range(math.floor(reach[0] * math.log10(2.0)), math.ceil(reach[1] * math.log10(2.0)) + 1):
        for step in steps:
            dose = step * 10.0**power
            if not reach[0] <= math.log2(dose) <= reach[1]:
                continue
            x = across(dose)
            drawing.path([(x, base), (x, base + 6.0)], stroke=INK)
            drawing.text((x, base + 19.0), _tick(dose), 11.0, text_anchor="middle", fill=QUIET)


def _tick(dose_j_m2: float) -> str:
    for unit, size in (("MJ/m²", 1e6), ("kJ/m²", 1e3)):
        if dose_j_m2 >= 0.999 * size:
            return f"{dose_j_m2 / size:g} {unit}"
    return f"{dose_j_m2:g} J/m²"


def _draw_span(drawing: Drawing, across: Callable[[float], float], span: EvidenceSpan, y: float) -> None:
    doubted = span.blunder_probability > NOT_BELIEVED
    colour = FAINT if doubted else FRAME
    low, high = span.low_j_m2, span.high_j_m2
    blur = 2.0**span.spread_stops
    first = across(1e-9 if low is None else low / blur)
    last = across(1e12 if high is None else high * blur)
    drawing.text((_LABEL - 10.0, y + 4.0), span.kind.value, 12.0, text_anchor="end", fill=QUIET)
    drawing.path([(first, y), (last, y)], stroke=SUN if not doubted else FAINT, stroke_width="3")
    inner = [across(d) for d in (low, high) if d is not None]
    if low is None:
        drawing.path([(inner[0], y), (first, y)], stroke=colour, stroke_width="1.6", marker_end="url(#tip)")
    elif high is None:
        drawing.path([(inner[0], y), (last, y)], stroke=colour, stroke_width="1.6", marker_end="url(#tip)")
    elif low == high:
        drawing.circle((inner[0], y), 4.5, fill=colour, stroke="none")
    else:
        drawing.path([(inner[0], y), (inner[1], y)], stroke=colour, stroke_width="6")
    if doubted:
        drawing.text((_WIDTH - 54.0, y + 4.0), "doubted", 11.0, fill=QUIET)


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."
