"""Pictures of plans: sound documents, plainly labelled, with everything drawn where the answer says."""

import math
import re
from xml.etree import ElementTree as Tree

import numpy as np
import pytest

SVG = "{http://www.w3.org/2000/svg}"
SHEET = {"stack": "float-glass-4mm,polyester-film"}
QUAYSIDE = {"place": "quayside-yard", **SHEET, "start": "2026-06-21T09:00:00+01:00", "target_j_m2": 60000}
DUNEDIN = {
    "latitude_deg": -45.87,
    "longitude_deg": 170.5,
    "elevation_m": 10,
    **SHEET,
    "start": "2026-06-21T10:00:00+12:00",
    "target_j_m2": 80000,
}
SOUTH_EAST = {
    "kind": "window",
    "window": {
        "outward_azimuth_deg": 135,
        "width_m": 0.6,
        "sill_m": 0.1,
        "head_m": 1.0,
        "reveal_depth_m": 0.2,
    },
    "frame": {"distance_m": 0.6, "width_m": 0.3, "height_m": 0.4},
}
NORTH = {
    "kind": "window",
    "window": {
        "outward_azimuth_deg": 10,
        "width_m": 1.6,
        "sill_m": 0.2,
        "head_m": 1.4,
        "pane": "float-glass-4mm",
    },
    "frame": {"distance_m": 0.9, "width_m": 0.3, "height_m": 0.4},
}
EASEL = {**NORTH, "frame": {**NORTH["frame"], "tilt_deg": 50, "aim_azimuth_deg": 40}}
YARD = {
    "kind": "open",
    "aim_azimuth_deg": 45,
    "skyline": [[0, 6], [60, 20], [120, 35], [180, 40], [240, 30], [300, 10]],
}
SHAPES = {"path", "rect", "polygon", "polyline", "circle", "text"}
KNOWN_TAGS = {"svg", "title", "desc", "defs", "pattern", "marker", *SHAPES}
LOOSE = {"target_j_m2": 120000, "max_moves": 8, "move_cost_s": 0, "evenness_stops": 4}
CASES = {
    "window": {**QUAYSIDE, "spot": SOUTH_EAST},
    "window in the rain": {**QUAYSIDE, "sky": "rain", "spot": SOUTH_EAST},
    "window at night": {**QUAYSIDE, "start": "2026-06-21T23:00:00+01:00", "spot": SOUTH_EAST},
    "north window": {**DUNEDIN, "start_fixed": True, "spot": NORTH},
    "easel": {**DUNEDIN, "spot": EASEL},
    "yard": {**DUNEDIN, "start_fixed": True, "spot": YARD},
    "yard in the rain": {**DUNEDIN, "sky": "rain", "spot": YARD},
    "yard at night": {**DUNEDIN, "start": "2026-06-21T20:00:00+12:00", "target_j_m2": 1e6, "spot": YARD},
    "a moment": {**DUNEDIN, "target_j_m2": 1, "spot": NORTH},
    "a loose plan": {**QUAYSIDE, **LOOSE, "spot": SOUTH_EAST},
}
INDOORS = [name for name, body in CASES.items() if body["spot"]["kind"] == "window"]
OUTDOORS = [name for name in CASES if name not in INDOORS]


@pytest.fixture(scope="module")
def drawn(caller):
    """Root of each picture and the answer it belongs to."""
    found = {}
    for name, body in CASES.items():
        picture = caller.post("/v1/moves/picture", body)
        assert picture.status_code == 200, picture.text
        assert picture.headers["content-type"].startswith("image/svg+xml")
        found[name] = Tree.fromstring(picture.content), caller.post("/v1/moves", body).json()
    return found


def words(root):
    return [node.text for node in root.iter(f"{SVG}text")]


def points_of(node):
    return [tuple(float(value) for value in pair.split(",")) for pair in node.get("points").split()]


def spots_of(root):
    """Every coordinate drawn, outside of definitions."""
    definitions = {id(node) for part in root.iter(f"{SVG}defs") for node in part.iter()}
    for node in root.iter():
        if id(node) in definitions:
            continue
        tag = node.tag.removeprefix(SVG)
        if tag in ("polygon", "polyline"):
            yield from points_of(node)
        elif tag == "circle":
            x, y, r = (float(node.get(name)) for name in ("cx", "cy", "r"))
            yield from ((x - r, y - r), (x + r, y + r))
        elif tag == "rect":
            x, y, width, height = (float(node.get(name)) for name in ("x", "y", "width", "height"))
            yield from ((x, y), (x + width, y + height))
        elif tag == "text":
            yield float(node.get("x")), float(node.get("y"))


@pytest.mark.parametrize("name", CASES)
def test_a_picture_is_a_titled_document_that_stands_alone(drawn, name):
    root, answer = drawn[name]
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    title, description = root.find(f"{SVG}title").text, root.find(f"{SVG}desc").text
    assert "2026" in title
    assert answer["basis"]["place"].split(",")[0] in title
    assert answer["begin_says"] in description or answer["moves"]
    for node in root.iter():
        assert node.tag.removeprefix(SVG) in KNOWN_TAGS
        for attribute, value in node.attrib.items():
            assert not attribute.lower().startswith("on")
            assert "href" not in attribute.lower()
            assert all(f"#{each}" in ("#sunlit", "#tip") for each in re.findall(r"url\(#?([^)]*)\)", value))
            assert "://" not in value


@pytest.mark.parametrize("name", CASES)
def test_everything_lies_inside_the_view_box(drawn, name):
    root, _ = drawn[name]
    left, top, width, height = (float(value) for value in root.get("viewBox").split())
    assert (root.get("width"), root.get("height")) == (f"{width:g}", f"{height:g}")
    for x, y in spots_of(root):
        assert math.isfinite(x)
        assert math.isfinite(y)
        assert left <= x <= left + width + 0.01  # the box is told to a thousandth, the rest to a hundredth
        assert top <= y <= top + height + 0.01
    for node in root.iter(f"{SVG}text"):
        # A wide sans-serif's letters take about half their size (common practice, no source).
        room = 0.55 * float(node.get("font-size")) * len(node.text)
        x, anchor = float(node.get("x")), node.get("text-anchor", "start")
        begins = x - room * {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
        assert begins >= left - 5.0, node.text
        assert begins + room <= left + width + 5.0, node.text


@pytest.mark.parametrize("name", CASES)
def test_a_picture_lists_its_stages_and_says_the_plan_and_the_sky(drawn, name):
    root, answer = drawn[name]
    text = words(root)
    whole = " ".join(text)
    assert answer["summary"] in whole
    assert f"Sky: {answer['basis']['sky']['says']}" in whole
    assert answer["basis"]["time_zone"] in whole
    places = [(answer["start"], answer["begin_says"])]
    places += [(move["time"], move["says"]) for move in answer["moves"]]
    if len(places) > 1 and places[1][0] == places[0][0]:
        del places[0]  # carried off at once
    for number, (time, says) in enumerate(places, start=1):
        row = text.index(says)
        assert text[row - 1].startswith(time[11:16])
        assert text[row - 2] == str(number)
        text = text[row + 1 :]


def test_long_words_are_broken_into_lines(drawn):
    root, answer = drawn["a loose plan"]
    assert len(answer["summary"]) > 96
    lines = [node.text for node in root.iter(f"{SVG}text") if node.get("font-size") == "12"]
    assert all(len(line) <= 96 for line in lines)
    rows = sorted(float(node.get("y")) for node in root.iter(f"{SVG}text") if node.get("font-size") == "12")
    assert len(rows) >= 6
    assert min(np.diff(rows[-3:])) >= 12.0  # no line over another


def scale_of(root):
    """Metres to the picture: where the window's middle on the wall lies, and units per metre."""
    strokes = [points_of(node) for node in root.iter(f"{SVG}polyline") if node.get("stroke-width") == "2"]
    (x0, _), (x1, _) = strokes[-1]  # the bar of 50 cm
    scale = (x1 - x0) / 0.5
    label = next(node for node in root.iter(f"{SVG}text") if node.text.startswith("window, "))
    ticks = {
        node.text: float(node.get("y")) - 4.0
        for node in root.iter(f"{SVG}text")
        if node.get("font-size") == "10"
    }
    wall = ticks["cm"]
    assert (ticks["20"] - wall) / 0.2 == pytest.approx(scale, abs=0.2)
    return float(label.get("x")), wall, scale


@pytest.mark.parametrize("name", INDOORS)
def test_frames_are_drawn_where_the_answer_says(drawn, name):
    root, answer = drawn[name]
    middle, wall, scale = scale_of(root)
    frames = [points_of(node) for node in root.iter(f"{SVG}polygon") if node.get("stroke") == "#0b4f6c"]
    discs = [
        (float(n.get("cx")), float(n.get("cy"))) for n in root.iter(f"{SVG}circle") if n.get("r") == "11.00"
    ]
    places = [answer["begin"], *(move["to"] for move in answer["moves"])]
    if answer["moves"] and answer["moves"][0]["after_s"] == 0:
        del places[0]
    assert len(frames) == len(discs) == len(places)
    for frame, disc, place in zip(frames, discs, places, strict=True):
        at = (middle + place["offset_m"] * scale, wall + place["distance_m"] * scale)
        assert np.mean(frame, axis=0) == pytest.approx(at, abs=0.1)
        assert disc == pytest.approx(at, abs=0.1)
        if place["tilt_deg"] == 0.0:
            size = np.ptp(frame, axis=0)
            assert size == pytest.approx((0.3 * scale, 0.4 * scale), abs=0.1)


@pytest.mark.parametrize("name", ["window", "north window"])
def test_patches_are_drawn_where_the_patch_route_says(drawn, caller, name):
    """At the quarter of an hour next to a stage's middle the patch has nearly the place it is drawn at."""
    root, _ = drawn[name]
    middle, wall, scale = scale_of(root)
    patches = [points_of(node) for node in root.iter(f"{SVG}polygon") if node.get("fill") == "url(#sunlit)"]
    stages = [text for text in words(root) if re.fullmatch(r"\d\d:\d\d-\d\d:\d\d", text)]
    lit = [text for text in words(root) if re.fullmatch(r"sun \d+", text)]
    assert len(patches) == len(lit) == len(stages)
    body = {
        key: CASES[name][key]
        for key in CASES[name]
        if key in ("place", "latitude_deg", "longitude_deg", "spot")
    }
    moments = caller.post("/v1/patch", {**body, "date": "2026-06-21"}).json()["moments"]

    def minutes(clock):
        return 60 * int(clock[:2]) + int(clock[3:5])

    for patch, stage in zip(patches, stages, strict=True):
        halfway = (minutes(stage[:5]) + minutes(stage[6:])) / 2
        near = min(moments, key=lambda moment: abs(minutes(moment["time"][11:16]) - halfway))
        told = near["corners"]
        # The nearest edge is parallel to the wall at the same depth, whatever the picture's edge cuts off.
        depth = (min(y for _, y in patch) - wall) / scale
        assert depth == pytest.approx(min(v for _, v in told), abs=0.05)
        reach = (min(x for x, _ in patch) - middle) / scale
        assert reach >= min(u for u, _ in told) - 0.1


def test_no_patch_is_drawn_where_no_sun_falls(drawn):
    root, _ = drawn["window at night"]
    assert not [node for node in root.iter(f"{SVG}polygon") if node.get("fill") == "url(#sunlit)"]


def compass_of(root):
    rim = max((node for node in root.iter(f"{SVG}circle")), key=lambda node: float(node.get("r")))
    return float(rim.get("cx")), float(rim.get("cy")), float(rim.get("r"))


@pytest.mark.parametrize("name", OUTDOORS)
def test_aims_are_drawn_round_the_compass_where_the_answer_says(drawn, name):
    root, answer = drawn[name]
    x0, y0, radius = compass_of(root)
    discs = [
        (float(n.get("cx")), float(n.get("cy"))) for n in root.iter(f"{SVG}circle") if n.get("r") == "11.00"
    ]
    aims = [answer["begin"], *(move["to"] for move in answer["moves"])]
    if answer["moves"] and answer["moves"][0]["after_s"] == 0:
        del aims[0]
    assert len(discs) == len(aims)
    for (x, y), aim in zip(discs, aims, strict=True):
        out, angle = radius * aim["tilt_deg"] / 90, math.radians(aim["aim_azimuth_deg"])
        assert (x, y) == pytest.approx((x0 + out * math.sin(angle), y0 - out * math.cos(angle)), abs=0.05)
    assert {"north", "east", "south", "west"} <= set(words(root))


def test_the_sun_is_drawn_where_the_light_route_has_it(drawn, caller):
    root, answer = drawn["yard"]
    x0, y0, radius = compass_of(root)
    suns = [
        (float(n.get("cx")), float(n.get("cy"))) for n in root.iter(f"{SVG}circle") if n.get("r") == "5.00"
    ]
    span = {"start": answer["start"], "end": answer["end"], "step_s": 60}
    place = {key: DUNEDIN[key] for key in ("latitude_deg", "longitude_deg", "elevation_m")}
    light = caller.answer("/v1/light", {**place, **span})
    path = []
    for zenith, azimuth in zip(light["solar_zenith_deg"], light["solar_azimuth_deg"], strict=True):
        out, angle = radius * zenith / 90, math.radians(azimuth)
        path.append((x0 + out * math.sin(angle), y0 - out * math.cos(angle)))
    assert suns[0] == pytest.approx(path[0], abs=0.5)
    for sun in suns:
        assert min(math.dist(sun, point) for point in path) < 1.0


def test_the_skyline_is_drawn_where_it_stands(drawn):
    root, _ = drawn["yard"]
    x0, y0, radius = compass_of(root)
    walls = [points_of(node) for node in root.iter(f"{SVG}polygon") if node.get("fill") == "#d7d2c6"]
    assert len(walls) == 1
    for azimuth, elevation in YARD["skyline"]:
        out, angle = radius * (90 - elevation) / 90, math.radians(azimuth)
        corner = (x0 + out * math.sin(angle), y0 - out * math.cos(angle))
        assert min(math.dist(corner, point) for point in walls[0]) < 0.05


def test_a_picture_by_query_is_the_picture_of_its_spot(caller):
    flat = {f"window_{name}": value for name, value in SOUTH_EAST["window"].items()} | {
        f"frame_{name}": value for name, value in SOUTH_EAST["frame"].items()
    }
    by_query = caller.get("/v1/moves/picture", {**QUAYSIDE, **LOOSE, **flat})
    by_spot = caller.post("/v1/moves/picture", {**QUAYSIDE, **LOOSE, "spot": SOUTH_EAST})
    assert by_query.text == by_spot.text


def test_words_of_a_request_cannot_become_markup(caller):
    """A place is echoed in the title: here it is refused, and what is drawn is escaped."""
    response = caller.get("/v1/moves/picture", {**QUAYSIDE, "place": "<script>alert(1)</script>"})
    assert response.status_code == 422
    assert response.headers["content-type"].startswith("application/problem+json")
