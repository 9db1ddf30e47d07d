"""Example requests and answers about tone, from an invented print room."""

from typing import Any

STEPS = [0.11, 0.15, 0.2, 0.27, 0.36, 0.46, 0.58, 0.71, 0.86, 1.02, 1.19]
STEPS += [1.36, 1.53, 1.7, 1.86, 2.0, 2.12, 2.21, 2.28, 2.32, 2.34]
FILM_PRINTER: dict[str, object] = {
    "name": "inkjet upstairs",
    "scale": {"by": "film", "densities": STEPS},
    "film": "coated polyester, 100 um",
    "notes": "black ink only, finest quality",
}
FILM_PRINTER_CHANGE: dict[str, object] = {"notes": "all inks, finest quality"}
TONE_QUERY: dict[str, object] = {"sensitizer": "citrate-classic", "even": "lightness"}
TONE: dict[str, object] = {
    "curve": {
        "densities": [1.42, 1.41, 1.36, 1.18, 0.89, 0.58, 0.34, 0.2, 0.13],
        "wedge": {"step_count": 9, "step_density": 0.3},
        "dose_j_m2": 96000,
    },
    "scale": {"by": "film", "densities": STEPS},
}
PREVIEW: dict[str, object] = {
    "negative": {"straighten_deg": -2.3, "levels": "auto"},
    "tone": {"d_min": 0.08, "d_max": 1.35},
    "stops": [-0.5, 0, 0.5],
}


def tone_examples(settings: Any, now_s: float) -> dict[tuple[str, str], dict[str, Any]]:
    """Answers of the routes of tone and of film printers; no records are touched."""
    from noonframe.api.bench_desk import BenchDesk
    from noonframe.api.document_routes import document_examples
    from noonframe.api.negative_tone import understand_tone
    from noonframe.api.negative_tone_bodies import ToneBody, ToneQuery
    from noonframe.api.negative_tone_told import tone_answer
    from noonframe.api.pictures.tone_plan import draw_tone
    from noonframe.api.records import Records
    from noonframe.api.routes.film_printers import FILM_PRINTER_KIND

    desk = BenchDesk(settings, Records(settings, lambda: now_s))
    shown = document_examples(FILM_PRINTER_KIND, now_s)
    asked = {"get": ToneQuery.model_validate(TONE_QUERY), "post": ToneBody.model_validate(TONE)}
    for method, body in asked.items():
        tone = understand_tone(desk, body)
        answer = tone_answer(tone)
        shown[method, "/v1/negative/tone"] = {"application/json": answer.model_dump(mode="json")}
        drawing = draw_tone(tone.correction, answer.summary)
        shown[method, "/v1/negative/tone/picture"] = {"image/svg+xml": drawing}
    return shown
