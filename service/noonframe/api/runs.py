"""Running exposures: started, told about, followed, from the records and the engine."""

import datetime as dt
import hashlib
import json
import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

import numpy as np

from noonframe.api.ask import Ask, find_target, understand
from noonframe.api.course_record import course_from, course_record
from noonframe.api.inputs_runs import EventBody, RunBody
from noonframe.api.outputs import Basis, WeatherBasis
from noonframe.api.outputs_runs import EventItem, RunAnswer, RunItem, SkyNow
from noonframe.api.records import Records
from noonframe.api.routes.exposure import basis_under, cautions_for
from noonframe.api.times import format_time
from noonframe.api.weather import WeatherDesk, is_in_reach
from noonframe.dose.course import Exposure
from noonframe.dose.live import Event, Following, LiveCourse, LiveState, check_events, event_from
from noonframe.dose.scene import Target
from noonframe.settings import Settings
from noonframe.sky.evidence import CloudCourse

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.exposures import Exposure as RunRow
    from noonframe.store.exposures import ExposureEvent

_DAY_S = 86400.0
_MARGIN_S = 900.0
_ENDED = ("finished", "discarded")
_MOST_FOLLOWED = 512


@dataclass
class _Followed:
    """What is kept of one exposure between questions, under its own lock."""

    ask: Ask
    target: Target
    wants_weather: bool
    row: "RunRow | None" = None
    events: tuple[Event, ...] = ()
    cloud: CloudCourse | None = None
    basis: Basis | None = None
    live: LiveCourse | None = None


class RunDesk:
    """Starts, tells and follows exposures; safe for several threads, shared records do the rest."""

    def __init__(self, settings: Settings, records: Records, weather: WeatherDesk) -> None:
        self._settings = settings
        self.records = records
        self._weather = weather
        self._followed: OrderedDict[UUID, tuple[_Followed, threading.Lock]] = OrderedDict()
        self._lock = threading.Lock()

    def start(self, db: "Connection", body: RunBody, now_s: float) -> RunAnswer:
        """Put a sheet into the light, in the transaction given."""
        from noonframe.store import exposures

        start_s = now_s if body.start is None else body.start.timestamp()
        ask, target = self._understood(body, start_s)
        run_id = uuid4()
        started = event_from("started", start_s, {}, event_id=uuid4(), sequence=1)
        check_events([started], now_s)
        scene = body.model_dump(mode="json", exclude_unset=True, exclude={"name", "start"})
        exposures.create(
            db,
            exposure_id=run_id,
            created_s=start_s,
            name=body.name,
            scene=scene,
            target_j_m2=target.target_j_m2,
        )
        exposures.append(
            db,
            run_id,
            event_id=started.event_id,
            kind="started",
            at_s=start_s,
            received_s=now_s,
            payload={},
        )
        row = exposures.get(db, run_id)
        answer = self._answer(row, [started], now_s, ask=ask, target=target)
        self._keep_light(db, row, now_s)
        return answer

    def tell(
        self, db: "Connection", run_id: UUID, body: EventBody, now_s: float
    ) -> tuple[EventItem, RunAnswer]:
        """Keep an event and follow the exposure with it; refused, nothing is kept."""
        from noonframe.store import exposures, light_records
        from noonframe.store.exposures import ExposureStatus

        row = exposures.get(db, run_id, lock=True)
        rows = exposures.events_after(db, run_id)
        at_s = now_s if body.at is None else body.at.timestamp()
        event_id = body.event_id or uuid4()
        payload = payload_of(body)
        known = [event_of(one) for one in rows]
        new = event_from(body.kind, at_s, payload, event_id=event_id, sequence=row.last_sequence + 1)
        check_events([*(one for one in known if one.event_id != event_id), new], now_s)
        kept = exposures.append(
            db,
            run_id,
            event_id=event_id,
            kind=body.kind,
            at_s=at_s,
            received_s=now_s,
            payload=payload,
        )
        events = [*(one for one in known if one.event_id != event_id), event_of(kept)]
        row = exposures.get(db, run_id)
        answer = self._answer(row, events, now_s, kept=light_records.get(db, run_id))
        self._keep_light(db, row, now_s)
        if answer.status in set(ExposureStatus) and answer.status != row.status.value:
            row = exposures.change(db, run_id, version=row.version, status=ExposureStatus(answer.status))
            answer = answer.model_copy(update={"version": row.version})
        return event_item(kept, self.zone_of(run_id, row)), answer

    def state(self, run_id: UUID, now_s: float) -> RunAnswer:
        """The exposure now."""
        from noonframe.store import exposures, light_records

        with self.records.open().read() as db:
            row = exposures.get(db, run_id)
            rows = exposures.events_after(db, run_id)
            kept = light_records.get(db, run_id)
        return self._answer(row, [event_of(one) for one in rows], now_s, kept=kept)

    def follow_rows(self, row: "RunRow", rows: Sequence["ExposureEvent"], now_s: float) -> RunAnswer:
        """The exposure at `now_s` from records already read."""
        return self._answer(row, [event_of(one) for one in rows], now_s)

    def followed_state(self, run_id: UUID, version: int, now_s: float) -> RunAnswer:
        """As `state`, without asking the records again while `version` is the one already known."""
        with self._lock:
            known = self._followed.get(run_id)
        if known is not None:
            followed, lock = known
            with lock:
                row = followed.row
                if row is not None and row.version == version:
                    return self._follow(row, followed, followed.events, now_s, None)
        return self.state(run_id, now_s)

    def zone_of(self, run_id: UUID, row: "RunRow") -> ZoneInfo:
        """The zone of an exposure's place."""
        return self._known(run_id, row)[0].ask.where.zone

    def _understood(self, body: RunBody, start_s: float) -> tuple[Ask, Target]:
        moment = dt.datetime.fromtimestamp(start_s, dt.UTC)
        ask = understand(body, moment, self._settings, body.spot)
        return ask, find_target(body, ask.scene.sensitizer)

    def _known(
        self, run_id: UUID, row: "RunRow", ask: Ask | None = None, target: Target | None = None
    ) -> tuple[_Followed, threading.Lock]:
        with self._lock:
            known = self._followed.get(run_id)
            if known is not None:
                self._followed.move_to_end(run_id)
                return known
        body = RunBody.model_validate_json(_text(row.scene))
        if ask is None or target is None:
            ask, target = self._understood(body, row.created_s)
        given = body.sky is not None or body.cloud_optical_depth is not None
        fresh = (_Followed(ask, target, self._weather.is_on and not given), threading.Lock())
        with self._lock:
            known = self._followed.setdefault(run_id, fresh)
            while len(self._followed) > _MOST_FOLLOWED:
                self._followed.popitem(last=False)
            return known

    def _answer(
        self,
        row: "RunRow",
        events: Sequence[Event],
        now_s: float,
        *,
        ask: Ask | None = None,
        target: Target | None = None,
        kept: Mapping[str, Any] | None = None,
    ) -> RunAnswer:
        followed, lock = self._known(row.id, row, ask, target)
        with lock:
            return self._follow(row, followed, events, now_s, kept)

    def _follow(
        self,
        row: "RunRow",
        followed: _Followed,
        events: Sequence[Event],
        now_s: float,
        kept: Mapping[str, Any] | None,
    ) -> RunAnswer:
        """The exposure with these events; the caller holds its lock."""
        cloud, basis = self._cloud(row, followed, now_s, kept)
        if followed.live is None or cloud is not followed.cloud:
            following = Following(spectra_dir=self._settings.spectra_dir)
            followed.live = LiveCourse(followed.ask.scene, followed.target, cloud, following=following)
        followed.row, followed.events = row, tuple(events)
        followed.cloud, followed.basis = cloud, basis
        return self._shape(row, followed, followed.live.state(followed.events, now_s), now_s)

    def _cloud(
        self, row: "RunRow", followed: _Followed, now_s: float, kept: Mapping[str, Any] | None
    ) -> tuple[CloudCourse | None, Basis]:
        """The cloud an exposure is followed under, and the basis to tell.

        The newest forecast while it runs; what was kept once it has ended, or once it began longer ago than
        any forecast reaches.
        """
        ask, start_s = followed.ask, row.created_s
        ended = row.status.value in _ENDED
        if not ended and followed.wants_weather and is_in_reach(now_s, start_s, start_s):
            ahead = self._weather.ahead(ask, now_s, start_s, max(now_s, start_s) + _DAY_S)
            if ahead is not None and ahead.course.from_s <= start_s:
                return ahead.course, basis_under(ask, ahead, max(now_s, start_s))
        if kept is not None:
            basis = ask.basis.model_copy(update={"weather": WeatherBasis.model_validate(kept["basis"])})
            course = course_from(kept)
            same = followed.cloud is not None and _same(followed.cloud, course)
            return (followed.cloud if same else course), basis
        if followed.cloud is not None and followed.basis is not None:
            return followed.cloud, followed.basis
        return None, ask.basis

    def _keep_light(self, db: "Connection", row: "RunRow", now_s: float) -> None:
        """Keep the cloud an exposure was followed under just now, in the transaction that tells of it."""
        from noonframe.store import light_records

        with self._lock:
            followed, _ = self._followed[row.id]
        cloud, basis = followed.cloud, followed.basis
        if cloud is None or basis is None or basis.weather is None:
            return
        until_s = max(now_s, row.created_s) + _DAY_S
        record = course_record(
            cloud, row.created_s - _MARGIN_S, until_s, basis.weather.model_dump(mode="json")
        )
        light_records.keep(db, row.id, record, now_s)

    def _shape(self, row: "RunRow", followed: _Followed, state: LiveState, now_s: float) -> RunAnswer:
        zone = followed.ask.where.zone
        sky = state.sky
        until_s = state.looked_until_s if state.looked_until_s is not None else now_s
        outlook = Exposure(now_s, state.remaining_s, None, None, 0.0, until_s, state.dark_then)
        ended = state.status.value in _ENDED
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
            cautions=[] if ended else cautions_for(followed.ask.scene, outlook),
            basis=followed.basis or followed.ask.basis,
        )


def _same(one: CloudCourse, other: CloudCourse) -> bool:
    return one.edges_s.shape == other.edges_s.shape and all(
        bool(np.array_equal(getattr(one, name), getattr(other, name)))
        for name in ("edges_s", "cover", "optical_depth", "spread_stops")
    )


def event_of(row: "ExposureEvent") -> Event:
    """A kept event as the engine knows it."""
    return event_from(row.kind, row.at_s, row.payload, event_id=row.event_id, sequence=row.sequence)


def event_item(row: "ExposureEvent", zone: ZoneInfo) -> EventItem:
    """A kept event as it is told."""
    return EventItem(
        sequence=row.sequence,
        event_id=str(row.event_id),
        kind=row.kind,
        at=format_time(row.at_s, zone),
        received=format_time(row.received_s, zone),
        payload=dict(row.payload),
    )


def run_item(row: "RunRow", zone: ZoneInfo) -> RunItem:
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


def payload_of(body: EventBody) -> dict[str, Any]:
    """What is kept of an event besides its kind, time and id."""
    fields = body.model_dump(mode="json", exclude_none=True, exclude={"kind", "at", "event_id", "reference"})
    if body.reference is not None:
        fields["reference_s"] = body.reference.timestamp()
    return fields


def request_hash(parts: Mapping[str, Any]) -> str:
    """A fingerprint of a request's content."""
    return hashlib.sha256(_text(parts).encode()).hexdigest()


def _text(value: Mapping[str, Any]) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"))


def _when(unix_s: float | None, zone: ZoneInfo) -> str | None:
    return None if unix_s is None else format_time(unix_s, zone)


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
