"""Plain words for answers: what a printer would say across the yard."""

import datetime as dt
import math
from dataclasses import dataclass

from noonframe.dose.exposure import Exposure, NextChance
from noonframe.dose.scene import Target

_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


_TEN_TO_NINETY = 2.563  # standard deviations between the 10 % and 90 % quantiles of a normal
_UNEVEN_STOPS = 0.5
_WORTH_SAYING_STOPS = math.log2(1.5)


def say_length(length_s: float) -> str:
    """A length of time as one would say it, rounded as one would round it."""
    whole = round(length_s)
    if whole < 120:
        return _count(max(whole, 1), "second")
    if whole < 20 * 60:
        whole = 10 * round(length_s / 10.0)
        minutes, seconds = divmod(whole, 60)
        return _count(minutes, "minute") + (f" {_count(seconds, 'second')}" if seconds else "")
    minutes = round(length_s / 60.0)
    if minutes < 60:
        return _count(minutes, "minute")
    hours, minutes = divmod(minutes, 60)
    return _count(hours, "hour") + (f" {_count(minutes, 'minute')}" if minutes else "")


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}{'' if number == 1 else 's'}"


def say_clock(unix_s: float, zone: dt.tzinfo, now_s: float) -> str:
    """The time of day at the place, with the date when it is not the day of `now_s` there."""
    moment = dt.datetime.fromtimestamp(60.0 * round(unix_s / 60.0), zone)  # to the nearest minute
    days_ahead = moment.toordinal() - dt.datetime.fromtimestamp(now_s, zone).toordinal()
    clock = f"{moment.hour:02d}:{moment.minute:02d}"
    if days_ahead == 0:
        return clock
    if days_ahead == 1:
        return f"{clock} tomorrow"
    return f"{clock} on {moment.day} {_MONTHS[moment.month - 1]} {moment.year}"


@dataclass(frozen=True)
class CloudDoubt:
    """What sampled skies leave open: the spread that is not cloud's, and whether a forecast made them."""

    other_spread_stops: float
    forecast: bool

    def matters(self, exposure: Exposure) -> bool:
        """Whether cloud alone spreads the 10-90 % range by more than half."""
        if exposure.low_s is None:
            return False
        if exposure.high_s is None:
            return True
        whole = math.log2(exposure.high_s / exposure.low_s)
        other = _TEN_TO_NINETY * self.other_spread_stops
        return math.sqrt(max(whole**2 - other**2, 0.0)) > _WORTH_SAYING_STOPS


def say_exposure(
    exposure: Exposure,
    target: Target,
    zone: dt.tzinfo,
    now_s: float,
    *,
    covered_s: float | None,
    chance: NextChance | None,
    bare: bool,
    cloud: CloudDoubt | None = None,
    uneven_stops: float = 0.0,
) -> str:
    """One speakable sentence for an exposure.

    `cloud` tells what a forecast leaves open, `uneven_stops` how far the sheet's parts lie apart if it stays.
    """
    if exposure.length_s is None:
        return _say_unreached(exposure, zone, now_s, chance)
    begins = "" if abs(exposure.start_s - now_s) < 90 else f" from {say_clock(exposure.start_s, zone, now_s)}"
    # The day is named once: with the start when that is named, else with the end.
    end = say_clock(exposure.end_s, zone, exposure.start_s if begins else now_s)
    sheet = " a bare sheet" if bare else ""
    parts = [f"Expose{sheet} {say_length(exposure.length_s)}{begins}, until {end}"]
    if covered_s is not None and covered_s > 1.1 * exposure.length_s:
        parts.append(f"if cloud covers the sun, {say_length(covered_s)}")
    if uneven_stops > _UNEVEN_STOPS:
        parts.append(
            f"the sun leaves part of the sheet, {uneven_stops:.1f} stops uneven, so ask for the moves"
        )
    if target.source.startswith("prior"):
        parts.append(_say_range(exposure))
    elif cloud is not None and cloud.matters(exposure):
        parts.append(_say_cloud(exposure, cloud))
    return "; ".join(parts) + "."


def _say_cloud(exposure: Exposure, cloud: CloudDoubt) -> str:
    low = say_length(exposure.low_s or 0.0)
    if exposure.high_s is None:
        return f"with such cloud at least {low}, and perhaps not before dark"
    opening = (
        "with the cloud forecast, anything from"
        if cloud.forecast
        else "no forecast is to be had, so reckon with"
    )
    return f"{opening} {low} to {say_length(exposure.high_s)}"


def _say_range(exposure: Exposure) -> str:
    low = say_length(exposure.low_s) if exposure.low_s is not None else "unknown"
    if exposure.high_s is None:
        return f"the sheet's need is a guess from {low} upward until a test strip narrows it"
    return (
        f"the sheet's need is a guess, {low} to {say_length(exposure.high_s)}, until a test strip narrows it"
    )


def _say_unreached(exposure: Exposure, zone: dt.tzinfo, now_s: float, chance: NextChance | None) -> str:
    if exposure.dose_share <= 0.0:
        opening = "It is dark"
    else:
        share = min(max(round(exposure.dose_share * 100), 1), 99)
        some = f"only {share}" if exposure.dose_share >= 0.005 else "under 1"
        opening = f"A whole day of this light gives {some} per cent of the dose"
        if exposure.dark_then:
            end = say_clock(exposure.looked_until_s, zone, now_s)
            opening = f"The light gives {some} per cent of the dose by {end}"
    if chance is None:
        return f"{opening}; there is no day in the coming year that gives enough."
    begin = say_clock(chance.start_s, zone, now_s)
    return f"{opening}; the next chance is {begin}, for {say_length(chance.length_s)}."
