"""Writes css/tones.css: the paper's colour and its ink for twenty-one shares of the dose.

From the yellow-green of a fresh iron-salt coat over its grey-green middle to Prussian blue: colours chosen by
eye.  The ink of each is whichever of the two has the higher contrast (WCAG 2.2, relative luminance).
"""

from itertools import pairwise
from pathlib import Path

STOPS = (
    (0.0, (228, 229, 140)),
    (0.3, (196, 208, 160)),
    (0.55, (146, 182, 198)),
    (0.8, (56, 100, 160)),
    (1.0, (20, 58, 114)),
)
INKS = ((6, 18, 31), (255, 255, 255))
STEPS = 20
TARGET = Path(__file__).parents[1] / "page" / "css" / "tones.css"


def luminance(rgb: tuple[int, ...]) -> float:
    """Relative luminance of a colour, 0-1."""
    linear = [value / 3294.6 if value <= 10 else ((value / 255 + 0.055) / 1.055) ** 2.4 for value in rgb]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: tuple[int, ...], other: tuple[int, ...]) -> float:
    """Contrast of two colours, 1-21."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def tone(share: float) -> tuple[int, ...]:
    """The paper's colour for a share of the dose."""
    for (low, first), (high, last) in pairwise(STOPS):
        if share <= high:
            part = (share - low) / (high - low)
            return tuple(round(a + part * (b - a)) for a, b in zip(first, last, strict=True))
    return STOPS[-1][1]


def main() -> None:
    """Write the rules."""
    lines = ["/* Made by builders/build_tones.py. */"]
    for step in range(STEPS + 1):
        paper = tone(step / STEPS)
        ink = max(INKS, key=lambda one: contrast(one, paper))
        if contrast(ink, paper) < 4.5:
            raise SystemExit(f"tone {step} has too little contrast: {contrast(ink, paper):.2f}")
        rule = "--tone: #{:02x}{:02x}{:02x}; --tone-ink: #{:02x}{:02x}{:02x};".format(*paper, *ink)
        lines.append(f'[data-theme="day"] [data-tone="{step}"] {{ {rule} }}')
    TARGET.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
