"""A predicted print out of a picture and its settings, as a picture and in numbers."""

from dataclasses import dataclass

from noonframe.api.bench_desk import BenchDesk
from noonframe.api.negative_make import fields_under, look_item, picture_settings
from noonframe.api.negative_preview_answers import ExposureItem, PreviewAnswer
from noonframe.api.negative_preview_bodies import PreviewBody
from noonframe.api.negative_tone import Tone, understand_tone
from noonframe.api.negative_tone_told import clipped_share, clipped_words, tone_item
from noonframe.api.negative_upload import Sent
from noonframe.errors import OutOfDomain
from noonframe.negative.code import inverse_table
from noonframe.negative.develop import Positive, preview_positive
from noonframe.negative.preview import NOT_MODELLED, Forecast, exposure_words, predict
from noonframe.negative.print_colour import MODEL, paper_tint


@dataclass(frozen=True)
class Preview:
    """A prediction with what it was made from."""

    body: PreviewBody
    tone: Tone
    positive: Positive
    forecast: Forecast


def preview_of(desk: BenchDesk, body: PreviewBody, sent: Sent) -> Preview:
    """The prediction; refuses more than one picture."""
    if len(sent.pictures) > 1:
        raise OutOfDomain("picture", len(sent.pictures), "one picture: previews are made one at a time")
    for name in ("picture", "copies"):
        if getattr(body.negative, name) != 1:
            raise OutOfDomain(f"negative.{name}", getattr(body.negative, name), "1 in a preview")
    paper_tint(body.paper_colour)
    tone = understand_tone(desk, body.tone, "tone.")
    with fields_under("negative"):
        settings = picture_settings(body.negative)
    positive = preview_positive(sent.pictures[0], settings, body.longest_px)
    made = tone.correction
    film = made.table if body.corrected else inverse_table()
    forecast = predict(positive.code, film, made.paper, made.ink, stops=body.stops, bits=body.bits)
    return Preview(body, tone, positive, forecast)


def preview_answer(preview: Preview, sent: Sent) -> PreviewAnswer:
    """The prediction in numbers."""
    body, forecast = preview.body, preview.forecast
    rows, columns = preview.positive.code.shape
    made = preview.tone.correction
    share = clipped_share(made, preview.positive.code) if body.corrected else 0.0
    exposures = [
        ExposureItem(
            stops=one.stops,
            says=exposure_words(one.stops),
            darkest=round(one.darkest, 4),
            lightest=round(one.lightest, 4),
            paper_white_share=round(one.paper_white_share, 4),
            full_share=round(one.full_share, 4),
            ramp=[round(float(each), 4) for each in one.wedge()],
        )
        for one in forecast.exposures
    ]
    nearest = min(exposures, key=lambda one: abs(one.stops))
    summary = (
        f"{'With' if body.corrected else 'Without'} a tone correction, {nearest.says}, from "
        f"{nearest.darkest:.2f} to {nearest.lightest:.2f}; {100.0 * nearest.paper_white_share:.0f} % of the "
        f"picture prints as paper white, {100.0 * nearest.full_share:.0f} % as dark as it gets."
    )
    if share > 0.0:
        summary += f" Of the picture, {clipped_words(made, share)}."
    return PreviewAnswer(
        summary=summary,
        look=look_item(sent.pictures[0], sent.names[0], preview.positive.look),
        columns=columns,
        rows=rows,
        corrected=body.corrected,
        clipped_share=round(share, 4),
        tone=tone_item(preview.tone, body.bits),
        exposures=exposures,
        colour=MODEL,
        not_modelled=list(NOT_MODELLED),
    )
