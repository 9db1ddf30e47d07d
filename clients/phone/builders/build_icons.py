"""Draws the page's icon: a sheet half turned blue, with the sun's arc of light still on it.  SVG and PNG.

The same few shapes are written as SVG and drawn by Pillow at four times the size, then made smaller.
"""

from pathlib import Path

from PIL import Image, ImageDraw

FOLDER = Path(__file__).parents[1] / "page" / "icons"
PAPER, COAT, BLUE, INK = "#f7f4e6", "#e4e58c", "#143a72", "#0b1b33"
SIZE = 96
SHEET = (22, 16, 74, 80)
TURNED = [(22, 80), (22, 58), (74, 34), (74, 80)]
SUN = (40, 24, 56, 40)
FINER = 4


def svg() -> str:
    """The icon as text."""
    left, top, right, bottom = SHEET
    turned = " ".join(f"{x},{y}" for x, y in TURNED)
    cx, cy, radius = (SUN[0] + SUN[2]) / 2, (SUN[1] + SUN[3]) / 2, (SUN[2] - SUN[0]) / 2
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIZE} {SIZE}">\n'
        f'<rect width="{SIZE}" height="{SIZE}" rx="20" fill="{PAPER}"/>\n'
        f'<rect x="{left}" y="{top}" width="{right - left}" height="{bottom - top}" fill="{COAT}"/>\n'
        f'<polygon points="{turned}" fill="{BLUE}"/>\n'
        f'<circle cx="{cx:g}" cy="{cy:g}" r="{radius:g}" fill="{PAPER}" stroke="{INK}" stroke-width="4"/>\n'
        f'<rect x="{left}" y="{top}" width="{right - left}" height="{bottom - top}" fill="none"'
        f' stroke="{INK}" stroke-width="4"/>\n</svg>\n'
    )


def png(pixels: int, *, masked: bool, rounded: bool) -> Image.Image:
    """The icon; `masked` keeps everything within the circle that a phone may cut out."""
    big = pixels * FINER
    image = Image.new("RGBA", (big, big), (0, 0, 0, 0))
    draw = ImageDraw.Draw(image)
    if masked or not rounded:
        draw.rectangle((0, 0, big, big), fill=PAPER)
    else:
        draw.rounded_rectangle((0, 0, big - 1, big - 1), radius=20 * big / SIZE, fill=PAPER)
    shrink = 0.78 if masked else 1.0

    def at(value: float) -> float:
        return big * (0.5 + shrink * (value / SIZE - 0.5))

    line = round(4 * shrink * big / SIZE)
    box = [at(value) for value in SHEET]
    draw.rectangle(box, fill=COAT)
    draw.polygon([(at(x), at(y)) for x, y in TURNED], fill=BLUE)
    draw.ellipse([at(value) for value in SUN], fill=PAPER, outline=INK, width=line)
    draw.rectangle(box, outline=INK, width=line)
    return image.resize((pixels, pixels), Image.Resampling.LANCZOS)


def main() -> None:
    """Write all files."""
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / "mark.svg").write_text(svg(), encoding="utf-8")
    for pixels in (180, 192, 512):
        png(pixels, masked=False, rounded=pixels != 180).save(FOLDER / f"mark-{pixels}.png", optimize=True)
    png(512, masked=True, rounded=False).save(FOLDER / "mark-mask-512.png", optimize=True)


if __name__ == "__main__":
    main()
