"""Short cautions for those who mix, coat, wash and rinse.

They point at the usual dangers and take no label's place: what the bottle and the local rules say goes first.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from noonframe.errors import OutOfDomain, UnknownName

CLP = "Regulation (EC) No 1272/2008, Annex VI"


@dataclass(frozen=True)
class Caution:
    """What to mind, what it is about, and where that comes from."""

    about: str
    text: str
    source: str


GENERAL = (
    Caution(
        "hands and eyes",
        "Wear gloves and eye protection, and don't eat or drink while you work. Flush an eye with water for "
        "several minutes; after eye contact or swallowing, get medical advice and show the label.",
        "usual advice of safety data sheets",
    ),
    Caution(
        "children and animals",
        "Keep powders, bottles and used baths out of reach of children and animals. Iron salts and oxalates "
        "are dangerous when swallowed.",
        "usual advice of safety data sheets",
    ),
    Caution(
        "kitchen things",
        "Whatever has held these solutions never goes back to food: keep own spoons, jugs, scales and trays.",
        "usual advice of safety data sheets",
    ),
    Caution(
        "powders",
        "Weigh powders without raising dust. Label every bottle with content, strength and date; keep it "
        "dark, cool and closed.",
        "usual advice of safety data sheets",
    ),
    Caution(
        "stains", "The blue stains skin, clothes, wood and sinks for good.", "common practice, no source"
    ),
    Caution(
        "disposal",
        "Ask your local household hazardous-waste service about powders, stocks, leftover mix and used "
        "baths, and do as it says: what may go down a drain differs from place to place. Never put "
        "ferricyanide with acid waste.",
        "local rules go first; acids: IPCS, International Chemical Safety Card 1132",
    ),
)

_SUBSTANCES = {  # gravest first
    "ammonium-dichromate": Caution(
        "ammonium dichromate",
        "A chromium(VI) salt: it may cause cancer and genetic damage, harm fertility, and make skin and "
        "lungs allergic for life; its dust can kill. Leave it out or choose another formula. Whoever has "
        "some takes it, closed, to the hazardous-waste service.",
        f"{CLP} (from memory)",
    ),
    "potassium-ferricyanide": Caution(
        "potassium ferricyanide",
        "Little toxic as it is, but heat and strong acids free hydrogen cyanide, a deadly gas. Never heat "
        "it, and never let it meet strong acid, bleach or ammonia. A cool, much diluted bath of vinegar or "
        "citric acid for a print is ordinary practice; go no further. Store it dry, away from acids.",
        "IPCS, International Chemical Safety Card 1132; bleach and dilute acids from memory, ammonia from a "
        "safety data sheet",
    ),
    "ammonium-iron-citrate": Caution(
        "ammonium iron(III) citrate",
        "May irritate eyes, skin and airways (makers disagree: take it that it does)."
        " Harmful when swallowed.",
        "safety data sheets of several makers, CAS 1185-57-5",
    ),
    "ammonium-iron-oxalate": Caution(
        "ammonium iron(III) oxalate",
        "Harmful when swallowed and through the skin, as oxalates are: gloves always, no dust.",
        f"{CLP}, salts of oxalic acid (from memory)",
    ),
}

_PEROXIDE_BANDS = (
    (50.0, "burns skin and eyes severely and feeds fires: not for a rinse, and not for a home"),
    (35.0, "does serious damage to eyes, irritates skin, and is a strong oxidiser: not for a rinse"),
    (8.0, "does serious damage to eyes and is an oxidiser: not for a rinse; buy the household strength"),
    (5.0, "irritates eyes seriously: goggles and gloves, and pour it into the water, not water into it"),
    (0.0, "is the household strength and still irritates eyes: gloves and goggles while pouring"),
)
_PEROXIDE_SOURCE = (
    f"{CLP}, specific concentration limits of hydrogen peroxide (5 and 8 % from memory); oxidiser from 8 %: "
    "GisChem data sheet, hydrogen peroxide solution from 8 to below 35 %"
)


def substance_caution(substance: str) -> Caution:
    """The caution for one substance; `UnknownName` for one that no formula here uses."""
    if substance not in _SUBSTANCES:
        raise UnknownName("substance", substance, ", ".join(_SUBSTANCES))
    return _SUBSTANCES[substance]


def peroxide_caution(strength_percent: float) -> Caution:
    """The caution for hydrogen peroxide of a strength in per cent by weight, above 0 and up to 100."""
    if not (math.isfinite(strength_percent) and 0.0 < strength_percent <= 100.0):
        raise OutOfDomain("peroxide_strength_percent", strength_percent, "above 0 and at most 100 %")
    words = next(words for least, words in _PEROXIDE_BANDS if strength_percent >= least)
    text = f"Hydrogen peroxide of {strength_percent:g} % {words}. Never mix it with other chemicals."
    return Caution("hydrogen peroxide", text, _PEROXIDE_SOURCE)


def cautions_for(
    substances: Iterable[str], peroxide_strength_percent: float | None = None
) -> tuple[Caution, ...]:
    """Cautions for work with these substances, the gravest first, then what holds for all such work."""
    wanted = [substance_caution(substance) for substance in substances]
    own = [caution for caution in _SUBSTANCES.values() if caution in wanted]
    if peroxide_strength_percent is not None:
        own.append(peroxide_caution(peroxide_strength_percent))
    return (*own, *GENERAL)
