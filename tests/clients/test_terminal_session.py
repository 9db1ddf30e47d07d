"""`noonframe session` as typed: a plan to work from, kept, shown, planned anew, and what is refused."""

import csv
import json

import pytest

from noonframe_terminal.session_file import COLUMNS, read_session, read_sheet
from noonframe_terminal.trouble import Refused

PLACE = ("--place", "quayside-yard", "--date", "2020-06-21", "--from", "10:00", "--to", "16:00")
SHEETS = ("--sheet", "kelp fronds, count=2, target=24000", "--sheet", "ferry ticket, target=18000, by=13:00")


def test_a_plan_lists_the_steps_and_every_sheet(call):
    ran = call("session", "plan", *PLACE, *SHEETS, "--frames", "2", "--break", "12:30-13:00")
    assert ran.code == 0, ran.err
    for words in ("21 June 2020", "Load ferry ticket into frame", "kelp-fronds-2", "Break", "Europe/Lisbon"):
        assert words in ran.out
    assert "Caution" in ran.out


def test_the_same_as_json_is_the_service_own_answer(call):
    ran = call("session", "plan", *PLACE, *SHEETS, "--json")
    plan = json.loads(ran.out)
    assert [sheet["sheet"] for sheet in plan["sheets"]] == ["kelp fronds 1", "kelp fronds 2", "ferry ticket"]
    assert plan["sheets"][2]["done_by"] == "2020-06-21T13:00:00+01:00"
    assert plan["start"] == "2020-06-21T10:00:00+01:00"


def test_what_does_not_fit_gives_the_exit_code_of_not_reached(call):
    ran = call("session", "plan", *PLACE, "--sheet", "black flag, target=5000000")
    assert ran.code == 1
    assert "Black flag does not fit" in " ".join(ran.out.split())


def test_a_table_and_a_json_file_say_the_same(call, tmp_path):
    table = tmp_path / "sheets.csv"
    with table.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["name", "count", "target", "by", "priority"])
        writer.writerow(["kelp fronds", 2, 24000, "", 1])
        writer.writerow(["ferry ticket", "", 18000, "13:00", 2])
    whole = tmp_path / "day.json"
    sheets = [
        {"name": "kelp fronds", "count": 2, "target_j_m2": 24000, "priority": 1},
        {"name": "ferry ticket", "target_j_m2": 18000, "done_by": "13:00", "priority": 2},
    ]
    whole.write_text(json.dumps({"sheets": sheets, "frames": [{"name": "frame", "count": 3}]}))
    plans = [call("session", "plan", *PLACE, "--file", str(path), "--json") for path in (table, whole)]
    assert [ran.code for ran in plans] == [0, 0], [ran.err for ran in plans]
    assert json.loads(plans[0].out)["steps"] == json.loads(plans[1].out)["steps"]


def test_a_session_is_kept_shown_drawn_and_planned_anew(call, tmp_path):
    drawn = ("--picture", str(tmp_path / "a.svg"))
    kept = call("session", "plan", *PLACE, *SHEETS, "--save", "kelp day", *drawn)
    assert kept.code == 0, kept.err
    assert (tmp_path / "a.svg").read_text().startswith("<svg")
    listed = call("session", "list")
    assert "kelp day" in listed.out
    shown = call("session", "show", "kelp day", "--picture", str(tmp_path / "b.svg"))
    assert "kelp day, 21 June 2020" in shown.out
    assert "kelp day" in (tmp_path / "b.svg").read_text()
    again = call(
        "session",
        "replan",
        "kelp day",
        "--dropped",
        "kelp-fronds-2@10:00",
        "--add",
        "rope, target=30000",
        "--json",
    )
    assert again.code in (0, 1), again.err
    says = json.loads(again.out)
    assert says["version"] == 2
    states = {sheet["sheet_id"]: sheet["state"] for sheet in says["plan"]["sheets"]}
    assert states["kelp-fronds-2"] == "dropped"
    assert "rope-1" in states
    assert call("session", "retire", "kelp day").code == 0
    assert "No session is saved yet" in call("session", "list").out


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (("--sheet", "kelp, colour=blue"), "--sheet"),
        (("--sheet", "kelp, count=two"), "count"),
        (("--sheet", ", count=2"), "a sheet with a name"),
        (("--sheet", "kelp, by=9"), "by 9"),
        (("--sheet", "kelp", "--break", "13:00"), "--break"),
        (("--sheet", "kelp", "--frames", "99"), "--frames"),
        ((), "no sheets given"),
        (("--file", "nowhere.csv"), "nowhere.csv"),
    ],
)
def test_what_is_wrong_is_said_in_the_words_typed(call, typed, says):
    ran = call("session", "plan", *PLACE, *typed)
    assert ran.code == 2
    assert says in ran.err


def test_a_sheet_line_has_the_contracts_fields():
    line = "kelp fronds; count=2; target=24000; stack=float-glass-4mm,polyester-film; spots=yard+window"
    sheet = read_sheet(line)
    assert sheet == {
        "name": "kelp fronds",
        "count": 2,
        "target_j_m2": 24000.0,
        "stack": "float-glass-4mm,polyester-film",
        "spots": ["yard", "window"],
    }
    assert set(COLUMNS.values()) >= set(sheet)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("a.csv", "name,colour\nkelp,blue\n"),
        ("a.csv", "count\n2\n"),
        ("a.json", "{not json"),
        ("a.json", "3"),
    ],
)
def test_files_that_are_no_sessions_are_refused(tmp_path, name, text):
    path = tmp_path / name
    path.write_text(text)
    with pytest.raises(Refused):
        read_session(str(path))
