"""Recipes, saved spots and saved places: every version kept, names unique among the living."""

import math
import uuid
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from bench_records import NOON_S, PORTO, RECIPE, YARD, new_recipe

from noonframe.bench.belief import Prior
from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.store.engine import open_store
from noonframe.store.errors import Conflict
from noonframe.store.places_saved import PLACES, PlaceFields
from noonframe.store.recipes import RECIPES, PriorOverride
from noonframe.store.spots import SPOTS
from noonframe.store.tables import RECIPE_VERSIONS

KINDS = [(RECIPES, RECIPE), (SPOTS, YARD), (PLACES, PORTO)]
each_kind = pytest.mark.parametrize(("shelf", "fields"), KINDS, ids=["recipe", "spot", "place"])


def create(store, shelf, fields, now_s=NOON_S):
    with store.write() as db:
        return shelf.create(db, uuid.uuid4(), fields, now_s=now_s)


def change(store, shelf, saved, fields, now_s=NOON_S + 1.0):
    with store.write() as db:
        return shelf.change(db, saved.id, fields, version=saved.version, now_s=now_s)


@each_kind
def test_a_record_comes_back_as_it_was_given(store, shelf, fields):
    saved = create(store, shelf, fields)
    with store.read() as db:
        assert shelf.get(db, saved.id) == saved
        assert shelf.find(db, fields.name) == saved
    assert saved.fields == fields
    assert (saved.version, saved.created_s, saved.saved_s, saved.retired) == (1, NOON_S, NOON_S, False)


@each_kind
def test_every_version_stays_readable(store, shelf, fields):
    first = create(store, shelf, fields)
    second = change(store, shelf, first, replace(fields, name="another name"))
    with store.write() as db:
        third = shelf.retire(db, first.id, version=2, now_s=NOON_S + 2.0)
    with store.read() as db:
        assert shelf.history(db, first.id) == (first, second, third)
        assert [shelf.get(db, first.id, version) for version in (1, 2, 3)] == [first, second, third]
        assert shelf.get(db, first.id) == third
    assert (second.version, second.saved_s, second.created_s) == (2, NOON_S + 1.0, NOON_S)
    assert third.fields == second.fields
    assert third.retired


@each_kind
@pytest.mark.parametrize("version", [0, 2, -1])
def test_a_version_that_never_was_is_called_so(store, shelf, fields, version):
    saved = create(store, shelf, fields)
    with pytest.raises(UnknownName, match="version") as caught, store.read() as db:
        shelf.get(db, saved.id, version)
    assert (caught.value.field, caught.value.value) == ("version", version)


@each_kind
def test_an_unknown_record_is_called_so(store, shelf, fields):
    nobody = uuid.uuid4()
    for ask in (
        shelf.get,
        shelf.history,
        lambda db, i: shelf.change(db, i, fields, version=1, now_s=0.0),
        lambda db, i: shelf.retire(db, i, version=1, now_s=0.0),
    ):
        with pytest.raises(UnknownName) as caught, store.write() as db:
            ask(db, nobody)
        assert (caught.value.field, caught.value.value) == (f"{shelf.what}_id", str(nobody))


@each_kind
def test_a_change_of_a_stale_version_is_refused_and_changes_nothing(store, shelf, fields):
    saved = create(store, shelf, fields)
    now = change(store, shelf, saved, replace(fields, name="newer"))
    for attempt in (
        lambda db: shelf.change(db, saved.id, fields, version=1, now_s=NOON_S),
        lambda db: shelf.retire(db, saved.id, version=1, now_s=NOON_S),
        lambda db: shelf.restore(db, saved.id, version=1, now_s=NOON_S),
    ):
        with pytest.raises(Conflict, match="at 2 by now") as caught, store.write() as db:
            attempt(db)
        assert caught.value.field == "version"
    with store.read() as db:
        assert shelf.history(db, saved.id) == (saved, now)


@each_kind
def test_a_name_belongs_to_one_living_record(store, shelf, fields):
    first = create(store, shelf, fields)
    for name in (fields.name, f"  {fields.name.upper()} ", fields.name.replace(" ", "\u00a0")):
        with pytest.raises(Conflict, match=f"another {shelf.what} has it") as caught:
            create(store, shelf, replace(fields, name=name))
        assert (caught.value.field, caught.value.value) == ("name", name)
    second = create(store, shelf, replace(fields, name="second"))
    with pytest.raises(Conflict, match=f"another {shelf.what} has it"):
        change(store, shelf, second, fields)
    with store.read() as db:
        assert shelf.history(db, first.id) == (first,)
        assert shelf.history(db, second.id) == (second,)


@each_kind
def test_the_transaction_goes_on_after_a_refused_name(store, shelf, fields):
    create(store, shelf, fields)
    second = create(store, shelf, replace(fields, name="second"))
    with store.write() as db:
        with pytest.raises(Conflict):
            shelf.create(db, uuid.uuid4(), fields, now_s=NOON_S)
        with pytest.raises(Conflict):
            shelf.change(db, second.id, fields, version=1, now_s=NOON_S)
        shelf.change(db, second.id, replace(fields, name="third"), version=1, now_s=NOON_S)
    with store.read() as db:
        assert shelf.get(db, second.id).fields.name == "third"


@each_kind
def test_a_retired_record_stays_and_lends_its_name_on(store, shelf, fields):
    first = create(store, shelf, fields)
    with store.write() as db:
        retired = shelf.retire(db, first.id, version=1, now_s=NOON_S + 1.0)
        assert shelf.find(db, fields.name) is None
    second = create(store, shelf, fields, now_s=NOON_S + 2.0)
    with store.read() as db:
        assert shelf.find(db, fields.name) == second
        assert shelf.get(db, first.id) == retired
        assert shelf.newest(db) == (second,)
        assert shelf.newest(db, retired=True) == (retired,)
        assert shelf.newest(db, retired=None) == (second, retired)
    with pytest.raises(Conflict, match="another"), store.write() as db:
        shelf.restore(db, first.id, version=2, now_s=NOON_S + 3.0)
    with pytest.raises(Conflict, match="is retired"), store.write() as db:
        shelf.change(db, first.id, fields, version=2, now_s=NOON_S + 3.0)
    with pytest.raises(Conflict, match="is retired"), store.write() as db:
        shelf.retire(db, first.id, version=2, now_s=NOON_S + 3.0)
    with store.write() as db:
        shelf.retire(db, second.id, version=1, now_s=NOON_S + 4.0)
        back = shelf.restore(db, first.id, version=2, now_s=NOON_S + 5.0)
        assert shelf.find(db, fields.name) == back
    assert (back.version, back.retired, back.fields) == (3, False, fields)
    with pytest.raises(Conflict, match="is not retired"), store.write() as db:
        shelf.restore(db, first.id, version=3, now_s=NOON_S + 6.0)


@each_kind
def test_an_id_is_used_once(store, shelf, fields):
    saved = create(store, shelf, fields)
    with pytest.raises(Conflict, match="already") as caught, store.write() as db:
        shelf.create(db, saved.id, replace(fields, name="another"), now_s=NOON_S)
    assert caught.value.field == f"{shelf.what}_id"


def test_records_are_listed_page_by_page_newest_first(store):
    made = [create(store, PLACES, replace(PORTO, name=f"room {n}"), NOON_S + n // 3) for n in range(10)]
    with store.read() as db:
        listed, before = [], None
        while page := PLACES.newest(db, before=before, limit=4):
            listed += page
            before = page[-1]
    assert sorted(listed, key=lambda one: int(one.fields.name.split()[1])) == made
    assert [one.created_s for one in listed] == sorted((one.created_s for one in made), reverse=True)


@pytest.mark.parametrize("workers", ["threads", "processes' own stores"])
def test_of_two_who_change_one_version_exactly_one_wins(store, database_url, workers):
    saved = create(store, RECIPES, RECIPE)
    others = [store] * 6 if workers == "threads" else [open_store(database_url) for _ in range(6)]

    def attempt(number):
        try:
            return change(others[number], RECIPES, saved, replace(RECIPE, notes=f"by {number}"))
        except Conflict as conflict:
            return conflict.field

    with ThreadPoolExecutor(6) as pool:
        results = list(pool.map(attempt, range(6)))
    won = [result for result in results if result != "version"]
    with store.read() as db:
        assert RECIPES.history(db, saved.id) == (saved, *won)
    assert len(won) == 1
    for other in others:
        other.close()


def test_of_many_who_take_one_name_exactly_one_gets_it(store):
    records = [create(store, RECIPES, replace(RECIPE, name=str(number))) for number in range(3)]

    def attempt(number):
        wanted = replace(RECIPE, name="wanted")
        try:
            if number < len(records):
                return change(store, RECIPES, records[number], wanted).id
            return create(store, RECIPES, wanted).id
        except Conflict as conflict:
            return conflict.field

    with ThreadPoolExecutor(6) as pool:
        won = [result for result in pool.map(attempt, range(6)) if result != "name"]
    with store.read() as db:
        assert [RECIPES.find(db, "wanted").id] == won


@pytest.mark.parametrize(
    ("given", "error", "field"),
    [
        ({"name": " "}, Malformed, "name"),
        ({"name": "x" * 201}, OutOfDomain, "name"),
        ({"name": "\ufdfa" * 200}, OutOfDomain, "name"),  # one sign that folds to 18 letters
        ({"name": "a\0"}, Malformed, "name"),
        ({"sensitizer": ""}, Malformed, "sensitizer"),
        ({"stack": ("float-glass-4mm",) * 9}, OutOfDomain, "stack"),
        ({"stack": ("float-glass-4mm", "")}, Malformed, "stack[1]"),
        ({"paper": "x" * 4001}, OutOfDomain, "paper"),
        ({"negative_notes": "half \ud83d"}, Malformed, "negative_notes"),
    ],
)
def test_a_recipe_that_could_not_be_kept_is_refused(given, error, field):
    with pytest.raises(error) as caught:
        replace(RECIPE, **given)
    assert caught.value.field == field


def test_the_longest_name_can_be_kept(store):
    name = "🌿" * 200
    saved = create(store, RECIPES, replace(RECIPE, name=name))
    with store.read() as db:
        assert RECIPES.find(db, name) == saved


def test_a_prior_of_ones_own_is_a_prior_of_the_bench():
    assert RECIPE.prior.prior() == Prior(21_000.0, 0.4, "last summer's strips")
    for median_j_m2, spread_stops in ((0.0, 0.4), (math.nan, 0.4), (21_000.0, 0.0), (21_000.0, math.inf)):
        with pytest.raises(OutOfDomain):
            PriorOverride(median_j_m2, spread_stops)


@pytest.mark.parametrize(
    ("given", "error", "field"),
    [
        ({"spot": {"tilt_deg": 3}}, Malformed, "spot.kind"),
        ({"spot": {"kind": "open", "tilt_deg": math.nan}}, Malformed, "spot"),
        ({"spot": {"kind": "x" * 100_001}}, OutOfDomain, "spot"),
        ({"place": "Porto"}, OutOfDomain, "place"),
        ({"latitude_deg": None}, OutOfDomain, "latitude_deg"),
        ({"longitude_deg": None}, OutOfDomain, "longitude_deg"),
        ({"latitude_deg": 90.0}, OutOfDomain, "latitude_deg"),
        ({"elevation_m": 1e6}, OutOfDomain, "elevation_m"),
        ({"place": " ", "latitude_deg": None, "longitude_deg": None}, Malformed, "place"),
    ],
)
def test_a_spot_that_could_not_be_used_is_refused(given, error, field):
    with pytest.raises(error) as caught:
        replace(YARD, **given)
    assert caught.value.field == field


def test_a_spot_may_lie_at_a_place_in_words(store):
    words = {"place": "Porto", "latitude_deg": None, "longitude_deg": None, "time_zone": None}
    saved = create(store, SPOTS, replace(YARD, **words))
    with store.read() as db:
        assert SPOTS.get(db, saved.id).fields.place == "Porto"


@pytest.mark.parametrize(("shelf", "fields"), KINDS[1:], ids=["spot", "place"])
def test_a_zone_must_be_known_when_it_is_saved(store, shelf, fields):
    saved = create(store, shelf, fields)
    for zone in ("Europe/Nowhere", "../etc/passwd", ""):
        unknown = replace(fields, name="unknown", time_zone=zone)
        for save in (lambda new: create(store, shelf, new), lambda new: change(store, shelf, saved, new)):
            with pytest.raises(UnknownName) as caught:
                save(unknown)
            assert caught.value.field == "time_zone"


def test_the_poles_and_a_place_that_is_none_are_refused():
    for latitude_deg, longitude_deg in ((90.0, 0.0), (-90.0, 0.0), (math.nan, 0.0), (0.0, 180.1)):
        with pytest.raises(OutOfDomain):
            PlaceFields("pole", latitude_deg, longitude_deg, 0.0, "Etc/UTC")
    assert PlaceFields("antimeridian", 0.0, 180.0, 0.0, "Etc/UTC").place().longitude_deg == 180.0


def test_fields_that_are_damaged_are_refused_by_name(store):
    saved = create(store, RECIPES, RECIPE)
    with store.write() as db:
        db.execute(RECIPE_VERSIONS.update().values(fields={"name": "Kelp blue"}))
    with pytest.raises(Malformed, match=r"recipe .*, version 1\.prior.* is missing"), store.read() as db:
        RECIPES.get(db, saved.id)


def test_nothing_is_kept_of_a_change_that_fails_later(store):
    saved = create(store, RECIPES, RECIPE)

    def fail():
        with store.write() as db:
            RECIPES.change(db, saved.id, replace(RECIPE, name="lost"), version=1, now_s=NOON_S)
            new_recipe(db, name="lost too")
            raise KeyError("any")

    with pytest.raises(KeyError):
        fail()
    with store.read() as db:
        assert RECIPES.newest(db) == (saved,)
