"""An example question about many places, and its answer: two invented print rooms and a ship between."""

from typing import Any

from noonframe.settings import Settings

BATCH: dict[str, object] = {
    "latitude_deg": [41.15, -45.87, 0.0],
    "longitude_deg": [-8.61, 170.5, -180.0],
    "elevation_m": [80, 10, 0],
    "start": "2026-06-21T12:00:00+01:00",
    "target_j_m2": 24000,
    "stack": "float-glass-4mm,polyester-film",
    "sensitizer": "citrate-classic",
}


def batch_examples(settings: Settings, now_s: float) -> dict[tuple[str, str], dict[str, Any]]:
    """The answer to the example."""
    from noonframe.api.batch_bodies import BatchBody
    from noonframe.api.batch_make import answer_batch

    answer = answer_batch(BatchBody.model_validate(BATCH), settings, now_s)
    return {("post", "/v1/batch"): {"application/json": answer.model_dump(mode="json")}}
