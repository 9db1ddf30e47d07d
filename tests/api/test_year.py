"""/v1/year and /v1/month: the same minutes as single exposures, and pages that can hang on a wall."""

import datetime as dt
import io
import math
import re
import statistics
from itertools import pairwise
from xml.etree import ElementTree as Tree
from zoneinfo import ZoneInfo

import numpy as np
import pypdf
import pytest

from noonframe.api.inputs_spot import OpenSpotBody, WindowSpotBody
from noonframe.api.pictures.page import SheetPage, Words, page_svg
from noonframe.api.pictures.page_parts import _TINTS, NIGHT, minutes_text, night_outlines, shown_part
from noonframe.api.pictures.page_pdf import page_pdf, printable
from noonframe.api.pictures.year_page import month_page, year_page
from noonframe.api.year_answer import clock_text, look_at_month, look_at_year
from noonframe.api.year_inputs import MonthQuery, YearQuery
from noonframe.settings import Settings

SHEET = {"stack": "float-glass-4mm,polyester-film", "target_j_m2": 24000}
YARD = {"kind": "open", "tilt_deg": 30, "aim_azimuth_deg": 200, "skyline": [[90, 12], [225, 3], [300, 30]]}
ROOM = {
    "kind": "window",
    "window": {
        "outward_azimuth_deg": 135, "width_m": 1.2, "sill_m": 0.1, "head_m": 1.5, "pane": "float-glass-4mm",
    },
    "frame": {"distance_m": 0.6, "width_m": 0.3, "height_m": 0.4},
}  # fmt: skip
NOW_S = dt.datetime(2026, 6, 21, 9, tzinfo=dt.UTC).timestamp()
CELL_TOLERANCE = 0.002
"""30 s steps either way, and ozone read between scenes: neither reaches a thousandth of a length."""

CELL_TOLERANCE_S = 2.5
"""A skyline's edge is found to half a second; the weaker light of the end may take five times as long."""

A4_MM = (210.0, 297.0)  # ISO 216
PLACES = {
    "porto": {"place": "quayside-yard"},
    "dunedin": {"place": "dunedin-room"},
    "tromso": {"latitude_deg": 69.65, "longitude_deg": 18.96},
    "antimeridian": {"latitude_deg": -16.8, "longitude_deg": 180, "time_zone": "Pacific/Fiji"},
    "quito, broken cloud": {"latitude_deg": -0.22, "longitude_deg": -78.51, "sky": "broken"},
}


def length_of(caller, fields, start, spot=None):
    body = {**SHEET, **fields, "start": start}
    answer = caller.post("/v1/exposure", body if spot is None else {**body, "spot": spot})
    assert answer.status_code == 200, answer.text
    return answer.json()


@pytest.mark.parametrize("spot", [None, YARD, ROOM], ids=["level", "yard", "room"])
@pytest.mark.parametrize("name", PLACES)
def test_cells_of_a_month_are_what_single_exposures_say(caller, name, spot):
    random = np.random.default_rng(11)
    for month in ("2026-03", "2026-10"):
        body = {**SHEET, **PLACES[name], "month": month}
        answer = caller.post("/v1/month", body if spot is None else {**body, "spot": spot}).json()
        starts = [start for day in answer["days"] for start in day["starts"]]
        for k in random.choice(len(starts), 12, replace=False).tolist():
            single = length_of(caller, PLACES[name], starts[k]["start"], spot)
            told = starts[k]["length_s"]
            if told is None or single["length_s"] is None:
                # where the light ends with the dose, a hair decides
                assert (told is None and not single["reached"]) or single["dose_share"] > 0.99
            else:
                assert told == pytest.approx(
                    single["length_s"], rel=CELL_TOLERANCE, abs=CELL_TOLERANCE_S if spot is YARD else 0.5
                )


@pytest.mark.parametrize("name", ["porto", "dunedin"])
def test_cells_of_a_year_are_medians_of_single_exposures(caller, name):
    year = caller.answer("/v1/year", {**SHEET, **PLACES[name], "year": 2026})
    zone = ZoneInfo(year["basis"]["time_zone"])
    for month, hour in ((2, 10), (6, 13), (10, 16)):
        cell = year["months"][month - 1]["hours"][hour]
        days = [dt.date(2026, month, 1) + dt.timedelta(days=k) for k in range(cell["starts"])]
        lengths = []
        for day in days:
            start = dt.datetime.combine(day, dt.time(hour), tzinfo=zone).isoformat()
            length = length_of(caller, PLACES[name], start)["length_s"]
            lengths.append(math.inf if length is None else length)
        done = [length for length in lengths if math.isfinite(length)]
        assert cell["possible"] == len(done)
        assert cell["length_s"] == pytest.approx(statistics.median(lengths), rel=CELL_TOLERANCE)
        assert cell["shortest_s"] == pytest.approx(min(done), rel=CELL_TOLERANCE)
        assert cell["longest_s"] == pytest.approx(max(done), rel=CELL_TOLERANCE)


def test_a_year_says_its_best_hours_and_days(caller):
    year = caller.answer("/v1/year", {**SHEET, **PLACES["tromso"], "year": 2028})
    assert sum(month["days"] for month in year["months"]) == 366
    assert [month["days_possible"] for month in year["months"]][11] == 0
    december, june = year["months"][11], year["months"][5]
    assert december["best_start"] is None
    assert december["useful_from"] is None
    assert june["day_length_s"] == 86400.0
    assert june["best_start"] in {"12:00", "13:00"}
    assert year["days_possible"] == sum(month["days_possible"] for month in year["months"])
    assert len(year["clock_changes"]) == 2
    assert any("not a forecast" in note for note in year["basis"]["notes"])


def test_the_year_and_the_month_are_todays_unless_they_are_given(caller):
    assert caller.answer("/v1/year", {**SHEET, "place": "Porto"})["year"] == 2026
    assert caller.answer("/v1/month", {**SHEET, "place": "Porto"})["month"] == "2026-06"


def test_days_of_change_have_the_starts_that_their_clocks_show(caller):
    march = caller.answer("/v1/month", {**SHEET, **PLACES["porto"], "month": "2026-03"})["days"]
    october = caller.answer("/v1/month", {**SHEET, **PLACES["porto"], "month": "2026-10"})["days"]
    assert len(march[28]["starts"]) == 23
    assert [start["start"] for start in march[28]["starts"][:2]] == [
        "2026-03-29T00:00:00+00:00",
        "2026-03-29T02:00:00+01:00",
    ]
    assert len(october[24]["starts"]) == 25
    assert [start["start"] for start in october[24]["starts"][1:3]] == [
        "2026-10-25T01:00:00+01:00",
        "2026-10-25T01:00:00+00:00",
    ]


def test_weather_has_no_say(caller_with, tmp_path):
    """A provider that would not answer is never asked."""
    settings = {"weather_providers": ("open-meteo",), "weather_open_meteo_url": "http://127.0.0.1:9"}
    caller = caller_with(state_dir=tmp_path, **settings)
    answer = caller.answer("/v1/month", {**SHEET, **PLACES["porto"], "month": "2026-06"})
    assert answer["basis"].get("weather") is None


def test_inside_a_window_the_answer_says_that_it_is_a_mean(caller):
    year = caller.post("/v1/year", {**SHEET, **PLACES["porto"], "year": 2026, "spot": ROOM}).json()
    assert any("mean" in note for note in year["basis"]["notes"])
    assert not any("UV index" in caution for caution in year["cautions"])


@pytest.mark.parametrize(
    ("path", "fields", "field"),
    [
        ("/v1/year", {"year": 1900}, "year"),
        ("/v1/year", {"year": 2198}, "year"),
        ("/v1/year", {"year": "next"}, "year"),
        ("/v1/year", {"month": "2026-06"}, "month"),
        ("/v1/month", {"month": "2026-6"}, "month"),
        ("/v1/month", {"month": "2026-13"}, "month"),
        ("/v1/month", {"month": "1899-01"}, "month"),
        ("/v1/month.svg", {"month": "June"}, "month"),
        ("/v1/year.pdf", {"sky": "sunny"}, "sky"),
        ("/v1/year.svg", {"limit": 3}, "limit"),
    ],
)
def test_bad_questions_are_refused_by_field(caller, path, fields, field):
    for answer in (
        caller.get(path, {**SHEET, "place": "Porto", **fields}),
        caller.post(path, {**SHEET, "place": "Porto", **fields}),
    ):
        assert answer.status_code == 422
        assert answer.headers["content-type"].startswith("application/problem+json")
        assert [error["field"] for error in answer.json()["errors"]] == [field]


@pytest.mark.parametrize("year", [1901, 2197])
def test_the_first_and_the_last_year_have_an_answer(caller, year):
    answer = caller.answer("/v1/year", {**SHEET, "latitude_deg": 41.15, "longitude_deg": -8.61, "year": year})
    assert answer["days_possible"] == 365


# The pages


def page_of(kind, name, spot=None, **more):
    settings = Settings()
    body = (
        None if spot is None else (WindowSpotBody if "window" in spot else OpenSpotBody).model_validate(spot)
    )
    if kind == "year":
        query = YearQuery.model_validate({**SHEET, **PLACES[name], "year": 2026, **more})
        return year_page(look_at_year(query, settings, NOW_S, body))
    query = MonthQuery.model_validate({**SHEET, **PLACES[name], "month": "2026-06", **more})
    return month_page(look_at_month(query, settings, NOW_S, body))


KINDS = [
    ("year", "porto", None, {}),
    ("year", "tromso", None, {}),
    ("year", "quito, broken cloud", ROOM, {}),
    ("year", "porto", None, {"target_j_m2": 1e8}),
    ("month", "dunedin", YARD, {"month": "2026-09"}),
    ("month", "tromso", None, {}),
    ("month", "tromso", None, {"month": "2026-12"}),
    ("month", "porto", ROOM, {"month": "2028-02"}),
    ("month", "tromso", None, {"month": "2026-05", "target_source": "a long story of strips " * 12}),
]


@pytest.mark.parametrize(("kind", "name", "spot", "more"), KINDS)
def test_both_pictures_carry_the_same_words_on_one_sheet_of_a4(kind, name, spot, more):
    page = page_of(kind, name, spot, **more)
    root = Tree.fromstring(page_svg(page))
    for side, expected_mm in zip(("width", "height"), A4_MM, strict=True):
        assert float(root.get(side)) * 25.4 / 96.0 == pytest.approx(expected_mm, abs=0.1)
    in_svg = [node.text for node in root.iter("{http://www.w3.org/2000/svg}text")]
    reader = pypdf.PdfReader(io.BytesIO(page_pdf(page)))
    assert len(reader.pages) == 1
    sheet = reader.pages[0].mediabox
    for side, expected_mm in zip((sheet.width, sheet.height), A4_MM, strict=True):
        assert float(side) * 25.4 / 72.0 == pytest.approx(expected_mm, abs=0.1)
    words = [mark.text for mark in page.marks if isinstance(mark, Words)]
    assert in_svg == words
    drawn = re.sub(r"\s+", "", reader.pages[0].extract_text())
    assert sorted(drawn) == sorted(re.sub(r"\s+", "", "".join(words)))
    for mark in page.marks:
        points = [mark.at] if isinstance(mark, Words) else mark.points
        assert all(5.0 <= x <= 205.0 and 5.0 <= y <= 292.0 for x, y in points), mark


def test_the_fonts_are_inside_the_file_and_the_file_is_the_same_each_time():
    page = page_of("year", "porto")
    document = page_pdf(page)
    fonts = pypdf.PdfReader(io.BytesIO(document)).pages[0]["/Resources"]["/Font"]
    used = [font.get_object() for font in fonts.values()]
    embedded = [font["/FontDescriptor"] for font in used if "/FontDescriptor" in font]
    assert len(embedded) >= 2
    assert all("/FontFile2" in descriptor for descriptor in embedded)
    assert page_pdf(page) == document


def test_every_number_of_the_answer_stands_in_its_cell(caller):
    year = caller.answer("/v1/year", {**SHEET, **PLACES["porto"], "year": 2026})
    page = page_of("year", "porto")
    placed = {}
    for mark in page.marks:
        if isinstance(mark, Words):
            placed.setdefault(round(mark.at[0], 1), []).append(mark.text)
    for month in year["months"]:
        column = 38.0 + (196.0 - 38.0) / 12.0 * (month["month"] - 0.5)
        cells = placed[round(column, 1)][1:-6]
        expected = []
        for hour in month["hours"]:
            if hour["length_s"] is not None:
                text = minutes_text(hour["length_s"])
                expected.append(text if hour["possible"] == hour["starts"] else f"({text})")
            elif hour["possible"]:
                expected.append(f"{hour['possible']} d")
        assert cells == expected


def luminance(colour):
    """Relative luminance: WCAG 2.2, definition of "relative luminance"."""
    parts = [int(colour[k : k + 2], 16) / 255.0 for k in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_the_tints_can_be_told_apart_in_grey_and_read_upon():
    fills = [luminance(fill) for _, fill in _TINTS]
    assert all(darker + 0.1 < lighter for darker, lighter in pairwise(fills))
    for fill in (*(fill for _, fill in _TINTS), NIGHT):
        for ink in ("#1d2433", "#4a5361"):
            ratio = (luminance(fill) + 0.05) / (luminance(ink) + 0.05)
            assert ratio >= 4.5  # WCAG 2.2, success criterion 1.4.3


@pytest.mark.parametrize(
    ("name", "printed"),
    [
        ("São João da Madeira", "São João da Madeira"),
        ("Thāne", "Thane"),
        ("Xi’an", "Xi’an"),
        ("東京の庭", "DongJingnoTing (in Latin letters)"),
        ("Όλυμπος", "Olympos (in Latin letters)"),
        ("Двор", "Dvor (in Latin letters)"),
    ],
)
def test_letters_that_the_fonts_have_not_are_spelt_and_never_boxes(name, printed):
    assert printable(name) == printed
    page = SheetPage(name, name)
    page.words((20.0, 20.0), name)
    reader = pypdf.PdfReader(io.BytesIO(page_pdf(page)))
    assert reader.pages[0].extract_text().strip() == printed
    assert reader.metadata.title == name
    assert name in page_svg(page)


def test_a_place_saved_in_other_letters_heads_its_page(caller_with, tmp_path):
    caller = caller_with(state_dir=tmp_path)
    where = {"latitude_deg": 41.15, "longitude_deg": -8.61, "elevation_m": 80}
    place = {"name": "東の窓", **where, "time_zone": "Europe/Lisbon"}
    saved = caller.post("/v1/saved-places", place, headers={"Idempotency-Key": '"page-of-a-place"'})
    assert saved.status_code in (200, 201), saved.text
    fields = {**SHEET, "saved_place": "東の窓", "month": "2026-06"}
    assert "東の窓 (41.1500, -8.6100)" in caller.get("/v1/month.svg", fields).text
    document = caller.get("/v1/month.pdf", fields)
    assert document.headers["content-type"] == "application/pdf"
    text = pypdf.PdfReader(io.BytesIO(document.content)).pages[0].extract_text()
    assert "(in Latin letters)" in text
    assert "\ufffd" not in text


def test_a_night_across_midnight_is_drawn_as_one():
    assert shown_part([(0.0, 6.0), (20.0, 24.0)], 0, 23) == [(-0.5, 6.0), (20.0, 23.5)]
    assert shown_part([(20.0, 23.8)], 0, 23) == [(20.0, 23.5)]
    assert shown_part([(23.7, 24.0)], 0, 23) == [(pytest.approx(-0.3), 0.0)]
    assert shown_part([(0.0, 24.0)], 0, 23) == [(-0.5, 23.5)]
    assert shown_part([(0.0, 6.0), (20.0, 24.0)], 4, 20) == [(3.5, 6.0), (20.0, 20.5)]
    outlines = night_outlines(
        [[(0.0, 6.0)], [(0.0, 5.0)], [], [(0.0, 4.0)]], [(k, k + 1.0) for k in range(4)]
    )
    assert len(outlines) == 2
    assert outlines[0] == [
        (0, 0.0), (1.0, 0.0), (1, 0.0), (2.0, 0.0), (2.0, 5.0), (1, 5.0), (1.0, 6.0), (0, 6.0),
    ]  # fmt: skip


def test_clock_times_are_rounded_to_the_minute():
    assert clock_text(None) is None
    assert clock_text(34229.0) == "09:30"
    assert clock_text(86399.0) == "00:00"
    assert [minutes_text(seconds) for seconds in (30.0, 596.0, 598.0, 7230.0)] == ["0.5", "9.9", "10", "120"]
