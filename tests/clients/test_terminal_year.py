"""`noonframe year` and `noonframe month`: tables in 80 columns, and the page as a file."""

import io
import json

import pypdf
import pytest

from noonframe_terminal.show_year import minutes, month_grid, table_lines, year_cell

YARD = ("--place", "quayside-yard", "--target", "24000")


def hour(length_s, possible, starts=30):
    return {"length_s": length_s, "possible": possible, "starts": starts}


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        (hour(None, 0), ""),
        (hour(None, 7), "7d"),
        (hour(1440.0, 30), "24"),
        (hour(1440.0, 29), "(24)"),
        (hour(300.0, 30), "5.0"),
        (hour(40000.0, 30), "11h"),
    ],
)
def test_a_cell_says_how_long_and_on_how_many_days(cell, text):
    assert year_cell(cell) == text


def test_the_year_is_told_as_the_service_has_it_in_80_columns(call, api):
    said = call("year", *YARD, "--year", "2026")
    assert said.code == 0, said.err
    assert max(len(line) for line in said.out.splitlines()) <= 80
    answer = api(
        "/v1/year",
        place="quayside-yard",
        target_j_m2=24000,
        stack="float-glass-4mm,polyester-film",
        year=2026,
    ).json()
    assert " ".join(said.out.split()).startswith(answer["summary"])
    lines = {line[:5]: line for line in said.out.splitlines()}
    for number in range(7, 20):
        told = lines[f"{number:02d}:00"].split()[1:]
        expected = [year_cell(month["hours"][number]) for month in answer["months"]]
        assert told == [text for text in expected if text]
    june = lines["Jun  "] if "Jun  " in lines else next(v for k, v in lines.items() if k.startswith("Jun"))
    best = answer["months"][5]
    assert best["best_start"] in june
    assert f"{best['useful_from']}-{best['useful_until']}" in june
    assert "not a forecast" in " ".join(said.out.split())


def test_the_month_names_every_day_and_every_hour_that_fits(call):
    said = call("month", *YARD, "--month", "2026-10")
    assert said.code == 0, said.err
    assert max(len(line) for line in said.out.splitlines()) <= 80
    assert "Sun 25   06:57-17:39" in said.out
    assert "which changes on 25 October 2026" in " ".join(said.out.split())
    grid = said.out.partition("by the hour at which it begins:\n")[2].splitlines()
    assert [int(line.split()[0]) for line in grid[1:32]] == list(range(1, 32))


def test_polar_months_are_told_too(call):
    summer = call("month", "--latitude", "69.65", "--longitude", "18.96", "--month", "2026-06")
    assert summer.code == 0
    assert "stays up" in summer.out
    assert "by the second hour at which it begins" in summer.out
    assert max(len(line) for line in summer.out.splitlines()) <= 80
    winter = call("month", "--latitude", "69.65", "--longitude", "18.96", "--month", "2026-12")
    assert winter.code == 1
    assert "stays down" in winter.out
    assert "Minutes of exposure" not in winter.out


def test_grids_of_long_exposures_still_fit():
    starts = [{"start": f"2026-06-01T{number:02d}:00:00+02:00", "length_s": 32940.0} for number in range(24)]
    heads, rows, step = month_grid([{"date": "2026-06-01", "starts": starts}])
    assert step > 1
    assert max(len(line) for line in table_lines(heads, rows)) <= 80
    assert minutes(32940.0) == "549"


@pytest.mark.parametrize(("name", "opening"), [("year.pdf", b"%PDF-"), ("year.SVG", b"<svg ")])
def test_the_page_is_written_where_it_is_asked_for(call, tmp_path, name, opening):
    file = tmp_path / name
    said = call("year", *YARD, "--year", "2026", "--picture", str(file))
    assert said.code == 0, said.err
    assert file.read_bytes().startswith(opening)
    again = call("year", *YARD, "--year", "2026", "--picture", str(file))
    assert again.code == 2
    assert "--force" in again.err
    assert call("year", *YARD, "--year", "2026", "--picture", str(file), "--force").code == 0


def test_a_window_of_a_file_gets_its_page(call, tmp_path):
    spot = {
        "kind": "window",
        "window": {"outward_azimuth_deg": 135, "width_m": 1.2, "sill_m": 0.1, "head_m": 1.5},
        "frame": {"distance_m": 0.6},
    }
    (tmp_path / "room.json").write_text(json.dumps(spot))
    page = tmp_path / "june.pdf"
    said = call(
        "month", *YARD, "--month", "2026-06", "--spot", str(tmp_path / "room.json"), "--picture", str(page)
    )
    assert said.code == 0, said.err
    text = pypdf.PdfReader(io.BytesIO(page.read_bytes())).pages[0].extract_text()
    assert "Sun exposures in June 2026" in text
    assert "inside" in text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("year", *YARD, "--year", "3000"), "--year 3000"),
        (("month", *YARD, "--month", "June"), "--month June"),
        (("year", *YARD, "--picture", "year.png"), "ends in .svg or .pdf"),
        (("month", *YARD, "--picture", "no/such/folder/june.pdf"), "in a folder that exists"),
        (("year", "--year", "2026"), "no place given"),
    ],
)
def test_what_cannot_be_used_is_refused(call, arguments, words):
    said = call(*arguments)
    assert said.code == 2
    assert words in said.err
    assert said.out == ""


def test_json_is_the_services_own(call):
    said = call("month", *YARD, "--month", "2026-06", "--json")
    assert json.loads(said.out)["month"] == "2026-06"
