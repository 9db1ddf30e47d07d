"""A skyline by pointing the phone, by drawing and by typing."""

import pytest
from phone.bench_shelf import YARD, shared_room

room = shared_room

# Angles of the W3C Device Orientation events (z-x'-y''), and where the long edge then points; worked by hand:
# level and north; level and west (alpha counts anticlockwise); raised 30 degrees, east; past the zenith.
POINTINGS = [
    ({"alpha": 0, "beta": 0, "absolute": True}, (0, 0, True)),
    ({"alpha": 90, "beta": 0, "absolute": True}, (270, 0, True)),
    ({"alpha": 270, "beta": 30, "absolute": True}, (90, 30, True)),
    ({"alpha": 0, "beta": 120, "absolute": True}, (180, 60, True)),
    ({"alpha": 10, "beta": -5, "absolute": False}, (350, -5, False)),
    ({"alpha": 123, "beta": 20, "absolute": False, "webkitCompassHeading": 200}, (200, 20, True)),
]


def turn(phone, **angles):
    """The phone's sensors say where it is held."""
    phone.page.evaluate(
        """(angles) => {
          const name = angles.absolute ? "deviceorientationabsolute" : "deviceorientation";
          dispatchEvent(new DeviceOrientationEvent(name, { gamma: 0, ...angles }));
        }""",
        angles,
    )


def rows(phone):
    """The corners as they stand in the list."""
    return phone.page.eval_on_selector_all(
        ".corner:not(.new)",
        "rows => rows.map((row) => [...row.querySelectorAll('input')].map((one) => Number(one.value)))",
    )


@pytest.fixture
def editing(phone):
    """A new spot in the open."""
    phone.go("#/bench/spots/new")
    phone.page.fill("#spot-name", "quayside yard")
    phone.page.wait_for_selector(".skyline")
    return phone


def test_the_long_edge_points_where_its_angles_say(phone):
    script = """async (event) => {
      const main = document.querySelector("script[type=module]").src;
      return (await import(main.replace("main.js", "skyline_points.js"))).pointing(event);
    }"""
    for angles, (azimuth, elevation, north) in POINTINGS:
        found = phone.page.evaluate(script, angles)
        assert found["azimuth"] == pytest.approx(azimuth, abs=1e-9)
        assert found["elevation"] == pytest.approx(elevation, abs=1e-9)
        assert found["north"] is north


def test_pointing_marks_corners_that_are_saved(editing, room):
    phone = editing
    phone.tap("#skyline-point")
    assert phone.page.is_disabled("#skyline-mark")
    for alpha, beta in ((300, 12), (180, 35), (60, 4)):
        turn(phone, alpha=alpha, beta=beta, absolute=True)
        phone.until("#live-azimuth", f"{360 - alpha}°")
        phone.until("#live-elevation", f"{beta}°")
        phone.tap("#skyline-mark")
    phone.until("dialog", "3 corners are set")
    phone.shot("skyline-point")
    phone.axe()
    phone.tap("dialog >> text=That is all of it")
    assert rows(phone) == [[60, 12], [180, 35], [300, 4]]
    phone.tap("#spot-save")
    phone.until("h1", "quayside yard")
    assert room.service.get("v1/spots")["spots"][0]["spot"]["skyline"] == [[60, 12], [180, 35], [300, 4]]


def test_the_compass_is_set_right_by_hand_or_by_the_suns_shadow(editing, room):
    phone = editing
    phone.tap("#skyline-point")
    phone.page.wait_for_selector("#skyline-mark")
    turn(phone, alpha=200, beta=0, absolute=True)
    phone.until("#live-azimuth", "160°")
    phone.tap("dialog summary")
    phone.page.fill("#compass-offset", "-2.5")
    phone.page.press("#compass-offset", "Tab")
    turn(phone, alpha=200, beta=0, absolute=True)
    phone.until("#live-azimuth", "158°")  # 157.5, to the degree
    phone.tap("#skyline-sun")
    phone.until("dialog", "The sun stands at")
    light = room.service.get(
        "v1/light",
        **{"latitude_deg": 41.1485, "longitude_deg": -8.611, "step_s": 1},
        **{"start": "2026-06-21T12:40:00Z", "end": "2026-06-21T12:40:01Z"},
    )
    turn(phone, alpha=200, beta=0, absolute=True)
    phone.until("#live-azimuth", f"{light['solar_azimuth_deg'][0]:.0f}°")


def test_without_leave_or_a_secure_address_the_hand_remains(room):
    phone = room.phone()
    phone.page.add_init_script("DeviceOrientationEvent.requestPermission = async () => 'denied';")
    phone.open()
    phone.place()
    phone.go("#/bench/spots/new")
    phone.tap("#skyline-point")
    phone.until(".skyline-part .told", "did not allow its sensors")
    other = room.phone().open(host="printroom.example")
    other.place()
    other.go("#/bench/spots/new")
    other.until(".skyline-part .note", "not a secure address")
    assert other.page.locator("#skyline-point").count() == 0
    assert other.page.locator(".skyline").count() == 1


def test_a_sensor_that_says_nothing_is_told(editing):
    phone = editing
    phone.tap("#skyline-point")
    phone.page.wait_for_selector("#skyline-mark")
    phone.wait(3, 1)
    phone.until("dialog", "No sensor answers")


def test_corners_are_typed_moved_by_keys_dragged_and_taken_out(editing):
    phone = editing
    for azimuth, elevation in (("90", "20"), ("200", "10")):
        phone.page.fill("#skyline-azimuth", azimuth)
        phone.page.fill("#skyline-elevation", elevation)
        phone.tap("#skyline-add")
    phone.page.fill("#skyline-azimuth", "400")
    phone.page.fill("#skyline-elevation", "10")
    phone.tap("#skyline-add")
    phone.until(".skyline-part .told", "below 360")
    assert rows(phone) == [[90, 20], [200, 10]]
    phone.page.focus(".sky-corner >> nth=0")
    phone.page.keyboard.press("ArrowUp")
    phone.page.keyboard.press("Shift+ArrowRight")
    assert rows(phone) == [[95, 21], [200, 10]]
    assert (
        phone.page.get_attribute(".sky-corner >> nth=0", "aria-valuetext")
        == "95 degrees from north, 21 degrees up"
    )
    phone.page.locator(".skyline").scroll_into_view_if_needed()
    box = phone.page.locator(".skyline").bounding_box()
    dot = phone.page.locator(".sky-dot >> nth=1").bounding_box()
    phone.page.mouse.move(dot["x"] + dot["width"] / 2, dot["y"] + dot["height"] / 2)
    phone.page.mouse.down()
    phone.page.mouse.move(box["x"] + box["width"] * 0.75, box["y"] + box["height"] * 0.5, steps=5)
    phone.page.mouse.up()
    moved = rows(phone)[1]
    assert moved[0] == pytest.approx(270, abs=3)
    assert moved[1] > 30
    phone.page.mouse.click(box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.3)
    assert len(rows(phone)) == 3
    phone.page.click("[aria-label='Take out corner 1']")
    assert len(rows(phone)) == 2


def test_a_saved_skyline_is_changed_by_its_rows(phone, room):
    spot = room.service.post("v1/spots", {**YARD, "name": "yard with rows"})
    phone.go(f"#/bench/spots/{spot['id']}")
    phone.page.fill("[aria-label='Corner 2, degrees up']", "33")
    phone.page.press("[aria-label='Corner 2, degrees up']", "Tab")
    phone.tap("#spot-save")
    phone.until(".told >> nth=-1", "Saved")
    kept = room.service.get(f"v1/spots/{spot['id']}")
    assert kept["spot"]["skyline"] == [[40, 25], [120, 33], [200, 5], [300, 12]]
    assert kept["version"] == 2
