"""`demo`: a whole exposure on a made-up day, told as it goes; no network, no waiting, nothing kept."""

import datetime as dt
import shutil
import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from noonframe_terminal import paper, words
from noonframe_terminal.contract import Service, converse_with
from noonframe_terminal.options import USUAL_STACK
from noonframe_terminal.show_run import end_moved
from noonframe_terminal.telling import SKIES_SAID
from noonframe_terminal.trouble import Failed, Refused

if TYPE_CHECKING:
    from noonframe.api.demo import Demo

_SHEET: Mapping[str, Any] = {"place": "quayside-yard", "stack": USUAL_STACK, "target_j_m2": 30000}
_NAME = "kelp fronds"
_TOLD_LATE_S = (0.0, 40.0, 25.0, 50.0, 35.0, 45.0)  # the printer has other things to do
_LOOK_EVERY_S = 300.0
_MOST_LOOKS = 100
_INDENT = 10


def run_demo() -> None:
    """Play the day and write it down."""
    from noonframe.api.demo import open_demo

    try:
        with open_demo() as demo:
            converse_with(demo.app, Play(demo).day)
    except Exception as problem:
        if not str(getattr(problem, "field", "")).startswith("NOONFRAME_"):
            raise
        raise Refused(str(problem)) from None


class Play:
    """One day of the printer's."""

    def __init__(self, demo: "Demo") -> None:
        self._demo, self._clock = demo, demo.clock
        self._zone = ZoneInfo("UTC")

    async def day(self, service: Service) -> None:
        """From the morning's look at the day to what came of the print."""
        _write(
            "A made-up day at the Quayside Print Room, an invented studio in Porto: made-up weather, a clock"
            " that is turned by hand, and records that are thrown away afterwards."
        )
        await self._look_at_the_day(service)
        timer_s = await self._ask_how_long(service)
        run, sun_s = await self._expose(service)
        self._reckon(run, timer_s, sun_s)

    async def _look_at_the_day(self, service: Service) -> None:
        day = (await service.get("/v1/slots", _fields(limit="3"), {})).says
        self._zone = ZoneInfo(day["basis"]["time_zone"])
        best = day["slots"][0]
        self._tell(
            f"When to print today, {words.date(words.moment(best['best_start']).date())}? Best at"
            f" {_clock(best['best_start'])}, for {words.length(best['length_s'])}."
        )
        for slot in day["slots"]:
            first, last = _clock(slot["first_start"]), _clock(slot["last_start"])
            _write(f"{first} to {last}  {words.length(slot['length_s'])}, {slot['why']}", " " * _INDENT)

    async def _ask_how_long(self, service: Service) -> float:
        self._clock.turn_to(self._demo.ready_s - 60.0)
        now = (await service.get("/v1/exposure", _fields(), {})).says
        low, high, out, covered = (
            "the light goes first" if now[key] is None else words.length(now[key])
            for key in ("length_low_s", "length_high_s", "if_sun_stays_s", "if_cloud_covers_s")
        )
        if now["length_s"] is None:
            raise Failed("the demo's day is too dark, which is a fault of noonframe")
        self._tell(
            f"The sheet is ready. How long now? {words.length(now['length_s'])}; eight times in ten {low} to"
            f" {high}. If the sun stays out {out}, if cloud covers it {covered}."
            f" By the made-up forecast: {now['basis']['sky']['says']}."
        )
        return float(now["length_s"])

    async def _expose(self, service: Service) -> tuple[Mapping[str, Any], float]:
        """The run at its end, and the length it would have had with the sun out from start to end."""
        self._clock.turn_to(self._demo.ready_s)
        started = await service.change("/v1/runs", {**_SHEET, "name": _NAME}, {})
        run: Mapping[str, Any] = started.says
        self._tell(f"The frame goes out: {_NAME}, {run['target_j_m2']:g} J/m². {_outlook(run)}")
        path, sun_s = f"/v1/runs/{run['id']}", float(run["if_sun_stays_s"])
        changes = list(zip(self._demo.changes, _TOLD_LATE_S, strict=False))
        for _ in range(_MOST_LOOKS):
            end_s = float("inf") if run["end"] is None else words.moment(run["end"]).timestamp()
            look_s = min(end_s, self._clock() + _LOOK_EVERY_S)
            if changes and _told_s(changes[0]) <= look_s:
                change, late_s = changes.pop(0)
                self._clock.turn_to(change.at_s + late_s)
                run = await self._see(service, path, change.at_s, change.sky)
                continue
            self._clock.turn_to(look_s)
            run = (await service.get(path, {}, {})).says
            if run["reached"]:
                break
            if look_s < end_s:
                self._tell(f"{100.0 * run['dose_share']:.0f} % of the dose. {_outlook(run)}")
        told = (await service.change(f"{path}/events", {"kind": "finished"}, {})).says["run"]
        self._tell(f"The bell rings and the frame comes in. {told['advice']}")
        return told, sun_s

    async def _see(self, service: Service, path: str, at_s: float, sky: str) -> Mapping[str, Any]:
        before = (await service.get(path, {}, {})).says
        at = dt.datetime.fromtimestamp(at_s, self._zone)
        told = await service.change(f"{path}/events", {"kind": "sky", "sky": sky, "at": at.isoformat()}, {})
        run: Mapping[str, Any] = told.says["run"]
        late_s = self._clock() - at_s
        when = f", told {words.length(late_s)} after the change" if late_s else ""
        moved = end_moved(run, before)
        self._tell(f"Sky told: {SKIES_SAID[sky]}{when}. {moved or ''}{' ' if moved else ''}{_outlook(run)}")
        return run

    def _reckon(self, run: Mapping[str, Any], timer_s: float, sun_s: float) -> None:
        """What truly came, against the reckoning and against timers."""
        start_s, stop_s = (words.moment(run[key]).timestamp() for key in ("start", "stopped"))
        target_j_m2 = run["target_j_m2"]

        def off(length_s: float) -> str:
            dose_j_m2 = self._demo.true_dose_j_m2(_SHEET, start_s, start_s + length_s)
            share = 100.0 * (dose_j_m2 / target_j_m2 - 1.0)
            return f"{abs(share):4.1f} % {'over' if share > 0.0 else 'under'}"

        true_j_m2 = self._demo.true_dose_j_m2(_SHEET, start_s, stop_s)
        _write("")
        _write(
            f"By the script of the sky the sheet truly got {true_j_m2:.0f} J/m²; noonframe, which knew only"
            f" what it was told, reckoned {run['dose_j_m2']:.0f}, and {target_j_m2:.0f} were wanted."
        )
        rows = [
            ("Followed, the sky told within a minute", stop_s - start_s),
            ("A plain timer, set by the forecast at the start", timer_s),
            ("A plain timer, set by the sun at the start", sun_s),
        ]
        true_end_s = self._demo.true_end_s(_SHEET, start_s, target_j_m2)
        for what, length_s in rows:
            _write(f"  {what:<48}{_exactly(length_s):>12}  {off(length_s):>13}")
        if true_end_s is not None:
            _write(f"  {'Exactly right':<48}{_exactly(true_end_s - start_s):>12}")

    def _tell(self, text: str) -> None:
        """`text` behind the time of the day."""
        now = dt.datetime.fromtimestamp(self._clock(), self._zone)
        _write(f"{words.clock(now, seconds=True)}  {text}", "", " " * _INDENT)


def _told_s(planned: tuple[Any, float]) -> float:
    """When a change of the sky is told."""
    change, late_s = planned
    return float(change.at_s + late_s)


def _exactly(length_s: float) -> str:
    minutes, seconds = divmod(round(length_s), 60)
    return f"{minutes} min {seconds:02d} s"


def _fields(**more: str) -> dict[str, str]:
    return {name: str(value) for name, value in _SHEET.items()} | more


def _clock(text: str) -> str:
    return words.clock(words.moment(text))


def _outlook(run: Mapping[str, Any]) -> str:
    if run["end"] is None:
        return str(run["advice"])
    end = words.moment(run["end"])
    said = f"Ends at {words.clock(end, seconds=True)}"
    if run["end_low"] is not None and run["end_high"] is not None:
        low, high = _clock(run["end_low"]), _clock(run["end_high"])
        said += f" ({low} to {high})" if low != high else ""
    return f"{said}."


def _write(text: str, first: str = "", later: str | None = None) -> None:
    """A paragraph, at once, so that the day can be read while it is played."""
    width = min(shutil.get_terminal_size().columns, 80)
    lines = textwrap.wrap(
        " ".join(text.split("\n")), width, initial_indent=first, subsequent_indent=later or first
    )
    paper.write("\n".join(lines))
