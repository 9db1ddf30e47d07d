"""What a preview of the print costs, and a tone correction, against the library's bare decoding and packing.

Run it as a script, or take `rows()` into another table.
"""

import io
import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")  # one processor for both sides
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from negative_film import make_picture
from PIL import Image
from run import FULL, TINY, Row, Size, best_of, milliseconds, table

from noonframe.datafiles import data_folder
from noonframe.negative.develop import preview_positive
from noonframe.negative.film_printer import read_scale
from noonframe.negative.geometry import Framing
from noonframe.negative.kinds import Source
from noonframe.negative.preview import drawn, predict
from noonframe.negative.recipe import PictureSettings
from noonframe.negative.tone import ToneCorrection, correct_tones
from noonframe.negative.tone_curve import usual_curve

MOST_S = 0.5  # promised for a preview
LONGEST_PX = 700
MEGAPIXELS = 24


def corrected() -> ToneCorrection:
    """A correction from readings, nothing of it kept."""
    steps = (0.1 + 2.2 * np.linspace(0.0, 1.0, 21) ** 1.3).tolist()
    return correct_tones(usual_curve(4.0, 0.08, 1.35), read_scale(steps))


def preview(data: bytes) -> bytes:
    """From the bytes of a picture to the PNG of its prints."""
    settings = PictureSettings(framing=Framing(straighten_deg=-2.3), levels=None)
    made = corrected()
    positive = preview_positive(Source(data), settings, LONGEST_PX)
    return drawn(predict(positive.code, made.table, made.paper, made.ink))


def bare(data: bytes) -> bytes:
    """The library's own reading, shrinking and packing of four such pictures."""
    picture: Image.Image = Image.open(io.BytesIO(data))
    picture.draft("RGB", (2 * LONGEST_PX, 2 * LONGEST_PX))
    picture.thumbnail((LONGEST_PX, LONGEST_PX))
    page = Image.new("RGB", (4 * picture.width, picture.height))
    for index in range(4):
        page.paste(picture, (index * picture.width, 0))
    out = io.BytesIO()
    page.save(out, "PNG", compress_level=1)
    return out.getvalue()


def rows(size: Size = FULL) -> Iterator[Row]:
    """A correction by itself, the demo's picture, and a large one."""
    takes = max(size.takes // 5, 1)
    (spent,) = best_of(takes, corrected)
    yield Row("tone correction from 21 steps", milliseconds(spent), "", spent, MOST_S, False, "s")
    with tempfile.TemporaryDirectory() as folder:
        large = Path(folder) / "picture.jpg"
        megapixels = 1 if size is TINY else MEGAPIXELS
        make_picture(large, megapixels)
        tides = data_folder() / "pictures" / "tide-table.jpg"
        for name, path in (("the tide table", tides), (f"{megapixels} MP", large)):
            data = path.read_bytes()
            ours, theirs = best_of(takes, lambda data=data: preview(data), lambda data=data: bare(data))
            baseline = f"{milliseconds(theirs)} (bare reading and packing), {ours / theirs:.1f} x"
            called = f"preview of {name}, four of {LONGEST_PX} px"
            yield Row(called, milliseconds(ours), baseline, ours, MOST_S, False, "s")


if __name__ == "__main__":
    found_rows = list(rows(TINY if "--tiny" in sys.argv else FULL))
    print(table(found_rows))
    sys.exit(0 if all(row.met for row in found_rows) else 1)
