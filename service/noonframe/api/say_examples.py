"""Example requests and answers of the one-line answers; no records are touched."""

import datetime as dt
from typing import Any

from noonframe.api.inputs import MovesQuery, SlotsQuery
from noonframe.api.outputs_runs import RunAnswer
from noonframe.api.routes.moves import planned
from noonframe.api.routes.slots import answer_slots
from noonframe.api.say import next_in_plan, tomorrow_answer
from noonframe.api.say_address import OwnAddress
from noonframe.api.say_outputs import AddressAnswer, SayNextMove, SayRunning, SayTomorrow
from noonframe.api.say_qr import draw_address
from noonframe.api.say_running import running_answer, time_left_answer
from noonframe.settings import Settings

_SHEET: dict[str, object] = {
    "place": "quayside-yard",
    "target_j_m2": 24000,
    "stack": "float-glass-4mm,polyester-film",
}
TOMORROW: dict[str, object] = {**_SHEET}
NEXT_MOVE: dict[str, object] = {**_SHEET, "start": "2026-06-21T09:00:00+01:00"}


def say_examples(settings: Settings, now_s: float, run: RunAnswer) -> dict[tuple[str, str], dict[str, Any]]:
    """An answer to the example request of each operation, by media type; `run` is a print in the light."""
    day = dt.datetime.fromtimestamp(now_s, dt.UTC).date() + dt.timedelta(days=1)
    slots = SlotsQuery.model_validate({**TOMORROW, "date": day.isoformat(), "limit": 1})
    plan = planned(MovesQuery.model_validate(NEXT_MOVE), settings, now_s, None).answer()
    at_s = dt.datetime.fromisoformat(run.at).timestamp()
    told: dict[str, SayTomorrow | SayNextMove | SayRunning] = {
        "tomorrow": tomorrow_answer(answer_slots(slots, settings, now_s, None), day),
        "next-move": next_in_plan(plan, now_s),
        "running": running_answer([run], at_s),
        "time-left": time_left_answer([run], at_s),
    }
    shown: dict[tuple[str, str], dict[str, Any]] = {
        ("get", f"/v1/say/{name}"): {
            "application/json": answer.model_dump(mode="json"),
            "text/plain": answer.summary,
        }
        for name, answer in told.items()
    }
    own = OwnAddress("http://localhost", loopback=True)
    address = AddressAnswer(address=own.base, loopback=own.loopback, summary=own.summary)
    shown["get", "/v1/address"] = {"application/json": address.model_dump()}
    shown["get", "/v1/address.svg"] = {"image/svg+xml": draw_address(own)}
    return shown
