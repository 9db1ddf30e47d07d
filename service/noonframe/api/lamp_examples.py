"""Example requests and answers about lamps, from an invented print room."""

from typing import Any

LAMP: dict[str, object] = {
    "name": "quayside box",
    "kind": "uv-a-tube-368",
    "output": {"by": "reading", "irradiance_mw_cm2": 6.0},
    "hours": 200,
}
LAMP_CHANGE: dict[str, object] = {"hours": 250}


def lamp_examples(now_s: float) -> dict[tuple[str, str], dict[str, Any]]:
    """Answers of the routes of lamps; no records are touched."""
    from noonframe.api.document_routes import document_examples
    from noonframe.api.routes.lamps import LAMP_KIND, answer_lamp_kinds

    kinds = answer_lamp_kinds(None)
    del kinds.kinds[1:]
    shown = document_examples(LAMP_KIND, now_s)
    shown["get", "/v1/lamp-kinds"] = {"application/json": kinds.model_dump(mode="json")}
    return shown
