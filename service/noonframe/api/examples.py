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

STRIP: dict[str, object] = {
    **_YARD,
    "start": "2026-06-21T12:00:00+01:00",
    **_SHEET,
}
STRIP_FOLLOW: dict[str, object] = {
    "run_id": "00000000-0000-0000-0000-000000000001",
    "first_j_m2": 6000,
    "step_stops": 0.5,
    "strip_count": 9,
    "covered": 1,
}
CURVE: dict[str, object] = {
    "dose_j_m2": 96000,
    "wedge": {"step_count": 21, "step_density": 0.15},
    "densities": [
        *(1.42, 1.42, 1.41, 1.39, 1.36, 1.29, 1.18, 1.04, 0.89, 0.73, 0.58, 0.45, 0.34, 0.26),
        *(0.20, 0.16, 0.13, 0.12, 0.11, 0.1, 0.1),
    ],
}
COATING: dict[str, object] = {
    "sheets": [{"width_mm": 203, "height_mm": 254, "count": 6}],
    "bottle_ml": {"iron": 100, "ferricyanide": 100},
    "wash_start": "2026-06-21T13:00:00+01:00",
    "oxidising_rinse": True,
}
RECIPE: dict[str, object] = {
    "name": "kelp on cotton",
    "sensitizer": "citrate-classic",
    "stack": ["float-glass-4mm", "polyester-film"],
    "paper": "cotton rag, unbuffered",
    "coat_notes": "one coat by rod",
    "negative_notes": "film negative, density range 1.2",
}
RECIPE_CHANGE: dict[str, object] = {"coat_notes": "two thin coats by rod"}
EVIDENCE: dict[str, object] = {
    "kind": "strip",
    "ladder": {"first_j_m2": 6000, "step_stops": 0.5, "strip_count": 9},
    "first_full": 5,
    "first_toned": 1,
    "made_at": "2026-06-21T12:00:00+01:00",
}
WITHDRAW: dict[str, object] = {"reason": "the strip was washed too briefly"}
PRINT: dict[str, object] = {
    "name": "kelp fronds",
    "recipe": "kelp on cotton",
    "made_at": "2026-06-21T11:40:00+01:00",
    "dose_j_m2": 21000,
    "judgement": "right",
    "wash_notes": "ten minutes, three changes",
    "film": "films/kelp-fronds.pdf",
    "tags": ["seaweed"],
}
PRINT_CHANGE: dict[str, object] = {"judgement": "a little dark", "notes": "blue came up in a day"}
SAVED_SPOT: dict[str, object] = {"name": "yard bench", "spot": OPEN_SPOT, "place": "quayside-yard"}
SAVED_SPOT_CHANGE: dict[str, object] = {"spot": {**OPEN_SPOT, "tilt_deg": 30}}
SAVED_PLACE: dict[str, object] = {
    "name": "print room yard",
    **_YARD,
    "time_zone": "Europe/Lisbon",
}
SAVED_PLACE_CHANGE: dict[str, object] = {"elevation_m": 82}
SESSION: dict[str, object] = {
    **_YARD,
    **_SHEET,
    "start": "2026-06-21T10:00:00+01:00",
    "end": "2026-06-21T13:30:00+01:00",
    "spots": [{"name": "yard", "spot": OPEN_SPOT}],
    "frames": [{"name": "frame", "count": 2}],
    "sheets": [
        {"name": "kelp fronds", "count": 2, "target_j_m2": 24000},
        {"name": "ferry ticket", "target_j_m2": 18000, "priority": 2, "done_by": "2026-06-21T12:00:00+01:00"},
    ],
    "breaks": [{"name": "tea", "start": "2026-06-21T11:00:00+01:00", "end": "2026-06-21T11:15:00+01:00"}],
}
SESSION_SAVED: dict[str, object] = {"name": "kelp day", **SESSION}
SESSION_CHANGE: dict[str, object] = {"name": "kelp and ferry day"}
SESSION_REPLAN: dict[str, object] = {
    "events": [{"kind": "cloud", "at": "2026-06-21T10:20:00+01:00", "until": "2026-06-21T10:50:00+01:00"}],
    "followed": True,
}
