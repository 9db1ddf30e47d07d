"""A film page with its tones corrected, where that is asked for."""

from fastapi import Request

from noonframe.api.bench_fill import bench_of
from noonframe.api.negative_answers import NegativeAnswer
from noonframe.api.negative_bodies import NegativeBody, NegativeItem
from noonframe.api.negative_make import fields_under, items_of, make, picture_settings
from noonframe.api.negative_tone import understand_tone
from noonframe.api.negative_tone_told import COUNTED_PX, clipped_share, with_tone
from noonframe.api.negative_upload import Sent
from noonframe.negative.build import Film
from noonframe.negative.code import CodeTable
from noonframe.negative.develop import preview_positive
from noonframe.negative.tone import ToneCorrection


def make_toned(request: Request, body: NegativeBody, sent: Sent) -> tuple[Film, NegativeAnswer]:
    """The film page and what is told of it, corrected for the coat and the film printer that `tone` names."""
    if body.tone is None:
        return make(body, sent)
    tone = understand_tone(bench_of(request), body.tone, "tone.")
    items = items_of(body, sent)
    tables: list[CodeTable | None] = [tone.correction.table] * len(items)
    film, told = make(body, sent, tables)
    return film, with_tone(told, tone, items, _clipped(items, sent, tone.correction))


def _clipped(items: list[NegativeItem], sent: Sent, made: ToneCorrection) -> list[float]:
    """Share of the dots of each negative that are clipped, counted in small pictures."""
    if made.clipped_from is None:
        return [0.0] * len(items)
    shares: dict[str, float] = {}
    for index, item in enumerate(items):
        key = item.model_dump_json(exclude={"copies", "at", "may_turn"})
        if key not in shares:
            with fields_under(f"negatives.{index}"):
                settings = picture_settings(item)
            positive = preview_positive(sent.pictures[item.picture - 1], settings, COUNTED_PX)
            shares[key] = clipped_share(made, positive.code)
    return [shares[item.model_dump_json(exclude={"copies", "at", "may_turn"})] for item in items]
