"""What to do next, in plain words."""

from noonframe.dose.live_timeline import LiveStatus

_NEARLY_S = 45.0
_OVER_STOPS = 0.15
_CLOUD_MATTERS = 1.25


def advice(
    status: LiveStatus,
    *,
    share: float,
    over_stops: float,
    remaining_s: float | None,
    clouded_s: float | None,
    dark_s: float | None,
) -> str:
    """One sentence; `remaining_s` None means that the light, or what is known of it, ends first.

    `dark_s` is how long until the dark, where that is what ends it.
    """
    done = f"{min(round(100.0 * share), 999)} per cent of the dose"
    if status in (LiveStatus.FINISHED, LiveStatus.DISCARDED):
        return f"{status.value.capitalize()} with {done}."
    if status is LiveStatus.READY:
        return _ready(remaining_s, dark_s)
    if share >= 1.0:
        over = f", {over_stops:.1f} stops over" if over_stops >= _OVER_STOPS else ""
        next_step = "develop it" if status is LiveStatus.COVERED else "take it in now"
        return f"It has had its dose{over}: {next_step}."
    if remaining_s is None:
        return _short_of_light(status, done, dark_s)
    if status is LiveStatus.COVERED:
        return f"Covered with {done}; {say_about(remaining_s)} more once you uncover it."
    return _going_on(remaining_s, clouded_s)


def _going_on(remaining_s: float, clouded_s: float | None) -> str:
    left = say_about(remaining_s)
    if remaining_s <= _NEARLY_S:
        return f"{_capital(left)} left: stay with it."
    if clouded_s is not None and clouded_s > _CLOUD_MATTERS * remaining_s:
        return f"{_capital(left)} left, {say_about(clouded_s)} under cloud; cover it if you leave."
    return f"{_capital(left)} left; cover it if you leave."


def _ready(remaining_s: float | None, dark_s: float | None) -> str:
    if remaining_s is not None:
        return f"Ready: {say_about(remaining_s)} if you start now."
    if dark_s is not None and dark_s <= 0.0:
        return "It is dark: wait for daylight."
    return "Not now: the light would go before it is done."


def _short_of_light(status: LiveStatus, done: str, dark_s: float | None) -> str:
    if dark_s is None:
        return f"{_capital(done)} so far; it is not likely to be done within the time looked at."
    if dark_s <= 0.0:
        return f"It is dark, with {done}: cover it and go on in daylight, or develop it as it is."
    when = "The light goes" if status is LiveStatus.RUNNING else "Once uncovered, the light goes"
    return f"{when} in {say_about(dark_s)}, before it is done; {done} so far."


def say_about(length_s: float) -> str:
    """A length of time, as roughly as one knows it."""
    if length_s < 90.0:
        return f"about {max(5 * round(length_s / 5.0), 5)} seconds"
    minutes = round(length_s / 60.0)
    if minutes < 60:
        return f"about {minutes} minutes"
    hours, rest = divmod(5 * round(minutes / 5.0), 60)
    hour_word = f"{hours} hour{'' if hours == 1 else 's'}"
    return f"about {hour_word}" + (f" {rest} minutes" if rest else "")


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
