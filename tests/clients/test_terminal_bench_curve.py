"""Curves and wedges on the command line, against the service and against a curve that is known."""

import json
import math
import re
import shlex

import pytest

from noonframe.api.app import create_app
from noonframe.settings import Settings
from noonframe_terminal import contract

KELP = "kelp on cotton"
YARD = ("--place", "quayside-yard")
STEPS = [round(0.15 * step, 2) for step in range(21)]


def flowing(text):
    return " ".join(text.split())


def density(log_dose, centre):
    """A logistic from 0.10 to 1.50, steepness 5 in log10 of the dose."""
    return 0.10 + 1.40 / (1.0 + math.exp(-5.0 * (log_dose - centre)))


def readings(centre):
    # the film of a wedge has a density of 0.10 in the near ultraviolet (a maker of step tables)
    return [round(density(math.log10(96000.0) - 0.10 - step, centre), 4) for step in STEPS]


# from 0.04 above white to nine tenths of the net density of that logistic, in closed form
SCALE = (math.log(0.9 / 0.1) + math.log(1.40 / 0.04 - 1.0)) / 5.0


@pytest.fixture
def bench(call, monkeypatch, tmp_path):
    monkeypatch.delenv("NOONFRAME_PLACE", raising=False)
    settings = Settings(state_dir=tmp_path / "records")
    monkeypatch.setattr(contract, "_application", lambda: create_app(settings))
    monkeypatch.chdir(tmp_path)
    return call


def write(path, rows, heading="step density,print density"):
    path.write_text("\n".join([heading, *(f"{step},{read}" for step, read in rows)]) + "\n")
    return str(path)


@pytest.fixture
def file(tmp_path):
    return write(tmp_path / "readings.csv", zip(STEPS, readings(3.8), strict=True))


def test_a_curve_that_is_known_is_found_from_densities_and_from_a_file(bench, file):
    typed = bench("curve", *map(str, readings(3.8)), "--dose", "96000", "--json")
    assert typed.code == 0, typed.err
    curve = json.loads(typed.out)["curve"]
    assert curve["d_min"] == pytest.approx(0.10, abs=0.005)
    assert curve["d_max"] == pytest.approx(1.50, abs=0.005)
    assert curve["exposure_scale"] == pytest.approx(SCALE, abs=0.01)
    assert bench("curve", file, "--dose", "96000", "--json").out == typed.out
    said = flowing(bench("curve", file, "--dose", "96000").out)
    assert f"density range of {curve['negative_density_range']:.2f}" in said
    for part in (r"D_min 0.10", r"D_max 1.50", r"of 0.60 above white 5\.\d+ kJ/m²", "21 readings"):
        assert re.search(part, said), part


def test_a_file_from_the_dark_end_or_with_other_marks_reads_alike(bench, tmp_path, file):
    expected = json.loads(bench("curve", file, "--json").out)["curve"]
    rows = list(zip(STEPS, readings(3.8), strict=True))
    turned = write(tmp_path / "turned.csv", reversed(rows))
    marked = tmp_path / "marked.csv"
    marked.write_text("\n".join(f"{step};{read}" for step, read in rows))
    for path in (turned, str(marked)):
        assert json.loads(bench("curve", path, "--json").out)["curve"] == expected
    blank = write(tmp_path / "blank.csv", [*rows[:3], (rows[3][0], ""), *rows[4:]])
    assert "20 readings" in bench("curve", blank).out


def test_two_coats_are_compared(bench, tmp_path, file):
    other = write(tmp_path / "other.csv", zip(STEPS, readings(3.5), strict=True))
    said = bench("curve", file, "--against", other)
    assert (said.code, said.err) == (0, "")
    slower = 0.3 / math.log10(2.0)  # its curve lies 0.3 farther along log10 of the dose
    found = json.loads(bench("curve", file, "--against", other, "--json").out)["difference"]["slower_stops"]
    assert found == pytest.approx(slower, abs=0.02)
    assert f"it is {found:.2f} stops slower" in flowing(said.out)
    assert "Both are taken to have had the same." in flowing(said.out)
    assert re.search(r"This one +The other", said.out)
    twice = bench("curve", file, "--dose", "96000", "--against", other, "--against-dose", "192000", "--json")
    assert json.loads(twice.out)["difference"]["slower_stops"] == pytest.approx(slower - 1.0, abs=0.02)


def test_a_narrow_terminal_gets_the_whole_table(bench, file, monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    said = bench("curve", file, "--against", file, "--dose", "96000")
    assert max(len(line) for line in said.out.splitlines()) <= 40


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        (("1.4", "1.3"), "READINGS 1.4 1.3: must be at least 3 densities"),
        (("1.4", "1.3", "1.2", "1.0"), "READINGS 4: must be at least 7 different doses"),
        (("1.4", "x"), "READINGS x: must be densities"),
        (("none.csv",), "READINGS none.csv: cannot be read"),
        (("1.4", "1.3", "1.2", "1.0", "0.8", "0.5", "9"), "READINGS, step 7 9.0: must be"),
        (("readings.csv", "--wedge-steps", "9"), "--wedge-steps: must be left out"),
        (("readings.csv", "--dose", "x"), "--dose x: must be a number"),
        (("readings.csv", "--dose", "9", "--run", "last"), "--dose 9: must be left out"),
        (("readings.csv", "--against-dose", "9"), "--against-dose 9: must be given with --against"),
        (("readings.csv", "--against", "no.csv"), "--against no.csv: cannot be read"),
        (("1.4", "1.3", "1.2", "1.0", "0.8", "0.5", "0.2", "--wedge-steps", "9"), "READINGS 7: must be"),
    ],
)
def test_readings_that_cannot_be_name_the_option(bench, file, typed, line):
    said = bench("curve", *typed)
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith(f"noonframe: {line}")


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("0.05,1.4\n0.2\n0.35,1.2\n", "line 2 0.2: must be a line of two numbers"),
        ("a;b\n0,05;1,4\n0,2;1,3\n", "line 2 0,05;1,4: must be a line of two numbers"),
        ("step,print\n0.05,1.4\n", "must be a file of at least 3 rows"),
        ("0.05,1.4\n0.05,1.3\n0.3,1.2\n", "line 2 0.05: must be 0 or more, at most 6, and above"),
        ("", "must be a file of at least 3 rows"),
    ],
)
def test_a_file_that_cannot_be_read_names_its_line(bench, tmp_path, text, line):
    (tmp_path / "bad.csv").write_text(text)
    said = bench("curve", "bad.csv")
    assert (said.code, said.out) == (2, "")
    assert line in said.err


def test_a_wedge_is_planned_and_read_as_it_was_planned(bench):
    assert bench("recipe", "add", KELP).code == 0
    wedge = ("--wedge-steps", "31", "--wedge-step", "0.1", "--base-in-stack")
    typed = ("strip", "wedge", KELP, *YARD, "--start", "2026-06-21T13:00:00+01:00", *wedge)
    plan = json.loads(bench(*typed, "--json").out)
    assert len(plan["steps"]) == 31
    # the first step is clear, so all of the dose passes it
    assert plan["steps"][0]["dose_j_m2"] == pytest.approx(plan["dose_j_m2"])
    said = bench(*typed)
    assert (said.code, said.err) == (0, "")
    assert re.search(rf"^ +{plan['expected_full_step']} .*full to here$", said.out, re.MULTILINE)
    told = re.findall(r"^noonframe ((?:.*\\\n)*.*)", said.out, re.MULTILINE)
    read = shlex.split(told[0].replace("\\\n", " "))
    seen = {"N": str(plan["expected_full_step"]), "M": "20"}
    answer = json.loads(bench(*[seen.get(word, word) for word in read], "--json").out)
    assert answer["target"]["wedges"] == 1
    # read where it was expected, the target stays near what was believed
    assert answer["target"]["target_j_m2"] == pytest.approx(plan["target_j_m2"], rel=0.2)
    assert shlex.split(told[1].replace("\\\n", " "))[:2] == ["run", "start"]
    plain = bench("strip", "wedge", KELP, *YARD, "--start", "2026-06-21T13:00:00+01:00")
    assert "say --base-in-stack" in flowing(plain.out)


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        (("strip", "wedge", KELP, *YARD, "--wedge-step", "4"), "--wedge-step 4: must be"),
        (("strip", "wedge", KELP, *YARD, "--wedge-densities", "0,0.3,0.2"), "--wedge-densities, step 3 0.2"),
        (("strip", "wedge", KELP, *YARD, "--recipe", "a"), "--recipe a: must be left out"),
        (("strip", "read", KELP, "--first-full", "3", "--wedge-steps", "9"), "--wedge-steps: must be left"),
    ],
)
def test_a_wedge_that_cannot_be_names_the_option(bench, typed, line):
    assert bench("recipe", "add", KELP).code == 0
    said = bench(*typed)
    assert (said.code, said.out) == (2, "")
    assert said.err.startswith(f"noonframe: {line}")


def test_a_wedge_in_the_evening_says_when_the_light_suffices(bench):
    assert bench("recipe", "add", KELP).code == 0
    said = bench("strip", "wedge", KELP, *YARD, "--start", "2026-06-21T20:40:00+01:00")
    assert said.code == 1
    assert "The next chance:" in said.out
