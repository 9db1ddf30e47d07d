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
