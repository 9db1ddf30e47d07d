"""Following a run on paper: a line that keeps up, what is told, and the bell at the end."""

import asyncio
import datetime as dt
import time
from collections.abc import AsyncGenerator, AsyncIterator, Mapping
from contextlib import aclosing, suppress
from typing import Any

from noonframe_terminal import paper, words
from noonframe_terminal.contract import Service
from noonframe_terminal.finding import title
from noonframe_terminal.show_run import is_due, watch_line
from noonframe_terminal.telling import event_words
from noonframe_terminal.ticker import Ticker
from noonframe_terminal.watching import ENDED, Away, Event, State, Update, follow

_TICK_S = 1.0
_PLAIN_EVERY = dt.timedelta(minutes=1)
_AGAIN_AFTER = dt.timedelta(minutes=1)


async def watch(service: Service, run_id: str, *, until_reached: bool) -> None:
    """Follow a run until it has ended, or with `until_reached` until it has had its dose."""
    page = Page(Ticker())
    page.begin((await service.get(f"/v1/runs/{run_id}", {}, {})).says)
    try:
        async with aclosing(follow(service, run_id)) as updates, aclosing(_with_ticks(updates)) as ticked:
            async for update in ticked:
                page.take(update)
                if until_reached and page.has_rung:
                    return
    finally:
        page.close()


async def watch_json(service: Service, run_id: str, *, until_reached: bool) -> None:
    """The same as the service's own states, one JSON object a line."""
    async with aclosing(follow(service, run_id)) as updates:
        async for update in updates:
            if isinstance(update, State):
                paper.write(update.text)
                if until_reached and update.says["reached"]:
                    return
            elif isinstance(update, Away):
                paper.complain(f"{update.why}; trying again")


async def _with_ticks(updates: AsyncIterator[Update]) -> AsyncGenerator[Update | None, None]:
    """`updates`, and None for every second without one."""
    pending: asyncio.Task[Update | None] | None = None
    try:
        while True:
            pending = pending or asyncio.create_task(_next(updates))
            done, _ = await asyncio.wait({pending}, timeout=_TICK_S)
            if not done:
                yield None
                continue
            update, pending = pending.result(), None
            if update is None:
                return
            yield update
    finally:
        if pending is not None:
            pending.cancel()
            with suppress(asyncio.CancelledError):
                await pending


async def _next(updates: AsyncIterator[Update]) -> Update | None:
    return await anext(updates, None)


class Page:
    """What is written of a run that is followed."""

    def __init__(self, ticker: Ticker) -> None:
        self._ticker = ticker
        self._run: Mapping[str, Any] | None = None
        self._received_s = 0.0
        self._away: str | None = None
        self._kept: tuple[object, ...] = ()
        self._kept_at: dt.datetime | None = None
        self.has_rung = False

    def begin(self, run: Mapping[str, Any]) -> None:
        """Say which run is followed."""
        leave = "" if run["status"] in ENDED else "; Ctrl-C leaves it running"
        self._ticker.keep(f"Following {title(run)}{leave}.")

    def take(self, update: Update | None) -> None:
        """Write what is new; None when only time has passed."""
        match update:
            case State():
                self._state(update.says)
            case Event():
                told = update.says
                when = words.clock(words.moment(told["at"]), seconds=True)
                self._ticker.keep(f"{when}  told: {event_words(told)}")
                self._kept = ()
                if not self._ticker.is_live:
                    return  # what it changes comes right after it
            case Away():
                if self._away is None:
                    self._ticker.keep(f"No contact ({update.why}); trying again. The run goes on.")
                self._away = update.why
        if self._run is not None and self._run["status"] not in ENDED:
            self._line(self._run)

    def close(self) -> None:
        """Nothing more is to come."""
        self._ticker.close()

    def _state(self, run: Mapping[str, Any]) -> None:
        if self._away is not None:
            self._ticker.keep("In contact again.")
        self._run, self._received_s, self._away = run, time.monotonic(), None
        if run["status"] in ENDED:
            when = words.clock(words.moment(run["stopped"] or run["at"]), seconds=True)
            self._ticker.keep(f"{when}  {run['advice']}")

    def _line(self, run: Mapping[str, Any]) -> None:
        since = dt.timedelta(seconds=time.monotonic() - self._received_s)
        now = words.moment(run["at"]) + since
        line = watch_line(run, now, self._away)
        if is_due(run, now):
            if not self.has_rung:
                self.has_rung = True
                self._ticker.keep(line)
                self._ticker.ring()
                self._keep_mark(run, now)
        elif self.has_rung and run["end"] is not None and words.moment(run["end"]) > now + _AGAIN_AFTER:
            self.has_rung = False  # what was told late took some of the dose back
        if self._ticker.is_live:
            self._ticker.show(line)
        elif self._away is None and self._is_news(run, now):
            self._ticker.keep(line)
            self._keep_mark(run, now)

    def _is_news(self, run: Mapping[str, Any], now: dt.datetime) -> bool:
        """Whether a pipe gets the line: something has changed, or a minute has passed."""
        late = self._kept_at is None or now - self._kept_at >= _PLAIN_EVERY
        return late or self._mark(run) != self._kept

    def _keep_mark(self, run: Mapping[str, Any], now: dt.datetime) -> None:
        self._kept, self._kept_at = self._mark(run), now

    @staticmethod
    def _mark(run: Mapping[str, Any]) -> tuple[object, ...]:
        end = None if run["end"] is None else words.clock(words.moment(run["end"]))
        return (run["status"], end, run["sky"]["says"], run["reached"])
