"""A large picture becomes a large page in bounded memory, measured in a process of its own."""

import subprocess
import sys

import numpy as np
import pytest
from PIL import Image

MOST_MB = 1000.0
"""For 24 megapixels to A4 at 720 dpi; it takes 0.4 GB, 0.55 GB straightened."""

_MAKE = """
import resource, sys
from noonframe.negative.build import Wanted, build_page
from noonframe.negative.export import exported
from noonframe.negative.geometry import Framing
from noonframe.negative.kinds import Source
from noonframe.negative.pages import find_page
from noonframe.negative.recipe import PictureSettings
from noonframe.negative.sheet import PageSettings

with open(sys.argv[1], "rb") as file:
    source = Source(file.read())
settings = PictureSettings(framing=Framing(straighten_deg=1.5), levels=None)
film = build_page([Wanted(source, settings)], PageSettings(find_page("a4"), 720.0))
assert film.finished.film.shape == (8419, 5953)
exported(film.finished, "pdf")
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="it does not tell a process's largest memory")
def test_twenty_four_megapixels_to_a4_at_720_dpi_stay_below_a_gigabyte(tmp_path):
    rng = np.random.default_rng(1)
    small = Image.fromarray(rng.integers(0, 256, (40, 60, 3), dtype=np.uint8))
    path = tmp_path / "large.jpg"
    small.resize((6000, 4000), Image.Resampling.BICUBIC).save(path, "JPEG")
    done = subprocess.run(
        [sys.executable, "-c", _MAKE, str(path)], capture_output=True, text=True, check=True
    )
    unit = 1024.0**2 if sys.platform == "darwin" else 1024.0
    assert float(done.stdout) / unit < MOST_MB
