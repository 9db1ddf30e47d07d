"""What stands on the shelf of the bench in tests of the page."""

import os
from pathlib import Path

import pytest
from phone.conftest import opened_room
from weather_rig import NOON_S


@pytest.fixture(scope="module", name="room")
def shared_room(browser, tmp_path_factory):
    """One print room for a whole module, for tests that leave each other's records alone."""
    folder = tmp_path_factory.mktemp("bench")
    shots = Path(os.environ.get("PHONE_SHOTS") or folder / "shots")
    shots.mkdir(parents=True, exist_ok=True)
    with opened_room(browser, folder, shots, now_s=NOON_S) as made:
        yield made
        made.check_quiet()


RECIPE = {
    "name": "kelp on cotton rag",
    "sensitizer": "citrate-classic",
    "stack": ["float-glass-4mm", "polyester-film"],
    "paper": "cotton rag 300 g",
}
PORTO = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80, "time_zone": "Europe/Lisbon"}
YARD = {
    **PORTO,
    "name": "quayside yard",
    "spot": {
        "kind": "open",
        "tilt_deg": 10,
        "aim_azimuth_deg": 220,
        "skyline": [[40, 25], [120, 40], [200, 5], [300, 12]],
    },
}
WINDOW = {
    **PORTO,
    "name": "south-east window",
    "spot": {
        "kind": "window",
        "window": {
            "outward_azimuth_deg": 135,
            "width_m": 1.2,
            "sill_m": 0.1,
            "head_m": 1.5,
            "reveal_depth_m": 0.25,
            "pane": "none",
        },
        "frame": {"distance_m": 0.6, "offset_m": 0.15, "width_m": 0.3, "height_m": 0.4},
    },
}
