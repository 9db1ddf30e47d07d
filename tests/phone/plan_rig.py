"""What the tests of the plan share: a phone's set-up in Porto as request fields, sheets, a saved session."""

import re

PORTO = {"latitude_deg": 41.1485, "longitude_deg": -8.611, "time_zone": "Europe/Lisbon"}
SHEET = {"sensitizer": "citrate-classic", "stack": "float-glass-4mm,polyester-film"}
SCENE = {**PORTO, **SHEET}
SHEETS = [("kelp fronds", 2), ("tide table", 1)]


def shown_length(seconds):
    """A length as the page writes it."""
    if seconds < 119.5:
        return f"{round(seconds)} s"
    if seconds < 1199.5:
        minutes, rest = divmod(10 * round(seconds / 10), 60)
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, minutes = divmod(round(seconds / 60), 60)
    return (f"{hours} h" + (f" {minutes} min" if minutes else "")) if hours else f"{minutes} min"


def seconds(text):
    """A length such as `10 min 50 s`, as the page writes it."""
    units = {"h": 3600, "min": 60, "s": 1}
    return sum(int(number) * units[unit] for number, unit in re.findall(r"(\d+) (h|min|s)\b", text))


def draft(phone, sheets):
    """Write a list of sheets by thumb."""
    for name, count in sheets:
        phone.tap("#session-add")
        phone.page.fill("#sheet-name", name)
        phone.page.fill("#sheet-count", str(count))
        phone.tap("#sheet-take")
        phone.page.wait_for_selector("dialog", state="detached")
        phone.until("#session-sheets", name)


def saved_session(room, **fields):
    """A session of three sheets and two frames, kept by the service."""
    sheets = [{"name": name, "count": count} for name, count in SHEETS]
    body = {**SCENE, "sheets": sheets, "frames": [{"name": "frame", "count": 2}], **fields}
    return room.service.post("v1/sessions", body)


def clock_of(text):
    """Hour and minute of an answer's time, to the nearest minute as the page shows it."""
    found = re.fullmatch(r"(.*T)?(\d\d):(\d\d)(?::(\d\d(?:\.\d+)?))?([+-]\d\d:\d\d|Z)?", text)
    minutes = int(found[2]) * 60 + int(found[3]) + (float(found[4] or 0) >= 30)
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"
