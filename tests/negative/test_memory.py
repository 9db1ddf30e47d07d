"""A large picture becomes a large page in bounded memory, measured in a process of its own."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

TESTS = str(Path(__file__).parents[1])
MOST_MB = 1000.0
"""For 24 megapixels to A4 at 720 dpi; it takes 0.4 GB, 0.55 GB straightened."""

_MAKE = """
import sys
sys.path.insert(0, sys.argv[2])
from own_memory import peak_mb
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
print(peak_mb())
"""


@pytest.mark.skipif(sys.platform == "win32", reason="it does not tell a process's largest memory")
def test_twenty_four_megapixels_to_a4_at_720_dpi_stay_below_a_gigabyte(tmp_path):
    rng = np.random.default_rng(1)
    small = Image.fromarray(rng.integers(0, 256, (40, 60, 3), dtype=np.uint8))
    path = tmp_path / "large.jpg"
    small.resize((6000, 4000), Image.Resampling.BICUBIC).save(path, "JPEG")
    command = [sys.executable, "-c", _MAKE, str(path), TESTS]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert float(done.stdout) < MOST_MB


@pytest.mark.skipif(sys.platform == "win32", reason="it does not tell a process's largest memory")
def test_the_memory_of_a_process_is_its_own_and_not_that_of_the_one_that_started_it():
    kept = np.ones(50_000_000)  # 400 MB here, which the child has nothing to do with
    told = "import sys; sys.path.insert(0, sys.argv[1]); from own_memory import peak_mb; print(peak_mb())"
    small = subprocess.run([sys.executable, "-c", told, TESTS], capture_output=True, text=True, check=True)
    held = (
        "import sys; sys.path.insert(0, sys.argv[1]); from own_memory import peak_mb; b = b'1' * 200_000_000"
    )
    large = subprocess.run(
        [sys.executable, "-c", f"{held}; print(peak_mb())", TESTS], capture_output=True, text=True, check=True
    )
    assert float(small.stdout) < 100.0
    assert 190.0 < float(large.stdout) < 300.0
    assert kept.size
