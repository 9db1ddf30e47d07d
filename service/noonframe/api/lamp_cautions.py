"""Short cautions for those who work beside a UV lamp.

General lamp safety: IEC 62471, Photobiological safety of lamps and lamp systems, whose risk groups (exempt,
1, 2, 3) makers state.  In our words; local rules go first.
"""

from noonframe.lamp.lamp import Lamp

ENCLOSED = (
    "Keep the lamp in a closed box while it burns, and never look into it or at its reflection: ultraviolet "
    "light is not seen, and what it did to the eyes is felt hours later. Heed its risk group (IEC 62471)."
)
GLASSES = (
    "Where light gets out of the box, wear glasses rated for its wavelengths, long sleeves and gloves; let "
    "nobody without them come near."
)
HOT = "Lamp, box and glass grow hot: let them cool before you touch them, and watch over them."
MERCURY = (
    "Fluorescent tubes hold mercury: air the room if one breaks, do not vacuum, and hand old ones in as "
    "local rules ask."
)


def lamp_cautions(lamp: Lamp) -> list[str]:
    """What to mind during an exposure under a lamp."""
    return [ENCLOSED, GLASSES, HOT, *([MERCURY] if lamp.kind.family != "led" else [])]
