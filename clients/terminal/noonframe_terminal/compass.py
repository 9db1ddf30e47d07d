"""Compass words to degrees clockwise from true north."""

from noonframe_terminal.trouble import refusal

_POINTS = ("n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw")
_WORDS = {"n": "north", "e": "east", "s": "south", "w": "west"}
_LIMIT = "degrees clockwise from north, or a compass word such as south-west or ssw"


def azimuth_text(text: str, option: str = "--facing") -> str:
    """Degrees, as text, for a compass word; a number passes through (its range is the service's to judge)."""
    word = "".join(c for c in text.lower() if c not in "-_ ")
    for index, point in enumerate(_POINTS):
        if word in (point, "".join(_WORDS[letter] for letter in point)):
            return f"{index * 22.5:g}"
    number = text.strip().removesuffix("°").removesuffix("deg").strip()
    try:
        float(number)
    except ValueError:
        raise refusal(option, text, _LIMIT) from None
    return number
