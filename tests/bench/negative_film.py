"""What a film page costs: seconds and memory, against a general-purpose library's bare decoding and resizing.

Run it as a script, or take `rows()` into another table.  Each measurement is a process of its own on one
processor, so that its largest memory is its own; the picture is made beforehand.
"""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")  # one processor, as for the other rows
sys.path.insert(0, str(Path(__file__).parent))

from run import FULL, TINY, Row, Size, milliseconds, table

MEGAPIXELS = 24
MOST_S, MOST_MB, MOST_PREVIEW_S = 6.0, 1000.0, 0.5
"""The targets: a picture of 24 megapixels to a film page of A4 at 720 dpi, on one core."""

_MAKE_PICTURE = """
import sys
import numpy as np
from PIL import Image
path, width, height = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
rng = np.random.default_rng(1)
small = Image.fromarray(rng.integers(0, 256, (height // 12, width // 12, 3), dtype=np.uint8))
picture = np.asarray(small.resize((width, height), Image.Resampling.BICUBIC)).astype(np.int16)
picture += rng.integers(-4, 5, (height, width, 1), dtype=np.int16)  # a camera's noise, hard to pack
Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8)).save(path, "JPEG", quality=92)
"""

_MEASURE = """
import io, json, sys, time
sys.path.insert(0, sys.argv[5])
from own_memory import peak_mb
path, task, dpi = sys.argv[1], sys.argv[2], float(sys.argv[3])
with open(path, "rb") as file:
    data = file.read()
import numpy, PIL.Image, PIL.ImageCms, reportlab.pdfgen.canvas  # what both sides load is not what is measured
from noonframe.negative.build import Wanted, build_page
from noonframe.negative.develop import preview_positive
from noonframe.negative.export import exported
from noonframe.negative.kinds import Source
from noonframe.negative.pages import find_page
from noonframe.negative.recipe import PictureSettings
from noonframe.negative.geometry import Framing
from noonframe.negative.sheet import Extras, PageSettings

def bare():
    from PIL import Image
    with Image.open(io.BytesIO(data)) as picture:
        across, down = (round(mm / 25.4 * dpi) for mm in (194.0, 281.0))
        picture.transpose(Image.Transpose.ROTATE_90).resize((across, down), Image.Resampling.BICUBIC)

def film(kind, straighten_deg=0.0):
    settings = PageSettings(find_page("a4"), dpi, extras=Extras(True, 21, "Tide table"))
    made = PictureSettings(framing=Framing(straighten_deg=straighten_deg), levels=None)
    exported(build_page([Wanted(Source(data), made)], settings).finished, kind)

tasks = {
    "bare": bare,
    "pdf": lambda: film("pdf"),
    "askew": lambda: film("pdf", 1.5),
    "tiff": lambda: film("tiff"),
    "png": lambda: film("png"),
    "preview": lambda: preview_positive(Source(data), PictureSettings()),
}
best = float("inf")
for _ in range(int(sys.argv[4])):
    began = time.perf_counter()
    tasks[task]()
    best = min(best, time.perf_counter() - began)
print(json.dumps([best, peak_mb()]))
"""


@dataclass(frozen=True)
class Cost:
    """Seconds of the best take, and the largest resident memory of its process in MB."""

    seconds: float
    memory_mb: float


def cost(path: Path, task: str, dpi: float, takes: int) -> Cost:
    """What one task costs in a process of its own."""
    command = [sys.executable, "-c", _MEASURE, str(path), task, str(dpi), str(takes)]
    command.append(str(Path(__file__).parents[1]))
    found = subprocess.run(command, check=True, capture_output=True, text=True)
    return Cost(*json.loads(found.stdout))


def make_picture(path: Path, megapixels: float) -> None:
    """A noisy JPEG in the proportions of 3 to 2."""
    across = round((megapixels * 1.5) ** 0.5 * 1000 / 12) * 12
    command = [sys.executable, "-c", _MAKE_PICTURE, str(path), str(across), str(across * 2 // 3)]
    subprocess.run(command, check=True)


def rows(size: Size = FULL) -> Iterator[Row]:
    """Film pages in the three formats and one from a picture that lies askew; their memory; the preview."""
    if sys.platform == "win32":
        return  # it does not tell a process's largest memory
    tiny = size is TINY
    dpi, takes = (72.0, 1) if tiny else (720.0, max(size.takes // 5, 1))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "picture.jpg"
        make_picture(path, 1 if tiny else MEGAPIXELS)
        bare = cost(path, "bare", dpi, takes)
        baseline = f"{milliseconds(bare.seconds)} (bare decoding and resizing)"
        called = f"{1 if tiny else MEGAPIXELS} MP to A4 at {dpi:g} dpi"
        for task, name in (("pdf", "PDF"), ("askew", "PDF, straightened"), ("tiff", "TIFF"), ("png", "PNG")):
            found = cost(path, task, dpi, takes)
            ratio = found.seconds / bare.seconds
            spent = f"{milliseconds(found.seconds)}, {found.memory_mb:.0f} MB"
            yield Row(
                f"{called}: {name}", spent, f"{baseline}, {ratio:.1f} x", found.seconds, MOST_S, False, "s"
            )
            yield Row(
                f"{called}: {name}, memory",
                spent,
                f"{bare.memory_mb:.0f} MB",
                found.memory_mb,
                MOST_MB,
                False,
                "MB",
            )
        found = cost(path, "preview", dpi, takes)
        spent = f"{milliseconds(found.seconds)}, {found.memory_mb:.0f} MB"
        yield Row("positive for a preview", spent, baseline, found.seconds, MOST_PREVIEW_S, False, "s")


if __name__ == "__main__":
    found_rows = list(rows(TINY if "--tiny" in sys.argv else FULL))
    print(table(found_rows))
    sys.exit(0 if all(row.met for row in found_rows) else 1)
