"""Example requests and answers of calendars and feeds; no records are touched."""

from typing import Any

from noonframe.api.calendar_entries import CalendarSheet
from noonframe.api.calendar_ics import MEDIA_TYPE, write_ics
from noonframe.api.calendar_inputs import CalendarQuery, FeedBody
from noonframe.api.calendar_outputs import FeedItem, FeedMadeAnswer, FeedsAnswer
from noonframe.api.calendar_session import read_plan, session_entries
from noonframe.api.calendar_slots import slots_ahead
from noonframe.settings import Settings

CALENDAR_SLOTS: dict[str, object] = {
    "place": "quayside-yard",
    "target_j_m2": 24000,
    "stack": "float-glass-4mm,polyester-film",
    "days": 3,
}
FEED: dict[str, object] = {"name": "Yard", "slots": CALENDAR_SLOTS}
PLAN: dict[str, Any] = {
    "steps": [
        {
            "id": "kelp-1:load",
            "kind": "load",
            "sheet_id": "kelp-1",
            "sheet": "kelp 1",
            "frame": "frame 2",
            "spot": "yard",
            "start": "2026-06-21T13:27:00+01:00",
            "end": "2026-06-21T13:30:00+01:00",
            "hands": True,
            "state": "planned",
            "chance": None,
            "says": "Load kelp 1 into frame 2.",
        },
        {
            "id": "kelp-1:expose",
            "kind": "expose",
            "sheet_id": "kelp-1",
            "sheet": "kelp 1",
            "frame": "frame 2",
            "spot": "yard",
            "start": "2026-06-21T13:30:00+01:00",
            "end": "2026-06-21T13:39:40+01:00",
            "hands": False,
            "state": "planned",
            "chance": 0.87,
            "says": "Expose kelp 1 in the yard for 9 minutes 40 seconds.",
        },
    ],
    "cautions": ["Never look at the sun, nor at its reflection in the frame's glass."],
    "basis": {
        "place": "Quayside yard, Porto",
        "latitude_deg": 41.15,
        "longitude_deg": -8.61,
        "time_zone": "Europe/Lisbon",
    },
    "summary": "One sheet, done by 14:10.",
}
CALENDAR_MODELS = (FeedBody,)
_TOKEN = "-" * 43  # shows the form of an address without being one
_ID = "00000000-0000-0000-0000-000000000021"


def calendar_examples(settings: Settings, now_s: float) -> dict[tuple[str, str], dict[str, Any]]:
    """An answer to the example request of each operation, by media type."""
    query = CalendarQuery.model_validate(CALENDAR_SLOTS)
    ahead = slots_ahead(query, None, identity="example", settings=settings, now_s=now_s, known_s=now_s)
    slots = CalendarSheet("example", ahead.title, "The best times to expose.", now_s, ahead.entries)
    entries = session_entries(_ID, read_plan(PLAN), revised_s=now_s)
    session = CalendarSheet("example session", "Kelp day", str(PLAN["summary"]), now_s, entries)
    feed = FeedItem(
        id=_ID,
        name="Yard",
        shows="slots",
        says="the best slots of 3 days at Quayside yard, Porto, open ground, level",
        created="2026-06-21T11:00:00Z",
        revoked=None,
        last_used_day=None,
    )
    path = f"/v1/calendars/{_TOKEN}.ics"
    made = FeedMadeAnswer(
        **feed.model_dump(),
        path=path,
        address=f"http://printroom.local:8765{path}",
        webcal_address=f"webcal://printroom.local:8765{path}",
        summary="Subscribe to the address in your calendar now: it is not shown again.",
    )
    text = {name: write_ics(sheet).decode() for name, sheet in (("slots", slots), ("session", session))}
    return {
        ("get", "/v1/slots/calendar.ics"): {MEDIA_TYPE: text["slots"]},
        ("get", "/v1/sessions/{session}/calendar.ics"): {MEDIA_TYPE: text["session"]},
        ("get", "/v1/calendars/{token}.ics"): {MEDIA_TYPE: text["slots"]},
        ("post", "/v1/feeds"): {"application/json": made.model_dump(mode="json")},
        ("get", "/v1/feeds"): {"application/json": FeedsAnswer(feeds=[feed]).model_dump(mode="json")},
        ("post", "/v1/feeds/{feed_id}/revoke"): {
            "application/json": feed.model_copy(update={"revoked": "2026-06-21T12:00:00Z"}).model_dump(
                mode="json"
            )
        },
    }
