"""Draws the tide table of the demo and photographs it: pictures/tide-table.jpg.

Everything is invented: a sheet with a week of tides and a frond of kelp, lying on a dark bench, seen a
little askew by a hand-held camera held on its side, in uneven light.  Run it from anywhere; the picture is
the same each time.
"""

import hashlib
import io
import json
import math
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

PICTURES = Path(__file__).resolve().parents[1] / "pictures"
NAME = "tide-table"
SHEET = (1500, 2000)
PHOTO = (1800, 2400)
PAPER, INK, WEED = (238, 229, 208), (38, 44, 58), (66, 78, 40)
ASKEW_DEG = 2.3  # clockwise
SEED = 20260621
DAYS = ("Sun 21", "Mon 22", "Tue 23", "Wed 24", "Thu 25", "Fri 26", "Sat 27")
LUNAR_H = 12.4206  # period of the principal lunar tide, M2


def draw_sheet():
    sheet = Image.new("RGB", SHEET, PAPER)
    pen = ImageDraw.Draw(sheet)
    big, middle, small = (ImageFont.load_default(size) for size in (96, 46, 40))
    pen.text((110, 90), "TIDE TABLE", INK, font=big)
    pen.text((114, 205), "Quayside Print Room, June 2026", INK, font=middle)
    pen.line((110, 290, 1390, 290), INK, 5)
    lefts = (114, 400, 640, 900, 1140)
    for left, head in zip(lefts, ("day", "high", "m", "low", "m"), strict=True):
        pen.text((left, 312), head, INK, font=middle)
    pen.line((110, 378, 1390, 378), INK, 2)
    for row, day in enumerate(DAYS):
        top = 405 + 92 * row
        high_h = (3.55 - 24.0 * row) % LUNAR_H  # later by fifty minutes each day
        spring = 1.0 + 0.25 * math.cos(2.0 * math.pi * row / 14.77)
        low_h = (high_h + LUNAR_H / 2.0) % 24.0
        cells = (day, clock(high_h), f"{2.0 + 1.3 * spring:.1f}", clock(low_h), f"{2.0 - 1.2 * spring:.1f}")
        for left, cell in zip(lefts, cells, strict=True):
            pen.text((left, top), cell, INK, font=small)
        pen.line((110, top + 66, 1390, top + 66), (178, 172, 160), 1)
    frond(sheet, np.random.default_rng(SEED))
    return sheet


def clock(hours):
    minutes = round(hours * 60.0)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def frond(sheet, rng):
    """A frond of kelp across the lower half: a bent stem, blades to both sides, lighter where thin."""
    layer = Image.new("RGBA", sheet.size, (0, 0, 0, 0))
    pen = ImageDraw.Draw(layer)
    share = np.linspace(0.0, 1.0, 60)
    stem = np.column_stack([180 + 1130 * share, 1760 - 480 * share + 90 * np.sin(4.2 * share)])
    for index in range(4, 58, 3):
        at, ahead = stem[index], stem[index] - stem[index - 1]
        along = math.atan2(ahead[1], ahead[0])
        for side in (-1, 1):
            reach = (300 - 130 * abs(share[index] - 0.45)) * rng.uniform(0.75, 1.0)
            angle = along + side * rng.uniform(0.65, 0.95)
            blade(pen, (at, angle, reach), side, rng)
    pen.line([tuple(point) for point in stem], (*(v // 2 for v in WEED), 255), 17, joint="curve")
    for index in range(6, 58, 9):
        x, y = stem[index]
        pen.ellipse((x - 19, y - 19, x + 19, y + 19), fill=(92, 96, 48, 235))
    sheet.paste(layer.convert("RGB"), mask=layer.getchannel("A").filter(ImageFilter.GaussianBlur(1.2)))


def blade(pen, place, side, rng):
    at, angle, reach = place
    colour = (*WEED, int(rng.integers(120, 190)))
    steps = np.linspace(0.0, 1.0, 40)
    bend = angle + side * 0.5 * steps
    x = at[0] + np.cumsum(np.cos(bend)) * reach / 40
    y = at[1] + np.cumsum(np.sin(bend)) * reach / 40
    wide = 0.12 * reach * np.sin(np.pi * steps**0.7) * (1.0 + 0.12 * np.sin(steps * rng.uniform(22, 34)))
    across = bend + math.pi / 2.0
    there = list(zip(x + wide * np.cos(across), y + wide * np.sin(across), strict=True))
    back = list(zip(x - wide * np.cos(across), y - wide * np.sin(across), strict=True))[::-1]
    pen.polygon([tuple(map(float, point)) for point in there + back], fill=colour)
    pen.line([tuple(map(float, p)) for p in zip(x, y, strict=True)], (*(v // 2 for v in WEED), 150), 3)


def photograph(sheet, rng):
    width, height = PHOTO
    grain = rng.normal(0.0, 1.0, (height // 4, 12))
    bench = np.repeat(np.repeat(grain, 4, axis=0), width // 12, axis=1)
    wood = np.clip(46 + 7 * bench, 10, 90)[..., np.newaxis] * np.array([1.0, 0.82, 0.66])
    photo = Image.fromarray(wood.astype(np.uint8)).filter(ImageFilter.GaussianBlur(3))
    left, top = (width - SHEET[0]) // 2, (height - SHEET[1]) // 2
    lying = Image.new("RGBA", PHOTO, (0, 0, 0, 0))
    lying.paste(sheet.convert("RGBA"), (left, top))
    lying = lying.rotate(-ASKEW_DEG, Image.Resampling.BICUBIC)
    shade = lying.getchannel("A").filter(ImageFilter.GaussianBlur(14)).point(lambda a: a * 0.6)
    photo.paste((8, 6, 5), (10, 14), shade)
    photo.paste(lying.convert("RGB"), mask=lying.getchannel("A"))
    seen = np.asarray(photo.filter(ImageFilter.GaussianBlur(0.9))).astype(np.float64)
    down, across = np.mgrid[0 : 1 : height * 1j, 0 : 1 : width * 1j]
    light = 1.04 - 0.34 * across - 0.16 * down - 0.10 * ((across - 0.4) ** 2 + (down - 0.4) ** 2)
    seen *= light[..., np.newaxis] * np.array([1.02, 1.0, 0.93])
    seen += rng.normal(0.0, 2.2, seen.shape)
    return Image.fromarray(np.clip(seen, 0, 255).astype(np.uint8))


def main():
    rng = np.random.default_rng(SEED + 1)
    photo = photograph(draw_sheet(), rng)
    exif = Image.Exif()
    exif[0x0112] = 6  # the camera was held on its side: turn a quarter clockwise to look at it
    out = io.BytesIO()
    photo.transpose(Image.Transpose.ROTATE_90).save(out, "JPEG", quality=82, exif=exif)
    path = PICTURES / f"{NAME}.jpg"
    path.write_bytes(out.getvalue())
    record = {
        "source": "drawn and photographed by a script of the project; the table, its hours and its heights"
        " are invented and of no use at sea",
        "reference": "data/builders/build_tide_table.py",
        "licence": "MIT, as the project",
        "retrieved": "2026-11-25",
        "columns": {
            "picture": {
                "unit": "sRGB code value",
                "meaning": f"{PHOTO[0]} x {PHOTO[1]} pixels once turned upright, three channels of 8 bits",
            }
        },
        "sha256": hashlib.sha256(out.getvalue()).hexdigest(),
        "builder": "builders/build_tide_table.py",
        "notes": f"Askew by {ASKEW_DEG} degrees clockwise and lying on its side by its EXIF orientation (6),"
        " as a found picture is; for the demo, the examples and the tests.",
    }
    text = json.dumps(record, indent=2, ensure_ascii=False) + "\n"
    (PICTURES / f"{NAME}.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
