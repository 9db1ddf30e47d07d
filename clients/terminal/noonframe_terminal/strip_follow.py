"""Following a test strip in the light: when to cover each strip, by the dose of its run."""

import asyncio
import datetime as dt
import math
import time
from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from noonframe_terminal import paper, words
from noonframe_terminal.contract import Answer, Service
from noonframe_terminal.finding import short, title
from noonframe_terminal.show_strip import command_text
from noonframe_terminal.ticker import Ticker
from noonframe_terminal.trouble import ANSWERED, NOT_REACHED, Failed
from noonframe_terminal.watching import ENDED

_ASK_EVERY_S = 2.0
_TICK_S = 1.0
_PATIENCE_S = 5.0
_AGAIN_S = 0.25  # times are told to the second, so a cover can be a little later than it is told
_SOON = dt.timedelta(seconds=10)
_MOVED = dt.timedelta(seconds=10)
"""So much later or sooner than was last said is worth a line where nobody sees the one that keeps up."""


class StripFollow:
    """A strip on its way: what was asked, what is known of the covers to come, and when covers were made.

    A strip counts as covered once its cover was asked for.
    """

    def __init__(
        self,
        body: Mapping[str, Any],
        run: Mapping[str, Any],
        covered_at: Sequence[dt.datetime],
        *,
        typed: Sequence[str],
        in_json: bool,
        rings: bool,
    ) -> None:
        self.body = dict(body)
        self._run = run
        name = run["basis"]["time_zone"]  # none under a lamp, which has no place
        self._zone = words.moment(run["at"]).tzinfo if name is None else ZoneInfo(name)
        self._typed = list(typed)
        self._times = list(covered_at)
        self._ticker = None if in_json else Ticker()
        self._rings = rings
        self._said: tuple[int, dt.datetime] | None = None
        self._soon = 0
        self._status = ""
        self._covers: list[tuple[int, dt.datetime]] = []
        self._asked_at = words.moment(run["at"])
        self._asked_s = time.monotonic()
        self._tried_s = -math.inf
        self.is_away = False

    def begin(self) -> None:
        """Say what is followed."""
        done = self.body["covered"]
        since = f", {done} of {self.body['strip_count']} covered" if done else ""
        self._keep(f"Following {title(self._run)}{since}; Ctrl-C leaves it running.")

    def take(self, text: str, says: Mapping[str, Any]) -> int | None:
        """Write what is new in an answer; the exit code once there is nothing to follow."""
        if self._ticker is None:
            paper.write(text)
        if self.is_away:
            self.is_away = False
            self._keep("In contact again.")
        self._asked_at, self._asked_s = words.moment(says["at"]), time.monotonic()
        # what was covered while the service was away, it has not heard of yet
        done = self.body["covered"]
        self._covers = [
            (each["strip"], words.moment(each["cover_at"]).astimezone(self._zone))
            for each in says["strips"]
            if each["cover_at"] is not None and each["strip"] > done
        ]
        overdue = [strip for strip in says["overdue"] if strip > done]
        if overdue:
            self._cover(overdue)
        status, following = says["status"], says["next_strip"]
        if following is None or self._is_done():
            self._end()
            return ANSWERED
        if status in ENDED or (status == "running" and says["wait_s"] is None):
            self._keep(f"{self._clock(self.now())}  {says['advice']}")
            self._ring()
            if status not in ENDED:
                self._keep(
                    "Should the sun come back, tell the run, and follow on:", *self.again().splitlines()
                )
            elif self._times:
                self._keep(f"Covered at {self._covered_text()}.")
            return NOT_REACHED
        if status not in (self._status, "running"):
            self._keep(f"{self._clock(self.now())}  {says['advice']}")
        self._status = status
        self._say_next()
        return None

    def away(self, why: str) -> None:
        """The service cannot be reached; the covers go on by the light that was known."""
        if not self.is_away:
            self._keep(f"No contact ({why}); trying again. Covers are by the light known until now.")
        self.is_away = True

    def tick(self) -> int | None:
        """Time has passed: the line that keeps up, and while the service is away the covers themselves.

        Returns the exit code once there is nothing to follow.
        """
        now = self.now()
        if self.is_away:
            due = [strip for strip, at in self._covers if at <= now]
            self._covers = [each for each in self._covers if each[1] > now]
            if due:
                self._cover(due)
            if self._is_done():
                self._end()
                return ANSWERED
        self._say_next()
        return None

    def wait_s(self) -> float:
        """So long until something is to be done."""
        if not self._covers:
            return _TICK_S
        ahead_s = (self._covers[0][1] - self.now()).total_seconds()
        return min(max(ahead_s, 0.05), _TICK_S)

    def should_ask(self) -> bool:
        """Whether it is time for a new answer."""
        since_s = time.monotonic() - self._tried_s
        due = not self.is_away and bool(self._covers) and self._covers[0][1] <= self.now()
        if since_s < (_AGAIN_S if due else _ASK_EVERY_S):
            return False
        self._tried_s = time.monotonic()
        return True

    def is_kept_waiting(self) -> bool:
        """Whether an answer takes longer than one should wait for it."""
        return time.monotonic() - self._tried_s > _PATIENCE_S

    def now(self) -> dt.datetime:
        """The service's clock, carried on, as it is at the place."""
        since = dt.timedelta(seconds=time.monotonic() - self._asked_s)
        return (self._asked_at + since).astimezone(self._zone)

    def again(self) -> str:
        """The command that follows it again, with what was done so far."""
        done = self.body["covered"]
        told = ["--covered", self._covered_text() or str(done)] if done else []
        return command_text("strip", "follow", *self._typed, "--run", short(self._run["id"]), *told)

    def close(self) -> None:
        """Leave the line that keeps up where it is."""
        if self._ticker is not None:
            self._ticker.close()

    def _cover(self, strips: Sequence[int]) -> None:
        now = self.now()
        which = f"strip {strips[0]}" if len(strips) == 1 else f"strips {strips[0]} to {strips[-1]}"
        self._keep(f"{self._clock(now)}  Cover {which} now.")
        self._ring()
        if len(self._times) == self.body["covered"]:
            self._times += [now] * len(strips)
        self.body["covered"] = strips[-1]
        self._said = None

    def _say_next(self) -> None:
        if not self._covers or self._ticker is None or self._status == "covered":
            return
        strip, at = self._covers[0]
        left = at - self.now()
        if self._said is None or self._said[0] != strip or abs(at - self._said[1]) > _MOVED:
            if not self._ticker.is_live:
                later = "" if self._said is None or self._said[0] != strip else " now"
                self._keep(f"Strip {strip}{later} at {self._clock(at)}.")
            self._said = (strip, at)
        if self._soon < strip and dt.timedelta() < left <= _SOON:
            self._soon = strip
            if not self._ticker.is_live:
                self._keep(f"Strip {strip} in {words.length(left.total_seconds())}.")
        then = f", then {self._covers[1][0]} at {self._clock(self._covers[1][1])}" if self._covers[1:] else ""
        wait = words.length(max(left.total_seconds(), 0.0))
        self._ticker.show(f"Cover strip {strip} at {self._clock(at)}, in {wait}{then}")

    def _is_done(self) -> bool:
        return bool(self.body["covered"] == self.body["strip_count"])

    def _end(self) -> None:
        at, run = self._clock(self.now()), short(self._run["id"])
        self._keep(f"{at}  Every strip has its dose: take the sheet out of the light.")
        self._ring()
        covered = self._covered_text()
        told = ["--covered", covered] if covered else self._typed
        self._keep(
            "Tell the end of the run, and washed and dry how it came out (N: the first strip",
            "as dark as the last one, M: the first with any tone):",
            command_text("run", "tell", "finished", run, "--at", at),
            *command_text(
                *("strip", "read", "RECIPE", "--run", run, *told, "--first-full", "N", "--first-toned", "M")
            ).splitlines(),
        )

    def _covered_text(self) -> str:
        if len(self._times) != self.body["covered"]:
            return ""  # of some only their number was told
        return ",".join(self._clock(each.astimezone(self._zone)) for each in self._times)

    def _keep(self, *lines: str) -> None:
        if self._ticker is not None:
            for line in lines:
                self._ticker.keep(line)

    def _ring(self) -> None:
        if self._ticker is not None and self._rings:
            self._ticker.ring()

    @staticmethod
    def _clock(when: dt.datetime) -> str:
        return words.clock(when, seconds=True)


async def follow(service: Service, strip: StripFollow, names: Mapping[str, str]) -> int:
    """Follow a strip until it is done or its run has ended; the exit code.

    Raises `Failed` when the service is away at once; once it was there it is waited for.
    """
    strip.begin()
    was_there = False
    asking: asyncio.Task[Answer] | None = None
    try:
        while True:
            if asking is None and strip.should_ask():
                asking = asyncio.create_task(service.post("/v1/strip/follow", dict(strip.body), names))
            if asking is None:
                await asyncio.sleep(strip.wait_s())
            else:
                await asyncio.wait({asking}, timeout=strip.wait_s())
            code: int | None = None
            if asking is not None and asking.done():
                try:
                    answer = asking.result()
                    was_there = True
                    code = strip.take(answer.text, answer.says)
                except Failed as trouble:
                    if not was_there:
                        raise
                    strip.away(trouble.lines[0])
                asking = None
            elif was_there and strip.is_kept_waiting():
                strip.away("no answer yet")
            if code is None:
                code = strip.tick()
            if code is not None:
                return code
    finally:
        if asking is not None:
            asking.cancel()
        strip.close()
