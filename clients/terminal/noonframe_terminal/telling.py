"""What can be told of a run, in words, as the contract's events."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from noonframe_terminal import moments, words
from noonframe_terminal.options_run import Lean, Telling, check_belongs, spot_names, whole_spot
from noonframe_terminal.options_spot import Spot
from noonframe_terminal.trouble import Refused, refusal

SKIES = {
    "sun-out": "sun-out",
    "thin-cloud": "thin-cloud",
    "cloud": "covered",
    "overcast": "overcast",
    "rain": "rain",
    "fog": "fog",
    "broken": "broken",
    "clear": "clear",
}
KINDS = ("covered", "uncovered", "moved", "meter", "target", "finished", "discarded")
LAMP = {"lamp-off": "covered", "lamp-on": "uncovered"}
WORDS = ("covered", "uncovered", *LAMP, *SKIES, "moved", "meter", "target", "finished", "discarded")

_SAID = {
    "started": "put into the light",
    "covered": "frame covered",
    "uncovered": "frame uncovered",
    "moved": "frame moved",
    "finished": "finished",
    "discarded": "discarded",
}
SKIES_SAID = {
    "sun-out": "sun out",
    "thin-cloud": "thin cloud",
    "covered": "cloud before the sun",
    "broken": "broken cloud",
    "clear": "clear sky",
}


@dataclass(frozen=True)
class Told:
    """An event to be told: the word for it, its fields but for the moments, and the options behind them."""

    word: str
    event: Mapping[str, Any]
    names: Mapping[str, str]
    telling: Telling

    def body(self, run: Mapping[str, Any]) -> dict[str, Any]:
        """The whole event for a run in the state `run`, with an id by which a repetition is known."""
        body = {**self.event, "event_id": str(uuid4())}
        if self.telling.at is not None:
            body["at"] = moment_text(self.telling.at, run, "--at")
        if self.event["kind"] == "meter":
            since = self.telling.reference
            body["reference"] = run["start"] if since is None else moment_text(since, run, "--since")
        return body


def what_is_told(word: str, telling: Telling, spot: Spot, lean: Lean) -> Told:
    """The event for `word`; refuses an unknown one, and options that do not go with it."""
    said = word.strip().lower()
    if said not in WORDS:
        near = get_close_matches(said, WORDS, n=2)
        hint = f"; did you mean {' or '.join(near)}?" if near else ""
        raise refusal("WHAT", word, f"one of {', '.join(WORDS)}{hint}")
    kind = LAMP.get(said, said)
    event: dict[str, Any] = {"kind": kind} if kind in KINDS else {"kind": "sky", "sky": SKIES[said]}
    where = whole_spot(spot, lean)
    names = {**spot_names(spot, lean), "spot": "--spot"} | telling.names()
    typed = telling.fields()
    if where is not None and event["kind"] != "moved":
        raise Refused(f"a spot does not go with {said}: tell moved")
    if where is None and event["kind"] == "moved":
        raise Refused(
            "moved needs the new spot: --tilt and --facing, a window and a distance, or --spot FILE"
        )
    reference = {} if telling.reference is None else {"reference": telling.reference}
    check_belongs(event["kind"], said, typed | reference, names)
    return Told(said, event | typed | ({} if where is None else {"spot": where}), names, telling)


def moment_text(text: str, run: Mapping[str, Any], option: str) -> str:
    """RFC 3339 for a time typed of a run; by the clock at its place, it is the last time that it was so.

    "Now" is the service's, as the run tells it.
    """
    if not moments.is_local(text):
        return moments.instant_text(text, None, option)
    name = run["basis"]["time_zone"]
    zone = words.moment(run["at"]).tzinfo if name is None else ZoneInfo(name)
    now = words.moment(run["at"]).astimezone(zone)
    found = words.moment(moments.instant_text(text, zone, option, now.date()))
    has_no_day = text.strip().replace(":", "").isdigit()
    if has_no_day and found > now + dt.timedelta(hours=12):
        found = words.moment(moments.instant_text(text, zone, option, now.date() - dt.timedelta(days=1)))
    return found.isoformat()


def event_words(event: Mapping[str, Any]) -> str:
    """An event as it is kept, in words."""
    kind, payload = event["kind"], event["payload"]
    match kind:
        case "sky":
            return SKIES_SAID.get(payload["sky"], str(payload["sky"]))
        case "meter":
            return f"meter ({payload['quantity']}): {payload['ratio']:g} of what it was"
        case "target":
            return f"new target, {payload['target_j_m2']:g} J/m²"
        case "covered" if payload.get("lamp_on"):
            return "frame covered, the lamp on"
        case _:
            return _SAID.get(kind, str(kind))
