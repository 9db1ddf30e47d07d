"""The log of prints: kept in all versions, listed, searched, and written as CSV."""

import csv
import io
import math
import random
import uuid
from dataclasses import replace

import pytest
from bench_records import NOON_S, RECIPE, fill_bench, new_exposure, new_recipe, print_fields

from noonframe.bench.judgement import Judgement
from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.store.errors import Conflict
from noonframe.store.prints import PRINTS, Cursor, PrintSearch, count, search
from noonframe.store.prints_csv import COLUMNS, csv_rows
from noonframe.store.recipes import RECIPES

DAY_S = 86_400.0


@pytest.fixture
def recipe(store):
    with store.write() as db:
        return new_recipe(db)


def log(store, recipe, **given):
    with store.write() as db:
        return PRINTS.create(db, uuid.uuid4(), print_fields(recipe.id, **given), now_s=NOON_S)


def found(store, **wanted):
    with store.read() as db:
        listed = search(db, PrintSearch(**wanted))
        assert count(db, PrintSearch(**wanted)) == len(listed)
    return {one.fields.name for one in listed}


def test_a_print_comes_back_as_it_was_given(store, recipe):
    with store.write() as db:
        exposure_id = new_exposure(db)
    made = log(store, recipe, exposure_id=exposure_id)
    with store.read() as db:
        read = PRINTS.get(db, made.id)
    assert read == made
    assert read.fields == print_fields(recipe.id, exposure_id=exposure_id)
    assert read.fields.dose_j_m2 == 21_345.678901234


def test_the_least_print_comes_back_too(store, recipe):
    nothing = {
        "spot": None,
        "dose_j_m2": None,
        "dose_spread_stops": None,
        "light": None,
        "judgement": None,
        "photo": "",
        "film": "",
        "notes": "",
        "tags": (),
    }
    made = log(store, recipe, **nothing)
    with store.read() as db:
        assert PRINTS.get(db, made.id) == made
    assert made.fields.judged is None


def test_an_old_print_keeps_the_recipe_that_it_was_made_with(store, recipe):
    made = log(store, recipe)
    with store.write() as db:
        RECIPES.change(db, recipe.id, replace(RECIPE, paper="hot press"), version=1, now_s=NOON_S)
        RECIPES.retire(db, recipe.id, version=2, now_s=NOON_S)
    with store.read() as db:
        one = PRINTS.get(db, made.id).fields
        assert RECIPES.get(db, one.recipe_id, one.recipe_version) == recipe


def test_a_print_changes_by_versions_and_is_found_as_it_is_now(store, recipe):
    made = log(store, recipe, name="Ferry ticket")
    with store.write() as db:
        later = replace(
            made.fields, name="Tide table", judgement=Judgement.TOO_DARK, made_at_s=NOON_S + DAY_S
        )
        changed = PRINTS.change(db, made.id, later, version=1, now_s=NOON_S + 1.0)
    assert found(store, text="ferry") == set()
    assert found(store, text="tide") == {"Tide table"}
    assert found(store, judgements=(Judgement.RIGHT,)) == set()
    assert found(store, from_s=NOON_S + DAY_S) == {"Tide table"}
    with pytest.raises(Conflict, match="at 2 by now"), store.write() as db:
        PRINTS.change(db, made.id, made.fields, version=1, now_s=NOON_S)
    with store.read() as db:
        assert PRINTS.history(db, made.id) == (made, changed)


def test_a_removed_print_is_only_marked(store, recipe):
    made = log(store, recipe)
    with store.write() as db:
        PRINTS.retire(db, made.id, version=1, now_s=NOON_S)
    assert found(store) == set()
    assert found(store, retired=True) == found(store, retired=None) == {"Kelp fronds"}
    with store.write() as db:
        PRINTS.restore(db, made.id, version=2, now_s=NOON_S)
    assert found(store) == {"Kelp fronds"}


def test_several_prints_may_have_one_name(store, recipe):
    log(store, recipe)
    log(store, recipe)
    with store.read() as db:
        assert count(db) == 2


def test_a_print_refers_to_what_is_there(store, recipe):
    nobody = uuid.uuid4()
    for given, field in (
        ({"recipe_id": nobody}, "recipe_id"),
        ({"recipe_version": 2}, "recipe_version"),
        ({"exposure_id": nobody}, "exposure_id"),
    ):
        with pytest.raises(UnknownName) as caught, store.write() as db:
            PRINTS.create(db, uuid.uuid4(), replace(print_fields(recipe.id), **given), now_s=NOON_S)
        assert caught.value.field == field


@pytest.mark.parametrize(
    ("given", "error", "field"),
    [
        ({"name": ""}, Malformed, "name"),
        ({"made_at_s": math.nan}, OutOfDomain, "made_at_s"),
        ({"made_at_s": 253_402_300_800.0}, OutOfDomain, "made_at_s"),  # the year 10000
        ({"spot": {"a": math.inf}}, Malformed, "spot"),
        ({"light": {"a": "x" * 500_001}}, OutOfDomain, "light"),
        ({"dose_j_m2": 0.0}, OutOfDomain, "dose_j_m2"),
        ({"dose_j_m2": math.nan}, OutOfDomain, "dose_j_m2"),
        ({"dose_j_m2": None}, OutOfDomain, "dose_spread_stops"),
        ({"dose_spread_stops": -0.1}, OutOfDomain, "dose_spread_stops"),
        ({"judgement_stops": 0.5}, OutOfDomain, "judgement_stops"),
        ({"judgement": None, "judgement_stops": 7.0}, OutOfDomain, "judgement_stops"),
        ({"judgement": None, "judgement_stops": math.nan}, OutOfDomain, "judgement_stops"),
        ({"photo": "x" * 1001}, OutOfDomain, "photo"),
        ({"film": "x" * 1001}, OutOfDomain, "film"),
        ({"film": "a\0b"}, Malformed, "film"),
        ({"notes": "\0"}, Malformed, "notes"),
        ({"tags": ("a",) * 31}, OutOfDomain, "tags"),
        ({"tags": ("a", "b, c")}, Malformed, "tags[1]"),
        ({"tags": ("kelp", "Kelp")}, Malformed, "tags[1]"),
        ({"tags": (" ",)}, Malformed, "tags[0]"),
    ],
)
def test_a_print_that_could_not_be_kept_is_refused(given, error, field):
    with pytest.raises(error) as caught:
        print_fields(uuid.uuid4(), **given)
    assert caught.value.field == field


def test_words_are_looked_for_in_name_notes_and_tags(store, recipe):
    plain = {"notes": "", "tags": ()}
    log(store, recipe, **plain | {"name": "Straße am Hafen"})
    log(store, recipe, **plain | {"name": "Ferry ticket", "notes": "From the\n100% cotton_box's edge"})
    log(store, recipe, **plain | {"name": "Tide table", "tags": ("harbour wall", "É")})
    assert found(store, text="STRASSE") == {"Straße am Hafen"}
    assert found(store, text="hafen straße") == {"Straße am Hafen"}
    assert found(store, text="ticket cotton") == {"Ferry ticket"}
    assert found(store, text="ticket harbour") == set()
    assert found(store, text="e\u0301") == {"Tide table"}  # written with a combining accent
    # signs that a pattern or a statement would give a meaning of their own
    assert found(store, text="100%") == {"Ferry ticket"}
    assert found(store, text="n_b") == {"Ferry ticket"}
    assert found(store, text="x's") == {"Ferry ticket"}
    assert found(store, text="_") == {"Ferry ticket"}
    assert found(store, text="\\") == set()
    assert found(store, text="tablewall") == set()
    assert len(found(store, text="  ")) == 3


def test_prints_are_found_by_recipe_date_and_judgement(store, recipe):
    with store.write() as db:
        other = new_recipe(db, name="Other blue")
    log(store, recipe, name="a", made_at_s=NOON_S)
    log(store, recipe, name="b", made_at_s=NOON_S + DAY_S, judgement=None, judgement_stops=1.0)
    log(store, other, name="c", made_at_s=NOON_S + 2 * DAY_S, judgement=Judgement.TOO_DARK)
    log(store, other, name="d", made_at_s=NOON_S + 3 * DAY_S, judgement=None)
    assert found(store, recipe_id=recipe.id) == {"a", "b"}
    assert found(store, recipe_id=uuid.uuid4()) == set()
    assert found(store, from_s=NOON_S + DAY_S, to_s=NOON_S + 3 * DAY_S) == {"b", "c"}
    assert found(store, judgements=(Judgement.TOO_DARK,)) == {"b", "c"}  # one stop too dark is "too dark"
    assert found(store, judgements=(Judgement.TOO_DARK, Judgement.RIGHT)) == {"a", "b", "c"}
    assert found(store, judgements=(Judgement.TOO_DARK,), recipe_id=other.id) == {"c"}
    assert found(store, text="fronds c") == set()


def test_a_search_that_means_nothing_is_refused():
    for given, field in (
        ({"from_s": math.nan}, "from_s"),
        ({"to_s": math.inf}, "to_s"),
        ({"text": "a\0"}, "text"),
        ({"text": "x" * 4001}, "text"),
        ({"text": "a b c d e f g h i j k"}, "text"),
    ):
        with pytest.raises((OutOfDomain, Malformed)) as caught:
            PrintSearch(**given)
        assert caught.value.field == field


def test_prints_are_listed_page_by_page_newest_first(store, recipe):
    days = [number // 3 for number in range(10)]
    random.Random(7).shuffle(days)
    made = [log(store, recipe, made_at_s=NOON_S + DAY_S * day) for day in days]
    with store.read() as db:
        listed, before = [], None
        while page := search(db, before=before, limit=4):
            listed += page
            before = Cursor.after(page[-1])
        assert search(db, limit=None) == tuple(listed)
    assert sorted(listed, key=lambda one: one.id) == sorted(made, key=lambda one: one.id)
    assert [one.fields.made_at_s for one in listed] == sorted(
        (one.fields.made_at_s for one in made), reverse=True
    )


def read_csv(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_the_log_is_written_as_csv(store):
    ids = fill_bench(store)
    with store.read() as db:
        text = "".join(csv_rows(db))
        one_recipe = "".join(csv_rows(db, PrintSearch(text="nowhere")))
    rows = read_csv(text)
    assert text.split("\r\n", 1)[0] == ",".join(COLUMNS)
    assert one_recipe == ",".join(COLUMNS) + "\r\n"
    by_id = {row["id"]: row for row in rows}
    assert set(by_id) == {str(ids["first"]), str(ids["second"])}
    first, second = by_id[str(ids["first"])], by_id[str(ids["second"])]
    assert first["made_at"] == "2026-06-21T11:32:03.123456Z"
    assert (first["recipe"], first["recipe_version"], first["version"]) == ("Kelp blue", "1", "1")
    assert float(first["dose_j_m2"]) == 21_345.678901234
    assert (first["judgement"], first["judgement_stops"]) == ("right", "")
    assert (second["judgement"], second["judgement_stops"], second["version"]) == ("", "-0.5", "2")
    assert (first["exposure_id"], second["exposure_id"]) == (str(ids["exposure"]), "")
    assert first["tags"] == "seaweed, first batch"
    assert first["retired"] == "no"


def test_csv_keeps_every_sign_and_disarms_what_a_spreadsheet_would_compute(store, recipe):
    log(
        store,
        recipe,
        name='=HYPERLINK("x")',
        notes='comma, "quote"\nnew line ü',
        wash_notes="-1",
        photo="@x",
        film="=1",
    )
    with store.read() as db:
        (row,) = read_csv("".join(csv_rows(db)))
    assert row["name"] == '\'=HYPERLINK("x")'
    assert row["notes"] == 'comma, "quote"\nnew line ü'
    assert (row["wash_notes"], row["photo"], row["film"]) == ("'-1", "'@x", "'=1")


def test_csv_goes_through_all_pages(store, recipe):
    with store.write() as db:
        for number in range(501):
            fields = print_fields(recipe.id, name=str(number), made_at_s=NOON_S + number // 2)
            PRINTS.create(db, uuid.uuid4(), fields, now_s=NOON_S)
    with store.read() as db:
        rows = read_csv("".join(csv_rows(db)))
    assert sorted(int(row["name"]) for row in rows) == list(range(501))
