"""What can be told of a running exposure, and how it is kept.

`event_from` reads a stored row, `event_payload` writes one.  Times are unix seconds.
Other fields are refused.

    kind        payload
    ---------   -------------------------------------------------------------------------------------------
    started     {}
    covered     {"lamp_on": true, optional}      the frame is covered: no light reaches the sheet; under a
                                                 lamp, which is off then unless this says that it stays on
    uncovered   {}                               the light goes on
    sky         {"sky": a key of SEEN_SKIES,
                 "vouched_s": 0-3600, optional}  for how long the teller vouches for it, see live_sky
    moved       {"spot": a spot, see live_spots} where the frame lies from now on
    meter       {"quantity": "uv" or "lux",
                 "ratio": 0.001-1000,            this reading over one taken with the same meter, held the
                 "reference_s": a unix time,     same way (as the frame lies), at this moment of the exposure
                 "relative_uncertainty": 0-1}    one standard deviation of the ratio; 0 is left out
    target      {"target_j_m2": 1-1e8,
                 "target_spread_stops": 0-4, optional}  the spread stays as it was if not given
    finished    {}                               the sheet was taken out of the light
    discarded   {}                               the print was given up
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, ClassVar, Literal, cast
from uuid import UUID

from noonframe.dose.live_spots import number_of, spot_from, spot_payload, word_of
from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.sky.words import COVERING_CLOUD_OPTICAL_DEPTH, SKY_WORDS, CloudPart, SkyWord
from noonframe.spot.indoors import WindowSpot
from noonframe.spot.plane import OpenSpot

LONGEST_VOUCH_S = 3600.0
_COVERED_SPREAD_STOPS = 0.6  # 50 % by eye, as for the other cloudy words: Schwander et al. 2002

SEEN_SKIES: dict[str, SkyWord] = SKY_WORDS | {
    word.id: word
    for word in (
        SkyWord("sun-out", "the sun out", SKY_WORDS["clear"].parts, SKY_WORDS["clear"].spread_stops),
        SkyWord(
            "covered",
            "cloud before the sun",
            (CloudPart(1.0, COVERING_CLOUD_OPTICAL_DEPTH),),
            _COVERED_SPREAD_STOPS,
        ),
    )
}
"""The words for a sky seen during an exposure: those for any sky, and two for what the sun does right now."""


class Kind(StrEnum):
    """The kinds of events, as they are stored."""

    STARTED = "started"
    COVERED = "covered"
    UNCOVERED = "uncovered"
    SKY = "sky"
    MOVED = "moved"
    METER = "meter"
    TARGET = "target"
    FINISHED = "finished"
    DISCARDED = "discarded"


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that happened to an exposure at `at_s` (unix seconds).

    `sequence` is the order of telling, which settles what came first at one and the same moment.
    """

    kind: ClassVar[Kind]
    event_id: UUID
    sequence: int
    at_s: float

    def __post_init__(self) -> None:
        if not math.isfinite(self.at_s):
            raise OutOfDomain("at_s", self.at_s, "a finite time")


@dataclass(frozen=True, kw_only=True)
class Started(Event):
    """The frame was put into the light."""

    kind = Kind.STARTED


@dataclass(frozen=True, kw_only=True)
class Covered(Event):
    """The frame was covered: no light until it is uncovered; a lamp over it is off, or stays on."""

    kind = Kind.COVERED
    lamp_on: bool = False


@dataclass(frozen=True, kw_only=True)
class Uncovered(Event):
    """The frame was uncovered."""

    kind = Kind.UNCOVERED


@dataclass(frozen=True, kw_only=True)
class SkySeen(Event):
    """What somebody saw of the sky, and for how long it can be relied on; None where they did not say."""

    kind = Kind.SKY
    sky: str
    vouched_s: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.sky not in SEEN_SKIES:
            from difflib import get_close_matches

            near = get_close_matches(self.sky, SEEN_SKIES, n=2)
            raise UnknownName("sky", self.sky, f"one of {', '.join(SEEN_SKIES)}", near)
        if self.vouched_s is not None:
            check_vouched(self.vouched_s)

    @property
    def word(self) -> SkyWord:
        """The sky seen, as a mixture of cloud."""
        return SEEN_SKIES[self.sky]


@dataclass(frozen=True, kw_only=True)
class Moved(Event):
    """The frame was laid elsewhere, or aimed anew; its sample points keep their places on the sheet."""

    kind = Kind.MOVED
    spot: OpenSpot | WindowSpot


@dataclass(frozen=True, kw_only=True)
class MeterRead(Event):
    """A reading over one at `reference_s`, by the same meter held as the frame lay at each moment."""

    kind = Kind.METER
    quantity: Literal["uv", "lux"]
    ratio: float
    reference_s: float
    relative_uncertainty: float

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.quantity not in ("uv", "lux"):
            raise UnknownName("quantity", self.quantity, "uv or lux")
        if not 0.001 <= self.ratio <= 1000.0:
            raise OutOfDomain("ratio", self.ratio, "between 0.001 and 1000")
        if not 0.0 < self.relative_uncertainty <= 1.0:
            raise OutOfDomain("relative_uncertainty", self.relative_uncertainty, "above 0 and at most 1")
        if not (math.isfinite(self.reference_s) and self.reference_s < self.at_s):
            raise OutOfDomain("reference_s", self.reference_s, f"before the reading itself, {self.at_s:.0f}")


@dataclass(frozen=True, kw_only=True)
class TargetChanged(Event):
    """Another dose is wanted for the whole exposure."""

    kind = Kind.TARGET
    target_j_m2: float
    spread_stops: float | None = field(default=None)

    def __post_init__(self) -> None:
        super().__post_init__()
        if not 1.0 <= self.target_j_m2 <= 1e8:
            raise OutOfDomain("target_j_m2", self.target_j_m2, "between 1 and 100000000 J/m2")
        if self.spread_stops is not None and not 0.0 <= self.spread_stops <= 4.0:
            raise OutOfDomain("target_spread_stops", self.spread_stops, "between 0 and 4 stops")


@dataclass(frozen=True, kw_only=True)
class Finished(Event):
    """The sheet was taken out of the light."""

    kind = Kind.FINISHED


@dataclass(frozen=True, kw_only=True)
class Discarded(Event):
    """The print was given up."""

    kind = Kind.DISCARDED


_PLAIN: dict[Kind, type[Event]] = {one.kind: one for one in (Started, Uncovered, Finished, Discarded)}


def check_vouched(vouched_s: float) -> None:
    """Raise `OutOfDomain` unless the sky can be vouched for so long."""
    if not 0.0 <= vouched_s <= LONGEST_VOUCH_S:
        raise OutOfDomain("vouched_s", vouched_s, f"between 0 and {LONGEST_VOUCH_S:.0f}")


def event_from(kind: str, at_s: float, payload: Mapping[str, Any], *, event_id: UUID, sequence: int) -> Event:
    """The event of a stored row; its payload is as in the table above.

    Raises `UnknownName` for an unknown kind or word, `Malformed` for a field that is missing, unknown or of
    the wrong type, `OutOfDomain` for a value outside its limits.
    """
    try:
        what = Kind(kind)
    except ValueError:
        raise UnknownName("kind", kind, f"one of {', '.join(Kind)}") from None
    read = _Payload(payload)
    known: dict[str, Any] = {"event_id": event_id, "sequence": sequence, "at_s": number_of(at_s, "at_s")}
    event: Event
    match what:
        case Kind.COVERED:
            event = Covered(**known, lamp_on=read.optional_flag("lamp_on"))
        case Kind.SKY:
            event = SkySeen(**known, sky=read.text("sky"), vouched_s=read.optional_number("vouched_s"))
        case Kind.MOVED:
            event = Moved(**known, spot=spot_from(read.value("spot"), "spot"))
        case Kind.METER:
            event = MeterRead(
                **known,
                quantity=cast(Literal["uv", "lux"], read.text("quantity")),
                ratio=read.number("ratio"),
                reference_s=read.number("reference_s"),
                relative_uncertainty=read.number("relative_uncertainty"),
            )
        case Kind.TARGET:
            event = TargetChanged(
                **known,
                target_j_m2=read.number("target_j_m2"),
                spread_stops=read.optional_number("target_spread_stops"),
            )
        case _:
            event = _PLAIN[what](**known)
    read.refuse_others()
    return event


def event_payload(event: Event) -> dict[str, Any]:
    """The payload that `event_from` reads back as the same event."""
    match event:
        case Covered():
            return {"lamp_on": True} if event.lamp_on else {}
        case SkySeen():
            vouched = {} if event.vouched_s is None else {"vouched_s": event.vouched_s}
            return {"sky": event.sky} | vouched
        case Moved():
            return {"spot": spot_payload(event.spot)}
        case MeterRead():
            return {
                "quantity": event.quantity,
                "ratio": event.ratio,
                "reference_s": event.reference_s,
                "relative_uncertainty": event.relative_uncertainty,
            }
        case TargetChanged():
            spread = {} if event.spread_stops is None else {"target_spread_stops": event.spread_stops}
            return {"target_j_m2": event.target_j_m2} | spread
        case _:
            return {}


class _Payload:
    """A payload whose fields are taken one by one, so that what is left over can be refused."""

    def __init__(self, payload: Mapping[str, Any]) -> None:
        if not isinstance(payload, Mapping):
            raise Malformed("payload", payload, "needs named fields")
        self._left = dict(payload)

    def value(self, name: str) -> Any:
        if name not in self._left:
            raise Malformed(name, None, "is needed")
        return self._left.pop(name)

    def text(self, name: str) -> str:
        return word_of(self.value(name), name)

    def number(self, name: str) -> float:
        return number_of(self.value(name), name)

    def optional_number(self, name: str) -> float | None:
        return self.number(name) if self._left.get(name) is not None else self._left.pop(name, None)

    def optional_flag(self, name: str) -> bool:
        value = self._left.pop(name, False)
        if not isinstance(value, bool):
            raise Malformed(name, value, "needs true or false")
        return value

    def refuse_others(self) -> None:
        if self._left:
            name = min(self._left)
            raise Malformed(name, self._left[name], "no such field belongs to this kind of event")
