"""Short cautions for those who stand in the sun beside a frame.

Categories and advice follow WHO/WMO/UNEP/ICNIRP (2002), Global Solar UV Index, WHO/SDE/OEH/02.2 (table
from memory), in our words; local advice goes first.
"""

_CATEGORIES = (
    (11, "extreme", "stay out of the midday sun; if you must be out, shade, shirt, hat and sunscreen"),
    (8, "very high", "keep out of the midday sun; wait in the shade, with shirt, hat and sunscreen"),
    (6, "high", "wait in the shade; shirt, hat and sunscreen"),
    (3, "moderate", "wait in the shade; shirt, hat and sunscreen"),
)
EYES = "Never look at the sun, nor at its reflection in the frame's glass."
HOT_GLASS = "Glass and frame grow hot in the sun: lift them with care, and keep them off dry grass."
HOT_ELEVATION_DEG = 20.0


def sun_cautions(
    highest_uv_index: float, highest_sun_elevation_deg: float, *, outdoors: bool, glazed: bool
) -> list[str]:
    """What to mind during an exposure; empty when the sun stays down."""
    if highest_sun_elevation_deg <= 0.0:
        return []
    cautions = [EYES]
    whole = round(highest_uv_index)
    for least, name, advice in _CATEGORIES:
        if outdoors and whole >= least:
            cautions.append(f"UV index up to {whole} ({name}): {advice}. Follow local advice.")
            break
    if glazed and highest_sun_elevation_deg >= HOT_ELEVATION_DEG:
        cautions.append(HOT_GLASS)
    return cautions
