"""`noonframe moves` and `noonframe patch`, and spots on every command, against the application in process."""

import asyncio
import calendar
import datetime as dt
import json
import re
import xml.etree.ElementTree as ET
from zoneinfo import ZoneInfo

import httpx
import pytest

from noonframe_terminal import options, options_spot
from noonframe_terminal.contract import Question, Service
from noonframe_terminal.picture import Picture
from noonframe_terminal.show_moves import evenness_sentence, plan_sentences
from noonframe_terminal.trouble import Failed

YARD = ("--place", "quayside-yard")
DAY = "2026-06-21"
MORNING = "2026-06-21T09:00:00+01:00"
EVENING = "2026-06-21T18:00:00+01:00"
STACK = {"place": "quayside-yard", "stack": "float-glass-4mm,polyester-film"}
WINDOW = (
    *("--window-facing", "south-east", "--window-width", "1.2", "--sill", "0.1", "--head", "1.5"),
    *("--distance", "0.6"),
)
WINDOW_FIELDS = {
    "window_outward_azimuth_deg": "135",
    "window_width_m": "1.2",
    "window_sill_m": "0.1",
    "window_head_m": "1.5",
    "frame_distance_m": "0.6",
}
WINDOW_SPOT = {
    "kind": "window",
    "window": {"outward_azimuth_deg": 135, "width_m": 1.2, "sill_m": 0.1, "head_m": 1.5},
    "frame": {"distance_m": 0.6},
}
# A sheet so large, for a print so slow, that the patch of sun wanders off it.
LARGE = ("--frame-width", "0.6", "--frame-height", "0.8", "--target", "60000")
LARGE_FIELDS = {"frame_width_m": "0.6", "frame_height_m": "0.8", "target_j_m2": "60000"}


def flowing(text):
    """`text` without the line breaks of an 80-column page."""
    return " ".join(text.split())


def seconds(length):
    """Seconds of a length as the command line writes it."""
    units = {"h": 3600, "min": 60, "s": 1}
    return sum(int(number) * units[unit] for number, unit in re.findall(r"(\d+) (h|min|s)\b", length))


def told_minute(text):
    """The minute in which an instant falls, rounded as the command line does."""
    return f"{dt.datetime.fromisoformat(text) + dt.timedelta(seconds=30):%H:%M}"


@pytest.fixture
def spot_file(tmp_path):
    def write(spot, name="spot.json"):
        file = tmp_path / name
        file.write_text(spot if isinstance(spot, str) else json.dumps(spot), encoding="utf-8")
        return str(file)

    return write


def test_moves_tells_the_services_plan_step_by_step(call, api):
    said = call("moves", *YARD, *WINDOW, *LARGE, "--start", MORNING)
    truth = api("/v1/moves", **STACK, **WINDOW_FIELDS, **LARGE_FIELDS, start=MORNING).json()
    text = flowing(said.out)
    assert (said.code, said.err) == (0, "")
    assert truth["moves"]  # else there is nothing to tell
    assert text.startswith(f"Begin at 09:00 on 21 June 2026: {truth['begin_says']}. ")
    for move in truth["moves"]:
        assert f"At {told_minute(move['time'])} move it to {move['says']}" in text
    done = re.search(r"Done at (\d\d:\d\d), after ([^.]+)\. Without a move: ([^.]+)\.", text)
    assert done, text
    assert done[1] == told_minute(truth["end"])
    assert seconds(done[2]) == pytest.approx(truth["length_s"], abs=30.0)
    assert seconds(done[3]) == pytest.approx(truth["stay_length_s"], abs=30.0)
    ranged = re.search(r"Eight times in ten it takes (.+?) to (.+?)\.", text)
    assert seconds(ranged[1]) == pytest.approx(truth["length_low_s"], abs=30.0)
    assert seconds(ranged[2]) == pytest.approx(truth["length_high_s"], abs=30.0)
    even = re.search(r"least ([+-][\d.]+), most ([+-][\d.]+), in stops", text)
    assert float(even[1]) == pytest.approx(truth["evenness"]["lowest_stops"], abs=0.0051)
    assert float(even[2]) == pytest.approx(truth["evenness"]["highest_stops"], abs=0.0051)
    assert f"If cloud covers the sun: {truth['if_cloud_covers']}." in text
    assert f"{truth['places_tried']} places tried" in text
    for caution in truth["cautions"]:
        assert f"Caution: {caution}" in text


def test_what_a_move_saves_is_told(call, api):
    early = "2026-06-21T08:00:00+01:00"  # a print that takes half the day, with the sun going round
    said = call("moves", *YARD, "--start", early, "--target", "700000")
    truth = api("/v1/moves", **STACK, start=early, target_j_m2="700000").json()
    text = flowing(said.out)
    assert any(move["saves_s"] for move in truth["moves"])
    for move in truth["moves"]:
        told = re.search(
            rf"At {told_minute(move['time'])} turn it: {re.escape(move['says'])}; this saves ([^.]+)\.", text
        )
        assert told, text
        assert seconds(told[1]) == pytest.approx(move["saves_s"], abs=30.0)


def test_the_edges_blur_is_told_for_an_object(call, api):
    arguments = ("moves", *YARD, "--start", MORNING, "--object-height", "3", "--aims")
    truth = api("/v1/moves", **STACK, start=MORNING, object_height_mm="3", aims="flat").json()
    text = flowing(call(*arguments, "flat").out)
    told = re.search(r"Edges: ([\d.]+) mm of blur under an object 3 mm high", text)
    assert float(told[1]) == pytest.approx(truth["edge"]["edge_blur_mm"], abs=0.0051)
    assert "Edges: only told for a sheet that lies level" in flowing(call(*arguments, "propped").out)
    assert "Edges" not in call("moves", *YARD, "--start", MORNING).out


def test_map_prints_the_dose_row_by_row_from_the_wall(call, api):
    said = call("moves", *YARD, *WINDOW, *LARGE, "--start", MORNING, "--map")
    truth = api("/v1/moves", **STACK, **WINDOW_FIELDS, **LARGE_FIELDS, start=MORNING, dose_map="true").json()
    rows = [line.split() for line in said.out.splitlines() if re.match(r"( +[+-]\d\.\d\d)+$", line)]
    assert len(rows) == len(truth["dose_map_stops"]) > 1
    for row, stops in zip(rows, truth["dose_map_stops"], strict=True):
        assert [float(dose) for dose in row] == pytest.approx(stops, abs=0.0051)
    assert said.out.index("toward the wall") < said.out.index("away from it")


def test_a_leaning_sheets_map_has_its_upper_edge_on_top(call, api):
    said = call("moves", *YARD, *WINDOW, "--start", MORNING, "--map", "--tilt", "30", "--facing", "se")
    truth = api(
        *("/v1/moves",),
        **STACK,
        **WINDOW_FIELDS,
        start=MORNING,
        dose_map="true",
        tilt_deg="30",
        aim_azimuth_deg="135",
    ).json()
    rows = [line.split() for line in said.out.splitlines() if re.match(r"( +[+-]\d\.\d\d)+$", line)]
    assert [float(dose) for dose in rows[0]] == pytest.approx(truth["dose_map_stops"][-1], abs=0.0051)
    assert said.out.index("upper edge") < said.out.index("lower edge")


def test_a_dose_out_of_reach_ends_with_1_and_says_when_it_can_be_had(call, api):
    said = call("moves", *YARD, *WINDOW, "--start", EVENING)
    truth = api("/v1/moves", **STACK, **WINDOW_FIELDS, start=EVENING).json()
    staying = api("/v1/exposure", **STACK, **WINDOW_FIELDS, start=EVENING).json()
    assert said.code == 1
    assert flowing(said.out).startswith(truth["summary"])
    assert f"The next chance: {told_minute(staying['next_start'])} on 22 June 2026, for " in flowing(said.out)
    assert "Done at" not in said.out
    raw = call("moves", *YARD, *WINDOW, "--start", EVENING, "--json")
    assert raw.code == 1
    assert json.loads(raw.out) == truth


def test_json_is_the_services_own_untouched(call, api):
    truth = api("/v1/moves", **STACK, **WINDOW_FIELDS, start=MORNING)
    assert call("moves", *YARD, *WINDOW, "--start", MORNING, "--json") == (0, truth.text + "\n", "")
    truth = api("/v1/patch", **STACK, **WINDOW_FIELDS, date=DAY)
    assert call("patch", *YARD, *WINDOW, "--date", DAY, "--json") == (0, truth.text + "\n", "")


def test_every_option_of_a_plan_reaches_the_service(call, api):
    said = call(
        *("moves", *YARD, *WINDOW, "--start", MORNING, "--json", "--max-moves", "2", "--move-cost", "1min"),
        *("--evenness", "0.3", "--begin-here", "--aims", "flat", "--most-places", "20", "--map"),
        *("--object-height", "2", "--table-nearest", "0.5", "--table-farthest", "1.0"),
        *("--table-leftmost", "-0.4", "--table-rightmost", "0.4", "--reveal", "0.2", "--overhang", "0.1"),
        *("--pane", "float-glass-2mm", "--offset", "-0.1", "--frame-width", "0.2", "--frame-height", "0.25"),
        *("--target", "30000"),
    )
    truth = api(
        "/v1/moves",
        **STACK,
        **WINDOW_FIELDS,
        start=MORNING,
        max_moves="2",
        move_cost_s="60",
        evenness_stops="0.3",
        start_fixed="true",
        aims="flat",
        most_places="20",
        dose_map="true",
        object_height_mm="2",
        table_nearest_m="0.5",
        table_farthest_m="1.0",
        table_leftmost_m="-0.4",
        table_rightmost_m="0.4",
        window_reveal_depth_m="0.2",
        window_overhang_depth_m="0.1",
        window_pane="float-glass-2mm",
        frame_offset_m="-0.1",
        frame_width_m="0.2",
        frame_height_m="0.25",
        target_j_m2="30000",
    )
    assert truth.status_code == 200
    assert said == (0, truth.text + "\n", "")


def test_the_options_fill_the_fields_that_the_service_knows_and_no_others(app):
    groups = {
        "/v1/exposure": (options.Scene, options_spot.Spot, options.Target),
        "/v1/slots": (options.Scene, options_spot.Spot, options.Target),
        "/v1/light": (options.Scene, options_spot.Spot),
        "/v1/patch": (options.Scene, options_spot.Spot, options_spot.TableEdges),
        "/v1/moves": (
            *(options.Scene, options_spot.Spot, options.Target),
            *(options_spot.Plan, options_spot.TableEdges),
        ),
    }
    for path, taken in groups.items():
        known = {parameter["name"] for parameter in app.openapi()["paths"][path]["get"]["parameters"]}
        asked = {name for group in taken for name in options.names_of(group)} - {"spot"}
        assert asked <= known
        assert {name for name in known if name.startswith(("window_", "frame_", "skyline"))} <= asked


def test_fields_are_posted_in_the_type_that_the_service_takes(app):
    kinds = {"number": ("0.5", float), "integer": ("5", int), "boolean": ("true", bool), "string": ("5", str)}
    schemas = app.openapi()["components"]["schemas"]
    for body in ("MovesBody", "PatchBody", "SlotsBody", "LightBody", "RunBody"):
        for name, schema in schemas[body]["properties"].items():
            if name != "spot":
                kind = next(k["type"] for k in schema.get("anyOf", [schema]) if k["type"] != "null")
                sent = json.loads(Question({name: kinds[kind][0]}, {}, {}).body())[name]
                assert type(sent) is kinds[kind][1], name


SPANS = {
    "now": ("/v1/exposure", {"start": MORNING}),
    "slots": ("/v1/slots", {"date": DAY}),
    "moves": ("/v1/moves", {"start": MORNING}),
    "patch": ("/v1/patch", {"date": DAY}),
}


@pytest.mark.parametrize("command", SPANS)
def test_a_spot_from_a_file_is_the_window_of_the_options(call, api, spot_file, command):
    path, span = SPANS[command]
    ((option, when),) = span.items()
    from_file = call(command, *YARD, "--spot", spot_file(WINDOW_SPOT), f"--{option}", when, "--json")
    typed = call(command, *YARD, *WINDOW, f"--{option}", when, "--json")
    truth = api(path, json={**STACK, **span, "spot": WINDOW_SPOT})
    assert truth.status_code == 200
    assert from_file == (0, truth.text + "\n", "")
    assert json.loads(typed.out) == truth.json()


def test_say_takes_a_spot_from_a_file_too(call, api, spot_file):
    said = call("say", *YARD, "--start", MORNING, "--spot", spot_file(WINDOW_SPOT))
    assert said == (0, api("/v1/say", **STACK, **WINDOW_FIELDS, start=MORNING).json()["summary"] + "\n", "")


def test_a_skyline_takes_light_away(call, api):
    lengths = [
        json.loads(call("now", *YARD, "--start", MORNING, *more, "--json").out)["length_s"]
        for more in ((), ("--skyline", "90:10,180:0,270:35"))
    ]
    truth = api("/v1/exposure", **STACK, start=MORNING, skyline="90:10,180:0,270:35").json()
    assert lengths[1] == truth["length_s"] > lengths[0]


def test_light_inside_tells_how_much_of_the_sheet_lies_in_sun(call, api):
    times = ("--from", f"{DAY} 09:00", "--to", f"{DAY} 13:00", "--step", "1h")
    said = call("light", *YARD, *WINDOW, *times)
    truth = api(
        *("/v1/light",),
        **STACK,
        **WINDOW_FIELDS,
        start=MORNING,
        end="2026-06-21T13:00:00+01:00",
        step_s="3600",
    ).json()
    shares = [int(line.split()[-2]) for line in said.out.splitlines() if re.match(r"\d\d:\d\d ", line)]
    assert shares == [pytest.approx(100.0 * share, abs=0.51) for share in truth["beam_share"]]
    assert max(shares) > 0
    sky = re.search(r"The sheet sees (\d+) % of the sky", said.out)
    assert int(sky[1]) == pytest.approx(100.0 * truth["sky_view"], abs=0.51)
    csv = call("light", *YARD, *WINDOW, *times, "--csv").out.splitlines()
    assert csv[0].endswith(",beam_share")
    assert [float(line.rsplit(",", 1)[1]) for line in csv[1:]] == truth["beam_share"]
    assert max(map(len, said.out.splitlines())) <= 80


def test_patch_tables_the_suns_day_on_the_table(call, api):
    said = call("patch", *YARD, *WINDOW, "--date", DAY)
    truth = api("/v1/patch", **STACK, **WINDOW_FIELDS, date=DAY).json()
    text = flowing(said.out)
    assert (said.code, said.err) == (0, "")
    first, last = told_minute(truth["sun_from"]), told_minute(truth["sun_until"])
    assert text.startswith(f"Sun lies on the table from {first} to {last} on 21 June 2026. ")
    assert f"The best place: {truth['best_says']} (" in text
    rows = [line for line in said.out.splitlines() if re.match(r"\d\d:\d\d ", line)]
    assert len(rows) == len(truth["moments"]) > 10
    for row, moment in zip(rows, truth["moments"], strict=True):
        cells = row.split()
        distances = [distance for _, distance in moment["corners"]]
        offsets = [offset for offset, _ in moment["corners"]]
        assert cells[0] == told_minute(moment["time"])
        assert float(cells[1]) == pytest.approx(min(distances), abs=0.0051)
        assert float(cells[2]) == pytest.approx(max(distances), abs=0.0051)
        sides = [float(cells[k]) * (-1 if cells[k + 1] == "left" else 1) for k in (3, 5)]
        assert sides == pytest.approx([min(offsets), max(offsets)], abs=0.0051)
        assert float(cells[7]) == pytest.approx(moment["area_m2"], abs=0.0051)
        assert float(cells[9]) == pytest.approx(100.0 * moment["table_share"], abs=0.51)


def test_patch_months_has_a_best_place_for_each(call, api):
    said = call("patch", *YARD, *WINDOW, "--date", DAY, "--months")
    truth = api("/v1/patch", **STACK, **WINDOW_FIELDS, date=DAY, months="true").json()
    for number, item in enumerate(truth["months"], start=1):
        name = calendar.month_name[number]
        row = next(line for line in said.out.splitlines() if line.startswith(f"{name} "))
        assert f" {told_minute(item['sun_from'])}-{told_minute(item['sun_until'])} " in row
        assert f" {item['best_says']} " in row
        assert float(row.split()[-1]) == pytest.approx(item["dose_j_m2"], abs=51.0)
    assert "January" not in call("patch", *YARD, *WINDOW, "--date", DAY).out


def test_a_window_away_from_the_sun_has_no_patch(call):
    north = ("--window-facing", "n", *WINDOW[2:])
    said = call("patch", *YARD, *north, "--date", "2026-12-21", "--months")
    assert said.code == 0
    assert said.out.startswith("No sun reaches the table on 21 December 2026.\n")
    assert re.search(r"^December +none ", said.out, re.MULTILINE)


def test_the_picture_is_the_services_drawing_of_the_same_plan(call, api, tmp_path):
    file = tmp_path / "plan.svg"
    said = call("moves", *YARD, *WINDOW, *LARGE, "--start", MORNING, "--picture", str(file))
    drawing = api("/v1/moves/picture", **STACK, **WINDOW_FIELDS, **LARGE_FIELDS, start=MORNING).text
    assert said.code == 0
    assert f"Drawn in {file}." in said.out
    assert file.read_text(encoding="utf-8") == drawing
    assert ET.fromstring(drawing).tag == "{http://www.w3.org/2000/svg}svg"


def test_a_picture_of_a_spot_from_a_file_is_asked_for_with_it(call, api, spot_file, tmp_path):
    file = tmp_path / "plan.svg"
    asked = ("moves", *YARD, "--start", MORNING, "--spot", spot_file(WINDOW_SPOT))
    said = call(*asked, "--picture", str(file), "--json")
    assert said == call(*asked, "--json")
    drawing = api("/v1/moves/picture", json={**STACK, "start": MORNING, "spot": WINDOW_SPOT}).text
    assert file.read_text(encoding="utf-8") == drawing


def test_a_file_that_is_there_is_kept_unless_forced(call, tmp_path):
    file = tmp_path / "plan.svg"
    file.write_text("the printer's own", encoding="utf-8")
    asked = ("moves", *YARD, "--start", MORNING, "--picture", str(file))
    said = call(*asked)
    assert (said.code, said.out) == (2, "")
    assert said.err == f"noonframe: --picture {file}: is there already; --force writes over it\n"
    assert file.read_text(encoding="utf-8") == "the printer's own"
    assert call(*asked, "--force").code == 0
    assert file.read_text(encoding="utf-8").startswith("<svg")


def test_a_file_that_appears_meanwhile_is_kept(call, tmp_path, monkeypatch):
    file = tmp_path / "plan.svg"
    monkeypatch.setattr(Picture, "check", lambda self: file.write_text("kept", encoding="utf-8"))
    assert call("moves", *YARD, "--start", MORNING, "--picture", str(file)).code == 2
    assert file.read_text(encoding="utf-8") == "kept"


def test_places_where_no_picture_can_go_are_refused_first(call, tmp_path):
    (tmp_path / "folder.svg").mkdir()
    for name, limit in (
        ("plan.png", "the name of a file that ends in .svg"),
        ("folder.svg", "the name of a file; this is a folder"),
        ("nowhere/plan.svg", "in a folder that exists"),
    ):
        said = call("moves", *YARD, "--start", MORNING, "--picture", str(tmp_path / name))
        assert (said.code, said.out) == (2, "")
        assert said.err == f"noonframe: --picture {tmp_path / name}: must be {limit}\n"
    assert list(tmp_path.iterdir()) == [tmp_path / "folder.svg"]
    assert "--picture" in call("moves", *YARD, "--start", MORNING, "--force").err


def replaced(option, value):
    """The window's options with another value for one of them."""
    at = WINDOW.index(option)
    return (*WINDOW[: at + 1], value, *WINDOW[at + 2 :])


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (replaced("--head", "0.05"), r"--sill 0\.1: must be below --head, which is 0\.05"),
        (replaced("--head", "high"), r"--head high: must be a number"),
        (replaced("--head", "90"), r"--head 90: must be .*50"),
        (replaced("--window-facing", "out"), r"--window-facing out: must be degrees .*"),
        (replaced("--window-facing", "400"), r"--window-facing 400: must be .*360"),
        (replaced("--window-width", "0"), r"--window-width 0\.0: must be .*above 0"),
        (replaced("--distance", "0.05"), r"--distance 0\.05: must be at least 0\.2, or a corner .*"),
        ((*WINDOW, "--reveal", "-1"), r"--reveal -1\.0: must be .*at least 0"),
        ((*WINDOW, "--overhang", "-1"), r"--overhang -1\.0: must be .*at least 0"),
        ((*WINDOW, "--pane", "tin"), r"--pane tin: must be .*float-glass-4mm.*"),
        ((*WINDOW, "--offset", "far"), r"--offset far: must be a number"),
        ((*WINDOW, "--frame-width", "0"), r"--frame-width 0\.0: must be .*above 0"),
        ((*WINDOW, "--frame-height", "nan"), r"--frame-height nan: must be a finite number"),
        (WINDOW[:-2], r"--distance: must be given for a frame inside a window"),
        ((*WINDOW, "--skyline", "90:10"), r"--skyline 90:10: must be left out for a window .*"),
        (("--skyline", "east"), r"--skyline east: must be pairs .*"),
        (("--skyline", "90:95"), r"--skyline 95\.0: must be .*90"),
        ((*WINDOW, "--max-moves", "9"), r"--max-moves 9: must be .*8"),
        ((*WINDOW, "--move-cost", "soon"), r"--move-cost soon: must be a length of time .*"),
        ((*WINDOW, "--evenness", "0"), r"--evenness 0: must be greater than 0"),
        (("--aims", "up"), r"--aims up: must be 'flat', 'propped' or 'free'"),
        ((*WINDOW, "--most-places", "0"), r"--most-places 0: must be .*1"),
        (("--object-height", "-1"), r"--object-height -1: must be .*0"),
        (
            (*WINDOW, "--table-nearest", "1", "--table-farthest", "0.5"),
            r"--table-farthest 0\.5: must be at least --table-nearest, 1",
        ),
    ],
)
def test_what_is_refused_is_named_as_it_was_typed(call, arguments, line):
    said = call("moves", *YARD, "--start", MORNING, *arguments)
    assert (said.code, said.out) == (2, "")
    assert re.fullmatch(f"noonframe: {line}\n", said.err), said.err


def test_a_fault_inside_a_spot_file_is_named_by_its_place_there(call, spot_file):
    low = {**WINDOW_SPOT, "window": {**WINDOW_SPOT["window"], "head_m": 0.05}}
    said = call("now", *YARD, "--spot", spot_file(low))
    assert said.code == 2
    assert said.err == "noonframe: --spot window.sill_m 0.1: must be below head_m, which is 0.05\n"
    said = call("now", *YARD, "--spot", spot_file({"kind": "open", "tilt_deg": 95}), "--target", "many")
    assert re.fullmatch(
        "noonframe: --target many: must be a number\nnoonframe: --spot tilt_deg 95: must be .*90\n", said.err
    )
    said = call("now", *YARD, "--spot", spot_file({"kind": "open"}), "--tilt", "3")
    assert re.fullmatch("noonframe: --tilt 3.0: must be left out when a spot is given.*\n", said.err)


@pytest.mark.parametrize(
    ("text", "limit"),
    [
        ("kind: open", r"a file of valid JSON \(line 1, column 1: .*"),
        ('{"kind": "open", "kind": "window"}', r"a file of valid JSON \(kind is given twice\)"),
        ('{"kind": "open", "tilt_deg": NaN}', r"a file of valid JSON \(NaN is no number\)"),
        ("[" * 50_000, r"a file of valid JSON .*"),
        ("[]", r'a file of one JSON object with "kind": .*'),
        ('{"spot": {"kind": "open"}}', r'a file of one JSON object with "kind": .*'),
        (" " * 100_001, r"a file of at most 100000 bytes"),
    ],
)
def test_a_file_that_is_no_spot_is_refused(call, spot_file, text, limit):
    file = spot_file(text)
    said = call("now", *YARD, "--spot", file)
    assert (said.code, said.out) == (2, "")
    assert re.fullmatch(f"noonframe: --spot {re.escape(file)}: must be {limit}\n", said.err), said.err


def test_a_file_that_is_not_there_is_named(call, tmp_path):
    said = call("now", *YARD, "--spot", str(tmp_path / "spot.json"))
    assert said.code == 2
    assert said.err.startswith(f"noonframe: --spot {tmp_path / 'spot.json'}: cannot be read (")


def test_patch_without_a_window_asks_for_one(call, spot_file):
    said = call("patch", *YARD)
    assert (said.code, said.out) == (2, "")
    assert all(option in said.err for option in (*WINDOW[::2], "--spot"))
    said = call("patch", *YARD, "--spot", spot_file({"kind": "open"}))
    assert said.code == 2
    assert "window" in said.err


def test_pages_fit_80_columns_and_carry_no_control_codes(call):
    for arguments in (
        ("moves", *YARD, *WINDOW, *LARGE, "--start", MORNING, "--map"),
        ("moves", *YARD, "--start", EVENING),
        ("patch", *YARD, *WINDOW, "--date", DAY, "--months"),
    ):
        said = call(*arguments)
        assert "\x1b" not in said.out + said.err
        assert max(map(len, said.out.splitlines())) <= 80


def test_a_picture_that_is_none_is_not_taken_for_one():
    async def ask(response):
        transport = httpx.MockTransport(lambda request: response)
        async with httpx.AsyncClient(transport=transport, base_url="http://quayside") as client:
            await Service(client, "http://quayside").picture("/v1/moves/picture", Question({}, {}))

    for response in (httpx.Response(200, text="<html/>"), httpx.Response(404, json={"title": "nothing"})):
        with pytest.raises(Failed):
            asyncio.run(ask(response))


NOW = dt.datetime(2026, 6, 21, 9, 0, tzinfo=ZoneInfo("Europe/Lisbon"))


def a_plan(**changes):
    inside = {"distance_m": 0.4, "offset_m": 0.0, "tilt_deg": 0.0, "aim_azimuth_deg": None}
    return {
        "start": MORNING,
        "end": "2026-06-21T09:30:00+01:00",
        "length_s": 1800.0,
        "reached": True,
        "outcome": "reached",
        "begin": inside,
        "begin_says": "40 cm from the wall, on the centre line",
        "moves": [],
        "stay_length_s": 1800.0,
        "best_length_s": 1800.0,
        "evenness": {"lowest_stops": -0.0, "highest_stops": 0.2},
        "summary": "Too little light.",
    } | changes


def a_move(**changes):
    to = {"distance_m": 0.6, "offset_m": 0.0, "tilt_deg": 0.0, "aim_azimuth_deg": None}
    says = "60 cm from the wall, on the centre line"
    return {"time": MORNING, "after_s": 0.0, "says": says, "to": to, "saves_s": None} | changes


def test_a_plan_begun_now_without_moves_is_short():
    assert plan_sentences(a_plan(), NOW) == [
        "Begin now: 40 cm from the wall, on the centre line.",
        "Leave it there. Done at 09:30, after 30 min.",
    ]
    assert "moving would save no more than 40 s." in plan_sentences(a_plan(best_length_s=1760.0), NOW)[1]


def test_a_move_that_keeps_the_sheet_even_says_why_and_one_at_the_start_is_made_at_once():
    told = plan_sentences(a_plan(moves=[a_move()], stay_length_s=None), NOW)
    assert told[1] == (
        "At once move it to 60 cm from the wall, on the centre line; without it the sheet is not done evenly."
    )
    assert told[2].endswith("Without a move it is not done evenly, or not at all.")


def test_a_plan_that_ends_on_another_day_names_it():
    told = plan_sentences(a_plan(end="2026-06-22T00:10:00+01:00"), NOW)
    assert "Done at 00:10 the next day, after" in told[1]


def test_an_uneven_plan_is_called_uneven():
    plan = a_plan(outcome="uneven", moves=[a_move()])
    assert evenness_sentence(plan).startswith("No plan found is as even as asked")
    assert plan_sentences(plan, NOW)[1] == "At once move it to 60 cm from the wall, on the centre line."


def test_evenness_has_words_for_no_light_and_no_sign_for_nothing():
    assert "least +0.00, most +0.20" in evenness_sentence(a_plan())
    nothing = {"lowest_stops": None, "highest_stops": None}
    assert evenness_sentence(a_plan(evenness=nothing)) == "No part of the sheet gets any light."
    partly = {"lowest_stops": None, "highest_stops": 0.2}
    assert "least none, most +0.20" in evenness_sentence(a_plan(evenness=partly))


def test_a_plan_that_fails_tells_its_moves_and_what_staying_takes():
    plan = a_plan(reached=False, outcome="out-of-light", end=None, length_s=None, moves=[a_move()])
    told = plan_sentences(plan, NOW, {"reached": True, "length_s": 36000.0})
    assert told[0] == "Too little light."
    assert told[1] == "This plan gets furthest:"
    assert told[-1] == "Without a move it takes 10 h."
