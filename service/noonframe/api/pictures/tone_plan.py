"""A tone correction drawn: ink over the picture's grey, and what the print makes of it."""

import numpy as np

from noonframe.api.pictures.drawing import FRAME, INK, QUIET, Drawing, Point
from noonframe.negative.code import LARGEST, inverse_table
from noonframe.negative.preview import print_density
from noonframe.negative.tone import ToneCorrection
from noonframe.types import FloatArray

_WIDTH, _HEIGHT = 720.0, 440.0
_SIDE, _TOP = 270.0, 84.0
_LEFTS = (64.0, 404.0)
_POINTS = 97


def draw_tone(made: ToneCorrection, summary: str) -> str:
    """The correction as SVG: on the left the ink that each grey gets, on the right its print density."""
    drawing = Drawing(_WIDTH, _HEIGHT, "Tone correction", summary)
    drawing.text((24.0, 30.0), "Tone correction", 18.0, font_weight="600")
    drawing.text((24.0, 52.0), f"Coat: {made.paper.says}. "[:104], 12.0, fill=QUIET)
    codes = np.rint(np.linspace(0.0, LARGEST, _POINTS)).astype(np.uint16)
    plain = inverse_table()[codes]
    most = max(made.darkest, made.paper.d_max, 0.1)
    for left, film_of, top_words, ends in (
        (_LEFTS[0], True, "ink on the film, % of full ink", ("0", "100")),
        (_LEFTS[1], False, "density of the print", ("0", f"{most:.1f}")),
    ):
        drawing.box((left, _TOP), (_SIDE, _SIDE), stroke=INK)
        drawing.text((left, _TOP - 10.0), top_words, 12.0)
        drawing.text((left, _TOP + _SIDE + 18.0), "black", 11.0, fill=QUIET)
        drawing.text((left + _SIDE, _TOP + _SIDE + 18.0), "white", 11.0, fill=QUIET, text_anchor="end")
        middle = (left + _SIDE / 2.0, _TOP + _SIDE + 18.0)
        drawing.text(middle, "grey of the picture", 11.0, fill=QUIET, text_anchor="middle")
        for height, words in ((0.0, ends[0]), (1.0, ends[1])):
            at = (left - 8.0, _TOP + _SIDE * (1.0 - height) + 4.0)
            drawing.text(at, words, 11.0, fill=QUIET, text_anchor="end")
        for film, corrected in ((plain, False), (made.table[codes], True)):
            if film_of:
                height_of = 1.0 - film / LARGEST
            else:
                height_of = np.maximum(print_density(film, made.paper, made.ink), 0.0) / most
            look = {"stroke": FRAME, "stroke_width": "2.4"} if corrected else {"stroke": QUIET}
            dashed = {} if corrected else {"stroke_dasharray": "5 4"}
            drawing.path(_line(left, height_of), **look, **dashed)
    drawing.note((24.0, _TOP + _SIDE + 44.0), f"{summary} Dashed: without the correction.", 17.0)
    return drawing.to_svg()


def _line(left: float, height: FloatArray) -> list[Point]:
    across = np.linspace(left, left + _SIDE, height.size)
    return [(float(x), _TOP + _SIDE * (1.0 - float(y))) for x, y in zip(across, height, strict=True)]
