"""Recipes, strips, prints and coating against the real application in this process."""

import csv
import datetime as dt
import io
import json
import re
import shlex

import pytest
from clients.runs_rig import SteadyClock

from noonframe.api.app import create_app
from noonframe.settings import Settings
from noonframe_terminal import contract, moments
from noonframe_terminal.contract import converse_with
from noonframe_terminal.saved import RECIPES, find_saved

KELP = "kelp on cotton"
YARD = ("--place", "quayside-yard")
NOON = "2026-06-21T13:00:00+01:00"
USUAL = ["float-glass-4mm", "polyester-film"]
PLAN = ("strip", "plan", KELP, *YARD, "--start", NOON)


def flowing(text):
    return " ".join(text.split())


@pytest.fixture
def clock():
    return SteadyClock()


@pytest.fixture
def make_app(clock, tmp_path):
    """A new application on the same records every time."""
    return lambda: create_app(Settings(state_dir=tmp_path / "records"), clock)


@pytest.fixture
def bench(call, make_app, monkeypatch):
    """The command line at noon, on records of its own."""
    monkeypatch.delenv("NOONFRAME_PLACE", raising=False)
    monkeypatch.setattr(contract, "_application", make_app)
    monkeypatch.setattr(moments, "today_at", lambda zone: dt.date(2026, 6, 21))
    return call


@pytest.fixture
def kelp(bench):
    """The command line, with one recipe saved."""
    assert bench("recipe", "add", KELP, "--paper", "cotton rag, unbuffered").code == 0
    return bench


@pytest.fixture
def ask(make_app):
    return lambda path, **fields: (
        converse_with(make_app(), lambda service: service.get(path, fields, {})).says
    )


def read_json(said):
    assert said.code == 0, said.err
    return json.loads(said.out)


def test_from_no_knowledge_to_a_calibrated_target_in_one_strip(kelp, ask):
    planned = kelp(*PLAN)
    assert (planned.code, planned.err) == (0, "")
    command = re.search(r"^noonframe (strip read .*?first-toned M)$", planned.out, re.MULTILINE | re.DOTALL)
    typed = command[1].replace("\\\n", " ").replace("-full N", "-full 5").replace("-toned M", "-toned 1")
    read = kelp(*shlex.split(typed))
    assert (read.code, read.err) == (0, "")
    recipe = ask("/v1/recipes", name=KELP)["recipes"][0]
    target = ask(f"/v1/recipes/{recipe['id']}/target")
    assert target["strips"] == 1
    assert target["target_spread_stops"] < 0.5  # a prior of a whole stop before
    assert flowing(read.out).startswith(f"The target of {KELP}, {target['summary']}.")
    doses = ask(f"/v1/recipes/{recipe['id']}/evidence")["evidence"][0]["told"]["doses_j_m2"]
    assert f"strip 5 had {float(f'{doses[4] / 1000:.3g}'):g} kJ/m²" in flowing(read.out)
    answer = read_json(kelp("now", "--recipe", KELP, *YARD, "--start", NOON, "--json"))
    assert answer["target_j_m2"] == pytest.approx(target["target_j_m2"], rel=1e-3)
    assert answer["target_source"] == target["summary"]
    assert answer["basis"]["stack"] == USUAL
    text = flowing(kelp("now", "--recipe", KELP, *YARD, "--start", NOON).out)
    assert "--stack" not in text
    assert target["summary"] in text


def test_the_short_form_of_a_reading_takes_the_doses_of_the_plan(kelp):
    plan = read_json(kelp(*PLAN, "--json"))
    short = read_json(kelp("strip", "read", KELP, "--first-full", "5", "--json"))
    assert short["evidence"]["told"]["doses_j_m2"] == pytest.approx(
        [strip["total_j_m2"] for strip in plan["strips"]], rel=1e-3
    )


def test_a_plan_shows_every_cover_in_80_columns(kelp):
    plan = read_json(kelp(*PLAN, "--steps", "7", "--stops", "0.75", "--json"))
    said = kelp(*PLAN, "--steps", "7", "--stops", "0.75")
    assert len(plan["strips"]) == 7
    for strip in plan["strips"]:
        at = dt.datetime.fromisoformat(strip["cover_at"]) + dt.timedelta(milliseconds=500)
        assert re.search(rf"^ +{strip['strip']} +{at:%H:%M:%S}", said.out, re.MULTILINE)
    table = said.out[said.out.index("Strip ") : said.out.index("Caution")]
    assert max(len(line) for line in table.splitlines()) <= 80
    assert "--stops 0.75" in said.out
    for caution in plan["cautions"]:
        assert f"Caution: {caution}" in flowing(said.out)


def test_the_commands_that_a_plan_tells_can_be_typed(kelp, clock):
    where = ("--latitude", "41.15", "--longitude=-8.61", "--sky", "thin-cloud", "--skyline", "90:35,225:3")
    said = kelp("strip", "plan", KELP, *where, "--steps", "9", "--stops", "0.25")
    assert max(len(line) for line in said.out.splitlines()) <= 80
    told = re.findall(r"^noonframe ((?:.*\\\n)*.*)", said.out, re.MULTILINE)
    _, start, follow = (shlex.split(line.replace("\\\n", " ")) for line in told)
    run = read_json(kelp(*start, "--json"))
    assert run["basis"]["latitude_deg"] == 41.15
    assert (
        run["basis"]["sky"]["evidence"]
        == read_json(kelp("now", *where, "--json"))["basis"]["sky"]["evidence"]
    )
    assert follow[:2] == ["strip", "follow"]
    assert "Cover strip 1 in" in kelp("strip", "next", *follow[2:]).out
    clock.now_s += 3600.0
    kelp("run", "tell", "finished")
    seen = ("--covered", "13:45,14:00,14:30", "--first-full", "2", "--first-toned", "1")
    assert kelp("strip", "read", KELP, "--run", "last", *seen).code == 0


def test_a_strip_in_the_evening_says_when_the_light_suffices(kelp):
    said = kelp("strip", "plan", KELP, *YARD, "--start", "2026-06-21T20:40:00+01:00")
    assert said.code == 1
    assert "no light left" in said.out
    assert "The next chance:" in said.out


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        (("--first-full", "x"), "--first-full x: must be a number from 1 to 60, or none"),
        (("--first-toned", "0"), "--first-toned 0: must be a number from 1 to 60, or none"),
        (("--first-full", "11"), "--first-full 11: must be between 1 and 10"),
        ((), "--first-full: must be given (of a strip), or --last-full (of a wedge)"),
        (("--first-full", "3", "--last-full", "2"), "--last-full 2: must be given without --first-full"),
        (("--first-full", "3", "--steps", "9"), "--first-dose: must be given with --steps"),
        (("--first-full", "3", "--first-dose", "900"), "--steps: must be given with --first-dose"),
        (("--first-full", "3", "--first-dose", "a", "--steps", "9"), "--first-dose a: must be a number"),
        (("--first-full", "3", "--first-dose", "900", "--steps", "99"), "--steps 99: must be"),
        (("--first-full", "3", "--covered", "12:00"), "--covered: must be given with --run"),
        (("--first-full", "3", "--coat-age", "-2"), "--coat-age -2: must be"),
        (("--first-full", "3", "--made", "noon"), "--made noon: must be a date"),
        (("--last-full", "3"), "--dose: must be given, or else --run"),
        (
            ("--last-full", "3", "--dose", "9e4", "--steps", "9", "--first-dose", "9"),
            "--first-dose 9: must be",
        ),
    ],
)
def test_a_reading_that_cannot_be_names_the_option(kelp, typed, line):
    said = kelp("strip", "read", KELP, *typed)
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith(f"noonframe: {line}")


def test_a_second_reading_must_say_its_doses(kelp):
    assert kelp("strip", "read", KELP, "--first-full", "5").code == 0
    said = kelp("strip", "read", KELP, "--first-full", "5")
    assert said.code == 2
    assert "--first-dose: must be given with --steps" in said.err
    again = kelp("strip", "read", KELP, "--first-full", "5", "--first-dose", "6000", "--steps", "9")
    assert again.code == 0
    assert "from 2 strips" in flowing(again.out)


def test_a_wedge_is_read_with_its_conditions(kelp):
    typed = (
        "--last-full",
        "7",
        "--last-toned",
        "15",
        "--dose",
        "96000",
        "--coat-age",
        "20",
        "--humidity",
        "55",
    )
    answer = read_json(kelp("strip", "read", KELP, *typed, "--json"))
    evidence = answer["evidence"]
    assert (evidence["kind"], evidence["coat_age_h"], evidence["relative_humidity_percent"]) == (
        "wedge",
        20,
        55,
    )
    assert (evidence["told"]["last_full"], evidence["told"]["last_toned"]) == (7, 15)
    assert answer["target"]["wedges"] == 1


def test_a_strip_is_followed_and_read_by_the_times_of_its_run(kelp, clock):
    run = read_json(
        kelp("run", "start", *YARD, "--recipe", KELP, "--target", "48000", "--name", "test strip", "--json")
    )
    assert run["basis"]["stack"] == USUAL
    ladder = ("--first-dose", "6000", "--steps", "7")
    assert "Cover strip 1 in" in kelp("strip", "next", *ladder).out
    clock.now_s += 300.0
    assert "Cover strips 1 to 2 now" in flowing(kelp("strip", "next", *ladder).out)
    assert re.match(r"Cover strip 3 in \d", kelp("strip", "next", *ladder, "--covered", "2").out)
    early = kelp("strip", "read", KELP, "--run", "last", "--covered", "13:43,13:45", "--first-full", "2")
    assert early.code == 2
    assert "--run" in early.err
    clock.now_s += 1200.0
    assert kelp("run", "tell", "finished").code == 0
    outside = kelp("strip", "read", KELP, "--run", "last", "--covered", "13:43,18:00", "--first-full", "2")
    assert outside.code == 2
    assert "--covered" in outside.err
    covers = "13:43,13:45,13:49,13:56,14:05"
    answer = read_json(
        kelp("strip", "read", KELP, "--run", "last", "--covered", covers, "--first-full", "4", "--json")
    )
    assert answer["evidence"]["run_id"] == run["id"]
    doses = answer["evidence"]["told"]["doses_j_m2"]
    assert len(doses) == 5
    assert doses == sorted(doses)


def test_a_print_is_judged_logged_listed_and_searched(kelp, clock):
    kelp("run", "start", *YARD, "--recipe", KELP, "--name", "kelp fronds")
    clock.now_s += 600.0
    kelp("run", "tell", "finished")
    judged = kelp("judge", KELP, "a little dark", "--run", "last", "--notes", "blue came up in a day")
    assert (judged.code, judged.err) == (0, "")
    assert flowing(judged.out).startswith(
        "kelp fronds, judged a little dark: the target of kelp on cotton is"
    )
    assert kelp("judge", KELP, "-0.5", "--dose", "15000", "--name", "wrack").code == 0
    listed = kelp("prints", "list")
    assert re.search(r"wrack +kelp on cotton +0.5 stops too pale +15000", listed.out)
    assert re.search(r"kelp fronds +kelp on cotton +a little dark", listed.out)
    found = read_json(kelp("prints", "search", "blue", "--json"))
    assert [each["name"] for each in found["prints"]] == ["kelp fronds"]
    assert "1 of 2; --limit shows more." in kelp("prints", "list", "--limit", "1").out
    assert "No prints." in kelp("prints", "list", "--judgement", "right").out


def test_the_last_run_that_is_judged_is_never_one_that_was_thrown_away(kelp, clock):
    kelp("run", "start", *YARD, "--recipe", KELP, "--name", "kelp fronds")
    clock.now_s += 600.0
    kelp("run", "tell", "finished")
    kelp("run", "start", *YARD, "--recipe", KELP, "--name", "torn sheet")
    clock.now_s += 60.0
    kelp("run", "tell", "discarded")
    assert kelp("judge", KELP, "right", "--run", "last").out.startswith("kelp fronds, judged right")


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        (("right",), "--run: must be given, or else the other of --run and --dose"),
        (("right", "--dose", "9000"), "--name: must be given with --dose"),
        (("super", "--dose", "9000", "--name", "a"), "WORDS super: must be one of far too pale"),
        (("9", "--dose", "9000", "--name", "a"), "WORDS 9: must be"),
        (("right", "--dose", "x", "--name", "a"), "--dose x: must be a number"),
        (("right", "--run", "last"), "no run has been started yet"),
        (("right", "--dose", "9000", "--name", "a", "--humidity", "120"), "--humidity 120: must be"),
    ],
)
def test_a_judgement_that_cannot_be_names_the_option(kelp, typed, line):
    said = kelp("judge", KELP, *typed)
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith(f"noonframe: {line}")


def test_an_export_taken_in_elsewhere_gives_the_same_target(kelp, call, tmp_path, monkeypatch, clock):
    kelp("strip", "read", KELP, "--first-full", "5", "--first-toned", "1")
    kelp("judge", KELP, "right", "--dose", "21000", "--name", "kelp fronds")
    before = kelp("recipe", "target", KELP)
    rows = list(csv.DictReader(io.StringIO(kelp("prints", "export", "csv").out)))
    assert [row["name"] for row in rows] == ["kelp fronds"]
    out = tmp_path / "bench.json"
    assert kelp("prints", "export", "json", "--out", str(out)).code == 0
    again = kelp("prints", "export", "json", "--out", str(out))
    assert again.code == 2
    assert f"--out {out}: must be a file that does not exist yet" in again.err
    fresh = Settings(state_dir=tmp_path / "fresh")
    monkeypatch.setattr(contract, "_application", lambda: create_app(fresh, clock))
    taken = call("prints", "import", str(out))
    assert (taken.code, taken.err) == (0, "")
    assert "4 records added" in taken.out  # a recipe, a print, and what the strip and the print told
    assert call("recipe", "target", KELP) == before
    assert "0 records added" in call("prints", "import", str(out)).out


def test_what_cannot_be_taken_in_is_refused(bench, tmp_path):
    missing = bench("prints", "import", str(tmp_path / "none.json"))
    assert missing.code == 2
    assert missing.err.startswith("noonframe: FILE ")
    (tmp_path / "bad.json").write_text("{")
    assert bench("prints", "import", str(tmp_path / "bad.json")).code == 2
    assert "FORM xml: must be csv or json" in bench("prints", "export", "xml").err


def test_recipes_are_listed_shown_changed_and_retired(kelp, ask):
    listed = flowing(kelp("recipe", "list").out)
    assert re.search(r"kelp on cotton citrate-classic float-glass-4mm, cotton rag, unbuffered", listed)
    shown = flowing(kelp("recipe", "show", KELP).out)
    assert "Paper: cotton rag, unbuffered." in shown
    assert "Nothing is learned of it yet" in shown
    changed = kelp(
        "recipe", "change", KELP, "--coat", "two thin coats by rod", "--stack", "none", "--paper", ""
    )
    assert changed.code == 0
    assert "Saved as version 2." in changed.out
    recipe = ask("/v1/recipes", name=KELP)["recipes"][0]
    assert (recipe["coat_notes"], recipe["stack"], recipe["paper"]) == ("two thin coats by rod", [], "")
    assert "Nothing new" in kelp("recipe", "change", KELP, "--stack", "none").out
    assert kelp("recipe", "change", KELP, "--rename", "kelp, two coats").code == 0
    assert kelp("recipe", "retire", "kelp, two coats").code == 0
    assert "No recipes." in kelp("recipe", "list").out


def test_a_reading_is_shown_with_its_recipe(kelp):
    kelp(
        "strip",
        "read",
        KELP,
        "--first-full",
        "5",
        "--first-toned",
        "1",
        "--made",
        "2026-06-20T12:00:00+01:00",
    )
    kelp("judge", KELP, "right", "--dose", "21000", "--name", "kelp fronds")
    shown = flowing(kelp("recipe", "show", KELP).out)
    assert re.search(r"Learned from: [0-9a-f]{8} 20 June 2026: a strip, the target between", shown)
    assert "21 June 2026: a print, the target between" in shown


def test_a_reading_that_was_wrong_can_be_withdrawn(kelp, clock):
    kelp("strip", "read", KELP, "--first-full", "2")
    clock.now_s += 60.0
    kelp("judge", KELP, "right", "--dose", "21000", "--name", "kelp fronds")
    strip_id = re.search(r"^  ([0-9a-f]{8})  .*: a strip", kelp("recipe", "show", KELP).out, re.MULTILINE)[1]
    assert kelp("recipe", "withdraw", KELP, "ffff", "--reason", "misread").code == 2
    assert "--reason" in kelp("recipe", "withdraw", KELP).err
    assert "--reason: must be" in kelp("recipe", "withdraw", KELP, "--reason", "").err
    gone = kelp("recipe", "withdraw", KELP, strip_id, "--reason", "strip 2 was misread")
    assert (gone.code, gone.err) == (0, "")
    assert "The strip of 21 June 2026 counts no more." in gone.out
    assert "from 1 print:" in flowing(gone.out)
    assert "(withdrawn: strip 2 was misread)" in flowing(kelp("recipe", "show", KELP).out)
    assert "The print of" in kelp("recipe", "withdraw", KELP, "--reason", "another sheet").out
    assert (
        "ID last: must be of something that counts" in kelp("recipe", "withdraw", KELP, "--reason", "x").err
    )


def test_a_change_that_somebody_else_overtook_is_explained(kelp, make_app, monkeypatch):
    from noonframe_terminal import commands_recipe

    async def overtaken(service, kind, words, called):
        found = await find_saved(service, kind, words, called)
        path = f"{RECIPES.path}/{found['id']}"
        await service.change(path, {"notes": "theirs"}, {}, method="PATCH", version=found["version"])
        return found

    monkeypatch.setattr(commands_recipe, "find_saved", overtaken)
    said = kelp("recipe", "change", KELP, "--notes", "mine")
    assert said.code == 2
    assert said.err == (
        "noonframe: somebody else changed it in the meantime; look at it again and repeat your change\n"
    )
    monkeypatch.undo()
    monkeypatch.setattr(contract, "_application", make_app)
    assert read_json(kelp("recipe", "show", KELP, "--json"))["notes"] == "theirs"


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        (("recipe", "add", KELP), f"NAME {KELP}: another recipe has it"),
        (("recipe", "add", "a", "--sensitizer", "foo"), "--sensitizer foo: must be"),
        (("recipe", "add", "a", "--stack", "foo"), "--stack foo: must be"),
        (("recipe", "show", "kelp on coton"), "NAME kelp on coton: must be the name of a recipe"),
        (("recipe", "change", KELP), "nothing to change"),
        (("now", *YARD, "--recipe", "kelp on coton"), "--recipe kelp on coton: must be the name"),
        (("now", *YARD, "--recipe", KELP, "--stack", "none"), "--stack none: must be left out when"),
        (("strip", "plan", KELP, *YARD, "--recipe", "a"), "--recipe a: must be left out"),
        (("strip", "plan", KELP, *YARD, "--stops", "9"), "--stops 9: must be"),
        (("strip", "plan", "oak", *YARD), "RECIPE oak: must be the name of a recipe"),
        (("now", "--saved-spot", "bench", "--start", "12:00"), "--saved-spot bench: no spot is saved yet"),
        (("now", "--saved-place", "yard", *YARD), "--place quayside-yard: must be left out when"),
    ],
)
def test_what_cannot_be_saved_or_found_names_the_option(kelp, typed, line):
    if "--place quayside-yard: must" in line:
        assert kelp("saved-place", "add", "yard", *YARD).code == 0
    said = kelp(*typed)
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith(f"noonframe: {line}")


def test_names_that_come_near_are_told(kelp):
    assert f"did you mean {KELP}?" in kelp("recipe", "show", "kelp on coton").err
    assert f"did you mean {KELP}?" in kelp("say", *YARD, "--recipe", "kelp on coton").err


def test_a_saved_spot_gives_place_zone_and_skyline(kelp):
    saved = kelp(
        "spot", "add", "yard bench", *YARD, "--skyline", "90:35,225:3", "--tilt", "30", "--facing", "sw"
    )
    assert (saved.code, saved.err) == (0, "")
    assert re.search(r"yard bench +open ground.* +quayside-yard", kelp("spot", "list").out)
    there = ("--saved-spot", "yard bench", "--start", "11:00", "--json")
    typed = (
        *YARD,
        "--start",
        "11:00",
        "--skyline",
        "90:35,225:3",
        "--tilt",
        "30",
        "--facing",
        "sw",
        "--json",
    )
    by_name, by_hand = read_json(kelp("now", *there)), read_json(kelp("now", *typed))
    assert by_name["length_s"] == by_hand["length_s"]
    assert by_name["start"] == by_hand["start"] == "2026-06-21T11:00:00+01:00"
    assert kelp("slots", "--saved-spot", "yard bench", "--recipe", KELP).code == 0
    assert kelp("moves", "--saved-spot", "yard bench", "--recipe", KELP, "--start", "11:00").code == 0


def test_a_saved_place_stands_for_its_coordinates(kelp, monkeypatch):
    typed = ("--latitude", "41.15", "--longitude=-8.61", "--elevation", "80")
    saved = kelp("saved-place", "add", "yard", *typed)
    assert saved.out == "Saved: yard, 41.15, -8.61, 80 m, clock of Europe/Lisbon.\n"
    assert re.search(r"yard +41.1500 +-8.6100 +80 m +Europe/Lisbon", kelp("saved-place", "list").out)
    monkeypatch.setenv("NOONFRAME_PLACE", "dunedin-room")  # goes after what is typed
    named = read_json(kelp("now", "--saved-place", "yard", "--start", "12:00", "--json"))
    by_hand = read_json(kelp("now", *typed, "--start", "12:00", "--json"))
    assert named["length_s"] == by_hand["length_s"]
    assert named["start"] == "2026-06-21T12:00:00+01:00"
    window = ("--window-facing", "e", "--window-width", "1.2", "--sill", "0.1", "--head", "1.5")
    spot = kelp("spot", "add", "east window", "--saved-place", "yard", *window, "--distance", "0.6")
    assert spot.code == 0, spot.err
    assert kelp("patch", "--saved-spot", "east window", "--date", "tomorrow").code == 0
    inside = read_json(kelp("now", "--saved-spot", "east window", "--start", "9:00", "--json"))
    assert inside["start"] == "2026-06-21T09:00:00+01:00"


def test_coating_tells_millilitres_powders_checks_and_cautions(bench, make_app):
    said = bench("coat", "203x254x6", "100x150", "--bottle", "iron=100", "--bottle", "ferricyanide=60")
    assert (said.code, said.err) == (0, "")
    truth = read_json(
        bench("coat", "203x254x6", "100x150", "--bottle", "iron=100", "--bottle", "ferricyanide=60", "--json")
    )
    text = flowing(said.out)
    assert truth["summary"] in text
    assert f"The bottles make {truth['bottle_sheets']} sheets; {truth['runs_out_first']}" in text
    for stock in truth["stocks"]:
        for powder in stock["powders"]:
            assert f"{powder['weight_g']:g} g of {powder['label']}" in text
    assert truth["cautions"]
    for caution in truth["cautions"]:
        assert f"Caution, {caution['about']}: {caution['text']}" in text
    for item in (*truth["checklist"], *truth["coating"], *truth["washing"]):
        assert item["text"] in text
    assert text.index("Caution") < text.index("Before coating")
    assert max(len(line) for line in said.out.splitlines()) <= 80


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        (("203",), "SHEETS 203: must be width x height in mm"),
        (("1x300",), "SHEETS, width 1.0: must be"),
        (("203x254", "--formula", "x"), "--formula x: must be"),
        (("203x254", "--coverage", "sponge"), "--coverage sponge: must be"),
        (("203x254", "--bottle", "iron"), "--bottle iron: must be a stock and its millilitres"),
        (("203x254", "--bottle", "zinc=3"), "--bottle zinc 3"),
        (("203x254", "--margin", "2"), "--margin 2: must be"),
        (("203x254", "--peroxide", "300"), "--peroxide 300: must be"),
    ],
)
def test_coating_that_cannot_be_names_the_option(bench, typed, line):
    said = bench("coat", *typed)
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith(f"noonframe: {line}")


@pytest.mark.parametrize(
    "typed",
    [
        ("recipe", "list"),
        ("recipe", "show", KELP),
        PLAN,
        ("prints", "list"),
        ("spot", "list"),
        ("saved-place", "list"),
        ("coat", "203x254"),
        ("coat", "203x254", "--at", "9:00", *YARD),
        ("strip", "wedge", KELP, *YARD, "--start", NOON),
        ("recipe", "history", KELP),
    ],
)
def test_a_pipe_gets_neither_colour_nor_padding(kelp, typed):
    said = kelp(*typed)
    assert said.code == 0
    assert "\x1b" not in said.out
    assert all(line == line.rstrip() for line in said.out.splitlines())


@pytest.mark.parametrize(
    "group",
    [("recipe",), ("strip",), ("prints",), ("spot",), ("saved-place",), ("judge",), ("coat",), ("curve",)],
)
def test_help_gives_examples_of_commands_that_there_are(bench, group):
    said = bench(*group, "--help")
    assert said.code == 0
    assert f"noonframe {group[0]}" in said.out
    assert "Exit codes: 0 answered" in flowing(said.out)
