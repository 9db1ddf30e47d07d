"""Running exposures: started, told about, followed, from the records and the engine."""

import datetime as dt
import math
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from noonframe.api.ask import Ask, find_target, find_where, understand
from noonframe.api.ask_objects import refuse_objects
from noonframe.api.course_record import same_course
from noonframe.api.inputs_runs import EventBody, RunBody, payload_of
from noonframe.api.lamp_ask import LampAsk, lamp_where, understand_lamp
from noonframe.api.outputs_runs import EventItem, RunAnswer, RunItem
from noonframe.api.records import Records
from noonframe.api.runs_light import AHEAD_S, Under, record_of, under_forecast, under_kept
from noonframe.api.runs_told import ENDED, event_item, run_answer, run_item
from noonframe.api.runs_words import in_the_askers_words, plain_json_text
from noonframe.api.weather import SkyAhead, WeatherDesk
from noonframe.dose.lamp_live import LampCourse, scene_now
from noonframe.dose.lamp_scene import LampScene
from noonframe.dose.live import Event, Following, LiveCourse, check_events, event_from
from noonframe.dose.live_events import Moved
from noonframe.dose.live_timeline import timeline
from noonframe.dose.scene import Scene, Target
from noonframe.errors import NoonframeError, OutOfDomain
from noonframe.settings import Settings
from noonframe.sky.evidence import CloudCourse
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import OpenSpot
from noonframe.store.actors import Studio, current_studio
from noonframe.store.errors import StoreError

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from noonframe.store.exposures import Exposure as RunRow
    from noonframe.store.exposures import ExposureEvent

__all__ = ["RunDesk", "event_item", "event_of", "run_item"]

LONGEST_PAST_DAYS = 31
"""How long ago an exposure may have begun when it is told of: it is followed minute by minute."""

_DAY_S = 86400.0
_LOOK_EVERY_S, _LOOK_AGAIN_S = 60.0, 15.0  # at a forecast; where there was none
_TIDY_EVERY_S = 3600.0
_LONGEST_WAIT_S = 30.0
_KEPT_AHEAD_S = math.inf  # what was taken stays, though the clock be set back behind it
_MOST_FOLLOWED = 256  # a sky of its own costs some megabytes


@dataclass
class _Followed:
    """What is kept of one exposure between questions; `lock` guards all that changes.

    `row`, `events` and `kept` are only ever what was read from the records: what a change that is still under
    way would make of them may come to nothing.
    """

    ask: Ask | LampAsk
    target: Target
    wants_weather: bool
    lock: threading.Lock = field(default_factory=threading.Lock)
    row: "RunRow | None" = None
    events: tuple[Event, ...] = ()
    kept: Mapping[str, Any] | None = None
    look: SkyAhead | None = None
    look_until_s: float = float("-inf")
    cloud: CloudCourse | None = None
    live: LiveCourse | LampCourse | None = None
    moved: tuple[OpenSpot | WindowSpot, Scene] | None = None


class RunDesk:
    """Starts, tells and follows exposures; safe for several threads, shared records do the rest.

    Forecasts are asked for before any change of the records begins and without holding a lock: a provider may
    take its time, and keeps its answers in the same records.
    """

    def __init__(self, settings: Settings, records: Records, weather: WeatherDesk) -> None:
        self._settings = settings
        self.records = records
        self._weather = weather
        self._followed: OrderedDict[tuple[Studio | None, UUID], _Followed] = OrderedDict()
        self._lock = threading.Lock()
        self._tidied_s: dict[Studio | None, float] = {}

    def starting(self, body: RunBody, now_s: float) -> "Callable[[Connection], RunAnswer]":
        """What puts a sheet into the light, in the transaction that it is called with."""
        refuse_objects(body)
        start_s = now_s if body.start is None else body.start.timestamp()
        if start_s < now_s - LONGEST_PAST_DAYS * _DAY_S:
            limit = f"at most {LONGEST_PAST_DAYS} days ago"
            raise OutOfDomain("start", None if body.start is None else body.start.isoformat(), limit)
        ask, target = self._understood(body, start_s)
        followed = self._fresh(body, ask, target)
        started = event_from("started", start_s, {}, event_id=uuid4(), sequence=1)
        with in_the_askers_words(ask.where.zone, {"at_s": "start"}):
            check_events([started], now_s)
        look = self._looked(followed, start_s, now_s)

        def start(db: "Connection") -> RunAnswer:
            from noonframe.store import exposures

            run_id = uuid4()
            exposures.create(
                db,
                exposure_id=run_id,
                created_s=start_s,
                name=body.name,
                scene=scene_record(body),
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
            under = self._under(row, followed, now_s, look, None)
            return self._answer_and_keep(db, row, followed, [started], now_s=now_s, under=under)

        return start

    def telling(
        self, run_id: UUID, body: EventBody, now_s: float
    ) -> "Callable[[Connection], tuple[EventItem, RunAnswer]]":
        """What keeps an event and follows the exposure with it; refused, nothing is kept."""
        from noonframe.store import exposures

        payload = payload_of(body)
        with self.records.open().read() as db:
            known_row = exposures.get(db, run_id)
        followed = self._known(run_id, known_row)
        ended = known_row.status.value in ENDED
        look = None if ended else self._looked(followed, known_row.created_s, now_s)

        def tell(db: "Connection") -> tuple[EventItem, RunAnswer]:
            from noonframe.store import light_records
            from noonframe.store.exposures import ExposureStatus

            row = exposures.get(db, run_id, lock=True)
            rows = exposures.events_after(db, run_id)
            known = [event_of(one) for one in rows]
            event_id = body.event_id or uuid4()
            same = next((one for one in known if one.event_id == event_id), None)
            at_s = _no_sooner(now_s, rows[-1].received_s) if body.at is None else body.at.timestamp()
            if same is not None and body.at is None:
                at_s = same.at_s  # told again without a time of its own, it is the same event
            others = [one for one in known if one.event_id != event_id]
            with in_the_askers_words(followed.ask.where.zone, {"at_s": "at", "reference_s": "reference"}):
                new = event_from(body.kind, at_s, payload, event_id=event_id, sequence=row.last_sequence + 1)
                if same is None:
                    check_events([new], now_s)
                ordered = check_events([*others, new], now_s, _KEPT_AHEAD_S)
            last_s = max(now_s, ordered[-1].at_s)  # what a fast clock tells comes due without another word
            status = timeline(followed.target, ordered, last_s).status.value
            kept = exposures.append(
                db,
                run_id,
                event_id=event_id,
                kind=body.kind,
                at_s=at_s,
                received_s=now_s,
                payload=payload,
                status=ExposureStatus(status),
            )
            under = self._under(row, followed, now_s, look, light_records.get(db, run_id))
            row, events = exposures.get(db, run_id), [*others, event_of(kept)]
            answer = self._answer_and_keep(db, row, followed, events, now_s=now_s, under=under)
            return event_item(kept, followed.ask.where.zone), answer

        return tell

    def state(self, run_id: UUID, now_s: float) -> RunAnswer:
        """The exposure now."""
        return self._read(run_id, now_s)[0]

    def with_scene(self, run_id: UUID, now_s: float) -> tuple[RunAnswer, Scene | LampScene, dt.tzinfo]:
        """The exposure now, the scene where the frame lies or its lamp, and the zone of its times."""
        answer, followed = self._read(run_id, now_s)
        return answer, _scene_now(followed, followed.events, now_s), followed.ask.where.zone

    def _read(self, run_id: UUID, now_s: float) -> tuple[RunAnswer, _Followed]:
        from noonframe.store import exposures, light_records

        with self.records.open().read() as db:
            row = exposures.get(db, run_id)
            rows = exposures.events_after(db, run_id)
            kept = light_records.get(db, run_id)
        followed = self._known(run_id, row)
        look = None if row.status.value in ENDED else self._looked(followed, row.created_s, now_s)
        with followed.lock:
            followed.row, followed.events = row, tuple(event_of(one) for one in rows)
            followed.kept = kept
            under = self._under(row, followed, now_s, look, kept)
            return self._follow(row, followed, followed.events, now_s, under), followed

    def follow_rows(self, row: "RunRow", rows: "Sequence[ExposureEvent]", now_s: float) -> RunAnswer:
        """The exposure at `now_s` from records already read, under the sky that its scene assumes."""
        followed, events = self._known(row.id, row), [event_of(one) for one in rows]
        with followed.lock:
            return self._follow(row, followed, events, now_s, under_kept(followed.ask, None, None))

    def followed_state(self, run_id: UUID, version: int, now_s: float) -> RunAnswer:
        """As `state`, without asking the records again while `version` is the one already known."""
        with self._lock:
            followed = self._followed.get((current_studio.get(), run_id))
        row = None if followed is None else followed.row
        if followed is None or row is None or row.version != version:
            return self.state(run_id, now_s)
        look = None if row.status.value in ENDED else self._looked(followed, row.created_s, now_s)
        with followed.lock:
            if followed.row is row:
                under = self._under(row, followed, now_s, look, followed.kept)
                return self._follow(row, followed, followed.events, now_s, under)
        return self.state(run_id, now_s)

    def items(self, rows: "Sequence[RunRow]") -> list[RunItem]:
        """Exposures in a list, each in the time of its place."""
        return [run_item(row, self.zone_of(row.id, row)) for row in rows]

    def events(self, run_id: UUID, after: int) -> list[EventItem]:
        """The events after the one numbered `after`, in the order of telling."""
        from noonframe.store import exposures

        with self.records.open().read() as db:
            zone = self.zone_of(run_id, exposures.get(db, run_id))
            rows = exposures.events_after(db, run_id, after)
        return [event_item(one, zone) for one in rows]

    def tidy(self) -> None:
        """Drop the answers that nobody can ask for again, once in a while."""
        from noonframe.store import idempotency

        now_s = self.records.clock()
        with self._lock:
            if now_s < self._tidied_s.get(current_studio.get(), -math.inf) + _TIDY_EVERY_S:
                return
            self._tidied_s[current_studio.get()] = now_s
        with suppress(StoreError), self.records.open().write() as db:  # another time will do
            idempotency.purge(db, now_s)

    def zone_of(self, run_id: UUID, row: "RunRow") -> dt.tzinfo:
        """The zone of an exposure's place."""
        with self._lock:
            followed = self._followed.get((current_studio.get(), run_id))
        if followed is not None:
            return followed.ask.where.zone
        try:
            body = RunBody.model_validate_json(plain_json_text(row.scene))
            if body.lamp is not None:
                return lamp_where(body.time_zone, body.start).zone
            return find_where(body).zone
        except NoonframeError:  # a place that has lost its name: the list is good all the same
            return ZoneInfo("UTC")

    def doses_at(self, run_id: UUID, moments_s: Sequence[float]) -> tuple[float, ...]:
        """The dose that an exposure that has ended had gathered by each of some moments.  [J m-2]"""
        from noonframe.store import exposures, light_records

        with self.records.open().read() as db:
            row = exposures.get(db, run_id)
            events = [event_of(one) for one in exposures.events_after(db, run_id)]
            kept = light_records.get(db, run_id)
        followed = self._known(run_id, row)
        live = self._course(followed, under_kept(followed.ask, kept, None).cloud)
        return tuple(
            live.state([one for one in events if one.at_s <= at_s], at_s).dose_j_m2 for at_s in moments_s
        )

    def _understood(self, body: RunBody, start_s: float) -> tuple[Ask | LampAsk, Target]:
        moment = dt.datetime.fromtimestamp(start_s, dt.UTC)
        ask: Ask | LampAsk
        if body.lamp is not None:
            ask = understand_lamp(body, body.start, self._settings, body.spot)
        else:
            ask = understand(body, moment, self._settings, body.spot)
        return ask, find_target(body, ask.scene.sensitizer)

    def _course(self, followed: _Followed, cloud: CloudCourse | None) -> LiveCourse | LampCourse:
        scene = followed.ask.scene
        if isinstance(scene, LampScene):
            return LampCourse(scene, followed.target)
        following = Following(spectra_dir=self._settings.spectra_dir)
        return LiveCourse(scene, followed.target, cloud, following=following)

    def _fresh(self, body: RunBody, ask: Ask | LampAsk, target: Target) -> _Followed:
        given = body.sky is not None or body.cloud_optical_depth is not None or body.lamp is not None
        return _Followed(ask, target, self._weather.is_on and not given)

    def _known(self, run_id: UUID, row: "RunRow") -> _Followed:
        with self._lock:
            known = self._followed.get((current_studio.get(), run_id))
            if known is not None:
                self._followed.move_to_end((current_studio.get(), run_id))
                return known
        body = RunBody.model_validate_json(plain_json_text(row.scene))
        fresh = self._fresh(body, *self._understood(body, row.created_s))
        with self._lock:
            known = self._followed.setdefault((current_studio.get(), run_id), fresh)
            while len(self._followed) > _MOST_FOLLOWED:
                self._followed.popitem(last=False)
            return known

    def _looked(self, followed: _Followed, start_s: float, now_s: float) -> SkyAhead | None:
        """The newest forecast, asked for once a minute; None without weather."""
        if not followed.wants_weather or isinstance(followed.ask, LampAsk):
            return None
        with followed.lock:
            known = followed.look
            if known is not None and known.answer.asked_at_s <= now_s < followed.look_until_s:
                return known
        look = self._weather.ahead(followed.ask, now_s, start_s, max(now_s, start_s) + AHEAD_S)
        with followed.lock:
            found = look is not None and look.answer.best is not None
            followed.look, followed.look_until_s = look, now_s + (_LOOK_EVERY_S if found else _LOOK_AGAIN_S)
        return look

    def _under(
        self,
        row: "RunRow",
        followed: _Followed,
        now_s: float,
        look: SkyAhead | None,
        kept: Mapping[str, Any] | None,
    ) -> Under:
        """The cloud to follow an exposure under; `row` is from before whatever is being told."""
        if row.status.value in ENDED:
            return under_kept(followed.ask, kept, None)
        if look is None or isinstance(
            followed.ask, LampAsk
        ):  # weather is off, and perhaps was on when it began
            return under_kept(followed.ask, kept, max(now_s, row.created_s) + AHEAD_S)
        return under_forecast(followed.ask, look, kept, row.created_s, now_s)

    def _follow(
        self, row: "RunRow", followed: _Followed, events: Sequence[Event], now_s: float, under: Under
    ) -> RunAnswer:
        """The exposure with these events; the caller holds its lock."""
        if followed.live is None or not same_course(under.cloud, followed.cloud):
            followed.live = self._course(followed, under.cloud)
            followed.cloud = under.cloud
        state = followed.live.state(events, now_s, ahead_s=_KEPT_AHEAD_S)
        return run_answer(
            row, state, _scene_now(followed, events, now_s), followed.ask.where.zone, under.basis
        )

    def _answer_and_keep(
        self,
        db: "Connection",
        row: "RunRow",
        followed: _Followed,
        events: Sequence[Event],
        *,
        now_s: float,
        under: Under,
    ) -> RunAnswer:
        """The exposure, and in the same transaction the cloud it was followed under."""
        from noonframe.store import light_records

        with followed.lock:
            answer = self._follow(row, followed, events, now_s, under)
        record = record_of(under, row.created_s, now_s)
        if record is not None:
            light_records.keep(db, row.id, record, now_s)
        return answer


def scene_record(body: RunBody) -> dict[str, Any]:
    """What is kept of a request; its start only where it tells the clock, as a lamp has no place."""
    tells_clock = body.lamp is not None and body.time_zone is None
    return body.model_dump(
        mode="json", exclude_unset=True, exclude={"name"} if tells_clock else {"name", "start"}
    )


def _scene_now(followed: _Followed, events: Sequence[Event], now_s: float) -> Scene | LampScene:
    """The scene where the frame lies by now, or its lamp as warm as it is then."""
    if isinstance(followed.ask, LampAsk):
        course = LampCourse(followed.ask.scene, followed.target)
        return scene_now(followed.ask.scene, course.coldness(events, now_s, ahead_s=_KEPT_AHEAD_S))
    moves = [event for event in events if isinstance(event, Moved) and event.at_s <= now_s]
    if not moves:
        return followed.ask.scene
    spot = max(moves, key=lambda event: (event.at_s, event.sequence)).spot
    if followed.moved is None or followed.moved[0] != spot:
        followed.moved = (spot, replace(followed.ask.scene, spot=spot))
    return followed.moved[1]


def _no_sooner(now_s: float, newest_s: float) -> float:
    """The time of an event told without one: not before what was acknowledged while it waited its turn.

    A clock that is further off than any wait is another matter, and is left alone.
    """
    return newest_s if 0.0 < newest_s - now_s < _LONGEST_WAIT_S else now_s


def event_of(row: "ExposureEvent") -> Event:
    """A kept event as the engine knows it."""
    return event_from(row.kind, row.at_s, row.payload, event_id=row.event_id, sequence=row.sequence)
