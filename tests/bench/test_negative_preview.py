"""The bench of previews: that it runs in its smallest form."""

import subprocess
import sys
from pathlib import Path


def test_every_preview_is_measured_against_the_bare_library():
    script = Path(__file__).with_name("negative_preview.py")
    done = subprocess.run(
        [sys.executable, str(script), "--tiny"], check=False, capture_output=True, text=True
    )
    assert done.stderr == ""
    assert len(done.stdout.splitlines()) == 4
    assert "bare reading and packing" in done.stdout
