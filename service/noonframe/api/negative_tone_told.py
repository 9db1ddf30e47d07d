"""A tone correction in numbers and in words."""

from collections.abc import Sequence

import numpy as np

from noonframe.api.negative_answers import NegativeAnswer
from noonframe.api.negative_bodies import NegativeItem
from noonframe.api.negative_tone import Tone
from noonframe.api.negative_tone_answers import CarryItem, InkItem, PaperItem, ToneAnswer, ToneItem, ToneNode
from noonframe.negative.code import LARGEST, CodeArray, inverse_table
from noonframe.negative.preview import print_density
from noonframe.negative.tone import VISIBLE_STEP, ToneCorrection
from noonframe.stack.objects import DENSITY_SPREAD

NODES = 21
COUNTED_PX = 500
"""Longer side of the small picture that clipped dots are counted in."""


def tone_item(tone: Tone, bits: int = 8) -> ToneItem:
    """What is told of a correction for files of so many bits to a dot."""
    made, ink = tone.correction, tone.correction.ink
    used, step, where = made.coarseness(bits)
    notes = [*tone.coat.notes, *ink.notes]
    if made.is_short:
        notes.append(_short_words(made))
    if step > VISIBLE_STEP:
        notes.append(
            f"at {bits} bits the tones lie on {used} film codes; about {100.0 * (1.0 - where):.0f} % ink one "
            f"code is {step:.3f} of print density, which smooth tones may show as bands"
        )
    return ToneItem(
        summary=_summary(made),
        even=made.aim.even,
        when_short=made.aim.when_short,
        paper=PaperItem(
            says=made.paper.says,
            d_min=round(made.paper.d_min, 4),
            d_max=round(made.paper.d_max, 4),
            target_j_m2=None if tone.coat.target_j_m2 is None else round(tone.coat.target_j_m2, 3),
        ),
        ink=InkItem(
            says=ink.says,
            film_density_range=round(ink.range, 4),
            spread=ink.spread,
            bare_density=None if ink.bare_density is None else round(ink.bare_density, 4),
            notes=list(ink.notes),
        ),
        darkest=round(made.darkest, 4),
        lightest=round(made.lightest, 4),
        lightest_wanted=round(made.lightest_wanted, 4),
        needed_density_range=round(made.needed_range, 4),
        clipped_from_share=None if made.clipped_from is None else round(made.clipped_from, 4),
        bits=bits,
        codes_used=used,
        largest_step=round(step, 4),
        exposure=carry_of(tone),
        notes=notes,
    )


def tone_answer(tone: Tone, bits: int = 8) -> ToneAnswer:
    """The correction as a table of 21 greys."""
    made = tone.correction
    codes = np.rint(np.linspace(0.0, LARGEST, NODES)).astype(np.uint16)
    film = made.table[codes]
    plain = print_density(inverse_table()[codes], made.paper, made.ink)
    printed = print_density(film, made.paper, made.ink)
    table = [
        ToneNode(
            picture_percent=round(100.0 * float(code) / LARGEST, 2),
            ink_percent=round(100.0 * (LARGEST - float(one)) / LARGEST, 2),
            film_code=int(one),
            film_density=round(float(made.ink.density_at(one)), 4),
            print_density=round(float(found), 4),
            uncorrected_density=round(float(without), 4),
        )
        for code, one, found, without in zip(codes, film, printed, plain, strict=True)
    ]
    return ToneAnswer(**tone_item(tone, bits).model_dump(), table=table)


def carry_of(tone: Tone) -> CarryItem:
    """What the exposure of a film must be told: how dense its clearest part is, which is bare film."""
    bare = tone.correction.ink.bare_density
    through_base = bare is not None and not tone.coat.films
    if through_base:
        says = "read through the film: leave the film out of the stack"
    elif tone.coat.films:
        says = f"above {tone.coat.films[0]}, which the recipe's stack counts"
    else:
        says = "above bare film: let the stack name the film, such as polyester-film"
    return CarryItem(
        negative_density=round(max(bare or 0.0, 0.0), 4) if through_base else 0.0,
        negative_density_spread=DENSITY_SPREAD if through_base else 0.0,
        negative_includes_base=through_base,
        says=says,
    )


def clipped_share(made: ToneCorrection, code: CodeArray) -> float:
    """Share of the dots of a positive whose grey is lighter than the film can print."""
    if made.clipped_from is None:
        return 0.0
    return float(np.mean(code >= round(made.clipped_from * LARGEST)))


def clipped_words(made: ToneCorrection, share: float) -> str:
    """The same in a sentence's part."""
    percent = "under 1 %" if share < 0.01 else f"{100.0 * share:.0f} %"
    return (
        f"greys from {100.0 * (made.clipped_from or 1.0):.0f} % of the code range on print alike, at density "
        f"{made.lightest:.2f}: {percent} of its dots"
    )


def with_tone(
    answer: NegativeAnswer, tone: Tone, items: Sequence[NegativeItem], shares: Sequence[float]
) -> NegativeAnswer:
    """What is told of a film page, with its tone correction; `shares` are the dots clipped in each."""
    made = tone.correction
    negatives = []
    for one, share in zip(answer.negatives, shares, strict=True):
        warned = [clipped_words(made, share)] if share > 0.0 else []
        negatives.append(one.model_copy(update={"warnings": [*one.warnings, *warned]}))
    if any(not item.invert for item in items):
        notes = [*answer.notes, "a picture that is a negative already was turned to a positive and corrected"]
    else:
        notes = list(answer.notes)
    told = tone_item(tone, answer.bits)
    summary = f"{answer.summary} {told.summary}"
    return answer.model_copy(
        update={"negatives": negatives, "tone": told, "notes": notes, "summary": summary}
    )


def _summary(made: ToneCorrection) -> str:
    words = "print density" if made.aim.even == "density" else "lightness"
    text = (
        f"Tones even in {words}, from {made.darkest:.2f} to {made.lightest:.2f}; the film needs a density "
        f"range of {made.needed_range:.2f} and has {made.ink.range:.2f}."
    )
    if made.is_short and made.clipped_from is not None:
        text += f" Greys from {100.0 * made.clipped_from:.0f} % of the code range on print alike."
    elif made.is_short:
        text += " White is squeezed to what the ink can reach."
    return text


def _short_words(made: ToneCorrection) -> str:
    return (
        f"the ink is {made.needed_range - made.ink.range:.2f} of density short: the lightest tone prints "
        f"{made.lightest - made.paper.d_min:.2f} above paper white, not "
        f"{made.lightest_wanted - made.paper.d_min:.2f}; denser ink, or a coat of less scale, "
        "mends that"
    )
