"""Example requests of the documented routes, from an invented print room's yard in Porto."""

_YARD: dict[str, object] = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
_SHEET: dict[str, object] = {"stack": "float-glass-4mm,polyester-film", "sensitizer": "citrate-classic"}

LIGHT: dict[str, object] = {
    **_YARD,
    "start": "2026-06-21T12:00:00+01:00",
    "end": "2026-06-21T13:00:00+01:00",
    "step_s": 1800,
    **_SHEET,
}
EXPOSURE: dict[str, object] = {
    **_YARD,
    "start": "2026-06-21T12:00:00+01:00",
    "target_j_m2": 24000,
    **_SHEET,
}
SLOTS: dict[str, object] = {**_YARD, "date": "2026-06-21", "target_j_m2": 24000, "limit": 2, **_SHEET}
PLACES: dict[str, object] = {"name": "quayside-yard"}
OPEN_SPOT: dict[str, object] = {
    "kind": "open",
    "tilt_deg": 0,
    "aim_azimuth_deg": 225,
    "skyline": [[0, 35], [45, 40], [90, 35], [135, 15], [170, 4], [225, 3], [280, 4], [315, 25]],
}
WINDOW_SPOT: dict[str, object] = {
    "kind": "window",
    "window": {
        "outward_azimuth_deg": 135,
        "width_m": 1.2,
        "sill_m": 0.1,
        "head_m": 1.5,
        "reveal_depth_m": 0.2,
        "pane": "none",
    },
    "frame": {"distance_m": 0.6, "offset_m": 0, "width_m": 0.3, "height_m": 0.4},
}
WINDOW_FLAT: dict[str, object] = {
    "window_outward_azimuth_deg": 135,
    "window_width_m": 1.2,
    "window_sill_m": 0.1,
    "window_head_m": 1.5,
    "window_reveal_depth_m": 0.2,
    "frame_distance_m": 0.6,
}
MOVES: dict[str, object] = {
    "place": "quayside-yard",
    "start": "2026-06-21T09:00:00+01:00",
    "target_j_m2": 24000,
    **_SHEET,
}
PATCH: dict[str, object] = {"place": "quayside-yard", "date": "2026-06-21", **WINDOW_FLAT}
RUN: dict[str, object] = {
    "place": "quayside-yard",
    "name": "kelp fronds",
    "target_j_m2": 24000,
    **_SHEET,
}
SEEN: dict[str, object] = {"kind": "sky", "sky": "covered"}
