"""A running exposure, its events and lists of them, in the words of the answers."""

import datetime as dt
from typing import TYPE_CHECKING

from noonframe.api.lamp_cautions import lamp_cautions
from noonframe.api.lamp_outputs import LampBasis
from noonframe.api.outputs import Basis
from noonframe.api.outputs_runs import EventItem, RunAnswer, RunItem, SkyNow
from noonframe.api.routes.exposure import cautions_for
from noonframe.api.times import format_time
from noonframe.dose.course import Exposure
from noonframe.dose.lamp_scene import LampScene
from noonframe.dose.live import LiveState
from noonframe.dose.scene import Scene

if TYPE_CHECKING:
    from noonframe.store.exposures import Exposure as RunRow
    from noonframe.store.exposures import ExposureEvent

ENDED = ("finished", "discarded")


def run_answer(
    row: "RunRow", state: LiveState, scene: Scene | LampScene, zone: dt.tzinfo, basis: Basis | LampBasis
) -> RunAnswer:
    """An exposure and its state; `scene` is where the frame lies now, for the cautions."""
    now_s, sky = state.now_s, state.sky
    until_s = state.looked_until_s if state.looked_until_s is not None else now_s
    outlook = Exposure(now_s, state.remaining_s, None, None, 0.0, until_s, state.dark_then)
    return RunAnswer(
        id=str(row.id),
        name=row.name,
        status=state.status.value,
        version=row.version,
        last_sequence=row.last_sequence,
        at=format_time(now_s, zone),
        start=_when(state.start_s, zone),
        stopped=_when(state.stopped_s, zone),
        target_j_m2=state.target.target_j_m2,
        target_spread_stops=state.target.spread_stops,
        target_source=state.target.source,
        dose_j_m2=round(state.dose_j_m2, 3),
        dose_low_j_m2=round(state.dose_low_j_m2, 3),
        dose_high_j_m2=round(state.dose_high_j_m2, 3),
        dose_share=round(state.target_share, 5),
        dose_spread_stops=round(state.dose_spread_stops, 4),
        effective_w_m2=round(state.rate_w_m2, 4),
        reached=state.reached,
        reached_at=_when(state.reached_s, zone),
        over_stops=round(state.over_stops, 4),
        end=_when(state.end_s, zone),
        end_epoch=None if state.end_s is None else round(state.end_s),
        end_low=_when(state.end_low_s, zone),
        end_high=_when(state.end_high_s, zone),
        remaining_s=_round(state.remaining_s),
        if_sun_stays_s=_round(state.remaining_sun_out_s),
        if_cloud_covers_s=_round(state.remaining_clouded_s),
        reached_chance=None if state.reached_share is None else round(state.reached_share, 3),
        events_ahead=state.waiting,
        readings_unused=state.readings_unused,
        sky=SkyNow(
            says=sky.says,
            evidence=sky.evidence,
            seen=sky.seen,
            seen_at=_when(sky.seen_s, zone),
            age_s=_round(sky.age_s),
            weight=round(sky.weight, 4),
            sun_out_share=round(sky.sun_out_share, 4),
            metered=round(sky.metered, 4),
        ),
        advice=state.advice,
        cautions=[] if state.status.value in ENDED else _cautions(scene, outlook),
        basis=basis,
    )


def _cautions(scene: Scene | LampScene, outlook: Exposure) -> list[str]:
    return lamp_cautions(scene.lamp) if isinstance(scene, LampScene) else cautions_for(scene, outlook)


def event_item(row: "ExposureEvent", zone: dt.tzinfo) -> EventItem:
    """A kept event."""
    return EventItem(
        sequence=row.sequence,
        event_id=str(row.event_id),
        kind=row.kind,
        at=format_time(row.at_s, zone),
        received=format_time(row.received_s, zone),
        payload=dict(row.payload),
    )


def run_item(row: "RunRow", zone: dt.tzinfo) -> RunItem:
    """An exposure in a list."""
    return RunItem(
        id=str(row.id),
        name=row.name,
        status=row.status.value,
        created=format_time(row.created_s, zone),
        target_j_m2=row.target_j_m2,
        version=row.version,
        last_sequence=row.last_sequence,
    )


def _when(unix_s: float | None, zone: dt.tzinfo) -> str | None:
    return None if unix_s is None else format_time(unix_s, zone)


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
