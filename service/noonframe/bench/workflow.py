"""Before and after the light: drying and keeping coated sheets, washing, rinsing and drying prints."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from noonframe.errors import OutOfDomain

_PRACTICE = "common practice, no source"
_MEMORY = "from memory"
_WARE = "M. Ware, published workshop notes"

RINSE_ML_PER_L, RINSE_STRENGTH_PERCENT = 5.0, 3.0
"""A few millilitres of 3 % peroxide to the litre (from memory)."""


@dataclass(frozen=True)
class Check:
    """One line of a checklist, and where it comes from."""

    text: str
    source: str


COATING_CHECKS = (
    Check(
        "Paper without an alkaline reserve (unbuffered, all cotton): alkali destroys the blue.",
        "makers' advice",
    ),
    Check(
        "Light: a tungsten lamp of 60 W two metres off or more is safe; no daylight, no fluorescent tube.",
        _WARE,
    ),
    Check("Mix the stocks just before use; the mix keeps for hours, at best a few days.", _MEMORY),
    Check("Dry flat in the dark in moving air, at most hand-warm; a heated coat fogs.", _PRACTICE),
    Check(
        "The coat is dry when it is matt and yellow-green all over; blue means it has seen light.", _PRACTICE
    ),
    Check(
        "Keep sheets dark, dry and cool in a closed black bag, and write the hour of coating on it.",
        _PRACTICE,
    ),
    Check("Print within a day: sheets lose speed and fog within a day to a few days.", "anecdotal"),
    Check(
        "Let the sheet take the air of the room, 40 to 80 % humid, before printing: a bone-dry coat may be "
        "slower by half a stop to a stop.",
        _MEMORY,
    ),
    Check(
        "The unused edge of a sheet stays yellow under the frame: check it for fog before printing.",
        _PRACTICE,
    ),
)


@dataclass(frozen=True)
class WorkStep:
    """A step with its usual shortest and longest time, what tells that it is done, and its source."""

    id: str
    text: str
    least_min: float
    most_min: float
    done_when: str
    optional: bool
    source: str


COATING_STEPS = (
    WorkStep("mix", "Measure and mix the stocks.", 2.0, 5.0, "the mix is one colour", False, _PRACTICE),
    WorkStep("coat", "Coat each sheet with rod or brush.", 1.0, 3.0, "the coat is even", False, _PRACTICE),
    WorkStep("sink-in", "Let the coat sink in, flat.", 2.0, 10.0, "nothing shines", False, _PRACTICE),
    WorkStep(
        "dry-coat", "Dry in the dark.", 30.0, 120.0, "matt, and not cool to the touch", False, _PRACTICE
    ),
)

WASHING_STEPS = (
    WorkStep(
        "acid-bath",
        "Where the water is hard: a first bath of cool water with a little vinegar or citric acid.",
        1.0,
        3.0,
        "time is up",
        True,
        _MEMORY,
    ),
    WorkStep(
        "wash",
        "Wash in cool water, face down, changing it a few times.",
        5.0,
        20.0,
        "no yellow is left in the whites or in the water",
        False,
        f"{_MEMORY}; times {_PRACTICE}",
    ),
    WorkStep(
        "oxidising-rinse",
        f"Rinse in water with {RINSE_ML_PER_L:g} mL of {RINSE_STRENGTH_PERCENT:g} % hydrogen peroxide to the "
        "litre; air does the same in a day.",
        0.5,
        2.0,
        "the blue has come up",
        True,
        f"{_MEMORY}; times {_PRACTICE}",
    ),
    WorkStep("rewash", "Wash again in cool water.", 5.0, 15.0, "time is up", False, _PRACTICE),
    WorkStep("dry-print", "Drip off, then dry flat, out of the sun.", 60.0, 720.0, "dry", False, _PRACTICE),
    WorkStep(
        "full-colour",
        "Leave in the air until the blue is full before judging the print; a rinsed one has it at once.",
        0.0,
        1440.0,
        "the blue deepens no more",
        False,
        _MEMORY,
    ),
)


@dataclass(frozen=True)
class TimedStep:
    """A step with the unix seconds at which it can begin and end, at the earliest and at the latest."""

    step: WorkStep
    earliest_start_s: float
    latest_start_s: float
    earliest_end_s: float
    latest_end_s: float


def timed(
    steps: Sequence[WorkStep], start_s: float, *, with_optional: Sequence[str] = (), repeats: int = 1
) -> tuple[TimedStep, ...]:
    """The steps one after another from a start, with the optional ones that are named.

    `repeats` is the number of sheets that the step "coat" is done for, one by one.
    """
    if not math.isfinite(start_s):
        raise OutOfDomain("start_s", start_s, "a finite unix second")
    if not 1 <= repeats <= 1000:
        raise OutOfDomain("repeats", repeats, "between 1 and 1000")
    optional = [step.id for step in steps if step.optional]
    for name in with_optional:
        if name not in optional:
            raise OutOfDomain("with_optional", name, "one of " + (", ".join(optional) or "none"))
    found = []
    early_s = late_s = start_s
    for step in steps:
        if step.optional and step.id not in with_optional:
            continue
        times = 60.0 * (repeats if step.id == "coat" else 1)
        early_end_s, late_end_s = early_s + step.least_min * times, late_s + step.most_min * times
        found.append(TimedStep(step, early_s, late_s, early_end_s, late_end_s))
        early_s, late_s = early_end_s, late_end_s
    return tuple(found)


def rinse_peroxide_ml(bath_l: float, strength_percent: float = RINSE_STRENGTH_PERCENT) -> float:
    """Millilitres of peroxide of a household strength for an oxidising rinse of so many litres."""
    if not (math.isfinite(bath_l) and 0.1 <= bath_l <= 100.0):
        raise OutOfDomain("bath_l", bath_l, "between 0.1 and 100 L")
    if not (math.isfinite(strength_percent) and 1.0 <= strength_percent < 8.0):
        limit = "at least 1 and below 8 %: from 8 % on it does serious damage to eyes; buy the 3 % kind"
        raise OutOfDomain("peroxide_strength_percent", strength_percent, limit)
    return bath_l * RINSE_ML_PER_L * RINSE_STRENGTH_PERCENT / strength_percent
