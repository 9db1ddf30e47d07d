"""The bench out of one store and into another: identical, repeatable, whole or not at all."""

import copy
import json
import random
import uuid
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from bench_records import (
    ALL_EVIDENCE,
    NOON_S,
    PORTO,
    RECIPE,
    YARD,
    fill_bench,
    new_exposure,
    new_recipe,
    print_fields,
)
from databases import KINDS, empty_database
from shelf_records import fill_shelves

from noonframe.bench.belief import Belief, Prior
from noonframe.errors import Malformed, NoonframeError, OutOfDomain
from noonframe.store import evidence_records, exposures, light_records
from noonframe.store.bench_document import BenchDocument, as_json, read_bench
from noonframe.store.bench_export import bench_of, export_bench
from noonframe.store.bench_import import import_bench
from noonframe.store.engine import open_store
from noonframe.store.errors import Conflict
from noonframe.store.film_printers import FILM_PRINTERS
from noonframe.store.lamps import LAMPS
from noonframe.store.places_saved import PLACES
from noonframe.store.prints import PRINTS, search
from noonframe.store.recipes import RECIPES
from noonframe.store.schema import upgrade
from noonframe.store.sessions import SESSIONS
from noonframe.store.spots import SPOTS
from noonframe.store.tables import METADATA

BENCH = [table for table in METADATA.sorted_tables if not table.name.startswith(("weather", "idempotency"))]


@pytest.fixture(params=KINDS)
def fresh(request, tmp_path):
    """Another store, empty, of each kind."""
    with empty_database(request.param, tmp_path / "fresh") as url:
        opened = open_store(url)
        upgrade(opened)
        yield opened
        opened.close()


def content(store):
    with store.read() as db:
        return {table.name: sorted(map(repr, db.execute(table.select()).all())) for table in BENCH}


def text_of(store):
    with store.read() as db:
        return json.dumps(export_bench(db))


def bring(store, text):
    with store.write() as db:
        return import_bench(db, read_bench(text))


EVERYTHING = {
    "recipes": 2,
    "spots": 1,
    "places": 1,
    "film_printers": 2,
    "lamps": 2,
    "sessions": 1,
    "exposures": 1,
    "prints": 2,
    "evidence": 5,
}


def test_what_was_exported_is_identical_in_a_fresh_store(store, fresh):
    fill_bench(store)
    fill_shelves(store)
    text = text_of(store)
    counted = bring(fresh, text)
    assert counted.added == EVERYTHING
    assert set(counted.extended.values()) == set(counted.unchanged.values()) == {0}
    there, here = content(fresh), content(store)
    assert here["feeds"]
    assert not there["feeds"]  # their tokens are for one installation alone
    assert there | {"feeds": None} == here | {"feeds": None}
    assert text_of(fresh) == text
    for shelf in (FILM_PRINTERS, LAMPS, SESSIONS):
        with store.read() as db, fresh.read() as other:
            assert shelf.newest(db, retired=None) == shelf.newest(other, retired=None)


def test_an_export_from_before_there_were_lamps_is_read(store, fresh):
    fill_bench(store)
    document = json.loads(text_of(store))
    assert document["form"] == 2
    document["form"] = 1
    for name in ("film_printers", "lamps", "sessions"):
        assert document.pop(name) == []
    for one in document["prints"]:
        for version in one["versions"]:
            del version["fields"]["film"]
    counted = bring(fresh, json.dumps(document))
    assert counted.added == EVERYTHING | dict.fromkeys(("film_printers", "lamps", "sessions"), 0)
    with fresh.read() as db:
        assert {one.fields.film for one in search(db)} == {""}


def test_a_lamp_a_film_printer_and_a_session_that_grew_are_carried_on(store, fresh):
    fill_shelves(store)
    bring(fresh, text_of(store))
    with store.write() as db:
        for shelf in (FILM_PRINTERS, LAMPS, SESSIONS):
            one = shelf.newest(db)[0]
            shelf.change(
                db, one.id, replace(one.fields, name="renamed"), version=one.version, now_s=NOON_S + 9e4
            )
    counted = bring(fresh, text_of(store))
    grown = ("film_printers", "lamps", "sessions")
    assert counted.extended == dict.fromkeys(EVERYTHING, 0) | dict.fromkeys(grown, 1)
    assert text_of(fresh) == text_of(store)
    for each, name in ((store, "here"), (fresh, "there")):  # the third version, and each another one
        with each.write() as db:
            one = LAMPS.find(db, "renamed")
            LAMPS.change(db, one.id, replace(one.fields, name=name), version=one.version, now_s=NOON_S + 1e5)
    with pytest.raises(Conflict, match=r"version 3 of the lamp .* another one here"):
        bring(fresh, text_of(store))


def test_the_answers_from_an_import_are_the_same(store, fresh):
    ids = fill_bench(store)
    bring(fresh, text_of(store))
    beliefs, listed = [], []
    for each in (store, fresh):
        with each.read() as db:
            kept = evidence_records.of_recipe(db, ids["recipe"], withdrawn=False)
            prior = RECIPES.get(db, ids["recipe"]).fields.prior.prior()
            beliefs.append(Belief(prior, tuple(one.evidence for one in kept)).target())
            listed.append(search(db))
    assert beliefs[0] == beliefs[1]
    assert beliefs[0] != Belief(Prior(21_000.0, 0.4, "any"), ALL_EVIDENCE).target()  # one is withdrawn
    assert listed[0] == listed[1]


def test_an_empty_bench_can_be_exported_and_imported(store, fresh):
    text = text_of(store)
    assert read_bench(text) == BenchDocument((), (), (), (), (), ())
    assert set(bring(fresh, text).added.values()) == {0}


def test_importing_twice_changes_nothing(store):
    fill_bench(store)
    text, before = text_of(store), content(store)
    for _ in range(2):
        counted = bring(store, text)
        assert set(counted.added.values()) == set(counted.extended.values()) == {0}
        assert counted.unchanged["evidence"] == 5
    assert content(store) == before


def test_an_exposure_that_nothing_refers_to_is_left_out(store):
    ids = fill_bench(store)
    with store.write() as db:
        new_exposure(db, "not of the bench")
    document = read_bench(text_of(store))
    assert [kept.exposure.id for kept in document.exposures] == [ids["exposure"]]
    assert len(document.exposures[0].events) == 2
    assert document.exposures[0].light.course == {"cover": [0.5]}


def test_an_exposure_of_an_older_version_of_a_print_goes_with_it(store):
    ids = fill_bench(store)
    with store.write() as db:
        only_before = new_exposure(db)
        first = PRINTS.get(db, ids["first"])
        PRINTS.change(db, first.id, replace(first.fields, exposure_id=only_before), version=1, now_s=NOON_S)
        PRINTS.change(db, first.id, first.fields, version=2, now_s=NOON_S)
    document = read_bench(text_of(store))
    assert {kept.exposure.id for kept in document.exposures} == {ids["exposure"], only_before}


def grow(store, ids):
    """More of everything that was there, and another print."""
    with store.write() as db:
        recipe = RECIPES.get(db, ids["recipe"])
        RECIPES.change(db, recipe.id, replace(recipe.fields, notes="v3"), version=2, now_s=NOON_S + 20.0)
        RECIPES.restore(db, ids["old"], version=2, now_s=NOON_S + 20.0)
        SPOTS.retire(db, ids["spot"], version=1, now_s=NOON_S + 20.0)
        PLACES.change(db, ids["place"], replace(PORTO, elevation_m=81.0), version=1, now_s=NOON_S + 20.0)
        first = PRINTS.get(db, ids["first"])
        PRINTS.change(db, first.id, replace(first.fields, notes="seen dry"), version=1, now_s=NOON_S + 20.0)
        PRINTS.create(db, uuid.uuid4(), print_fields(recipe.id, recipe_version=3), now_s=NOON_S + 21.0)
        evidence_records.withdraw(db, ids["evidence"][2], reason="a slip", now_s=NOON_S + 20.0)
        exposures.append(
            db,
            ids["exposure"],
            event_id=uuid.uuid4(),
            kind="note",
            at_s=NOON_S,
            received_s=NOON_S + 20.0,
            payload={},
        )
        version = exposures.get(db, ids["exposure"]).version
        exposures.change(db, ids["exposure"], version=version, name="renamed")
        light_records.keep(db, ids["exposure"], {"cover": [0.5, 0.6]}, NOON_S + 700.0)


def test_a_document_that_knows_more_carries_the_records_on(store, fresh):
    ids = fill_bench(store)
    bring(fresh, text_of(store))
    grow(store, ids)
    counted = bring(fresh, text_of(store))
    assert content(fresh) == content(store)
    one = {"recipes": 2, "spots": 1, "places": 1, "exposures": 1, "prints": 1, "evidence": 1}
    one = dict.fromkeys(EVERYTHING, 0) | one
    assert counted.extended == one
    assert counted.added == dict.fromkeys(one, 0) | {"prints": 1}
    assert counted.unchanged == dict.fromkeys(one, 0) | {"prints": 1, "evidence": 4}


def test_a_document_that_knows_less_changes_nothing(store):
    ids = fill_bench(store)
    old = text_of(store)
    grow(store, ids)
    before = content(store)
    counted = bring(store, old)
    assert set(counted.added.values()) == set(counted.extended.values()) == {0}
    assert content(store) == before


def test_names_may_have_been_exchanged(store, fresh):
    with store.write() as db:
        one, two = (PLACES.create(db, uuid.uuid4(), replace(PORTO, name=n), now_s=NOON_S) for n in "ab")
    bring(fresh, text_of(store))
    with store.write() as db:
        PLACES.change(db, one.id, replace(PORTO, name="c"), version=1, now_s=NOON_S)
        PLACES.change(db, two.id, replace(PORTO, name="a"), version=1, now_s=NOON_S)
        PLACES.change(db, one.id, replace(PORTO, name="b"), version=2, now_s=NOON_S)
    bring(fresh, text_of(store))
    with fresh.read() as db:
        assert (PLACES.find(db, "b").id, PLACES.find(db, "a").id) == (one.id, two.id)


# --- conflicts -------------------------------------------------------------------------------------------


def set_at(document, path, value):
    changed = copy.deepcopy(document)
    inner = changed
    for step in path[:-1]:
        inner = inner[step]
    if value is KeyError:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return changed


@pytest.mark.parametrize(
    ("path", "value", "field", "named"),
    [
        (["recipes", 0, "versions", 0, "fields", "paper"], "other", "recipes[0]", "Kelp blue"),
        (["recipes", 0, "versions", 1, "saved_s"], 5.0, "recipes[0]", "Kelp blue"),
        (["spots", 0, "versions", 0, "fields", "spot", "tilt_deg"], 31.0, "spots[0]", "the yard"),
        (["places", 0, "versions", 0, "fields", "elevation_m"], 1.0, "places[0]", "Quayside Print Room"),
        (["exposures", 0, "scene"], {}, "exposures[0]", "kelp fronds"),
        (["exposures", 0, "target_j_m2"], 1.0, "exposures[0]", "kelp fronds"),
        (["exposures", 0, "events", 1, "at_s"], 0.0, "exposures[0]", "kelp fronds"),
        (["exposures", 0, "light", "course"], {}, "exposures[0]", "kelp fronds"),
        (["prints", 0, "versions", 0, "fields", "notes"], "other", "prints[0]", "Kelp fronds"),
        (["evidence", 0, "made_at_s"], 0.0, "evidence[0]", None),
        (["evidence", 1, "withdrawn_reason"], "other", "evidence[1]", None),
        (["evidence", 3, "evidence", "light_spread_stops"], 0.31, "evidence[3]", None),
    ],
)
def test_a_record_that_is_another_one_here_is_refused_by_name_and_nothing_is_imported(
    store, path, value, field, named
):
    fill_bench(store)
    before = content(store)
    document = json.loads(text_of(store))
    new = {"id": str(uuid.uuid4()), "versions": copy.deepcopy(document["places"][0]["versions"])}
    new["versions"][0]["fields"]["name"] = "would be new"
    document["places"].append(new)
    changed = set_at(document, path, value)
    with pytest.raises(Conflict, match="another one here") as caught:
        bring(store, json.dumps(changed))
    assert caught.value.field == field
    assert caught.value.value == (document["evidence"][path[1]]["id"] if named is None else named)
    assert content(store) == before


def test_nothing_is_imported_even_where_the_transaction_goes_on(store):
    fill_bench(store)
    before = content(store)
    document = json.loads(text_of(store))
    document["evidence"][0]["made_at_s"] = 0.0
    document["spots"].append(copy.deepcopy(document["spots"][0]) | {"id": str(uuid.uuid4())})
    document["spots"][1]["versions"][0]["fields"]["name"] = "would be new"
    with store.write() as db, pytest.raises(Conflict):
        import_bench(db, read_bench(json.dumps(document)))
    assert content(store) == before


def test_a_name_that_another_living_record_has_is_a_conflict(store, fresh):
    fill_bench(store)
    with fresh.write() as db:
        there = new_recipe(db, name="KELP  blue")
    before = content(fresh)
    with pytest.raises(Conflict, match=str(there.id)) as caught:
        bring(fresh, text_of(store))
    assert (caught.value.field, caught.value.value) == ("recipes[0].versions[1].fields.name", "Kelp blue")
    assert content(fresh) == before


def test_an_event_that_another_exposure_has_is_a_conflict(store):
    ids = fill_bench(store)
    before = content(store)
    document = json.loads(text_of(store))
    other = copy.deepcopy(document["exposures"][0]) | {"id": str(uuid.uuid4()), "name": "another"}
    document["exposures"][0] = other
    document["prints"] = []
    document["evidence"] = []
    with pytest.raises(Conflict, match="has the event") as caught:
        bring(store, json.dumps(document))
    assert caught.value.value == "another"
    assert content(store) == before
    with store.read() as db:
        assert len(exposures.events_after(db, ids["exposure"])) == 2


def test_of_two_exposures_with_contrary_events_neither_wins(store, fresh):
    ids = fill_bench(store)
    bring(fresh, text_of(store))
    with store.write() as db:  # one more event here, one more change without an event there
        exposures.append(
            db, ids["exposure"], event_id=uuid.uuid4(), kind="note", at_s=0.0, received_s=0.0, payload={}
        )
    with fresh.write() as db:
        for version in (3, 4):
            exposures.change(db, ids["exposure"], version=version, name=f"n{version}")
    for here, there in ((store, fresh), (fresh, store)):
        with pytest.raises(Conflict, match="event 3"):
            bring(here, text_of(there))


def test_two_imports_at_once_give_one_bench(store, fresh):
    fill_bench(store)
    text = text_of(store)

    def attempt(_):
        try:
            bring(fresh, text)
        except Conflict:  # the other one was first
            return False
        return True

    with ThreadPoolExecutor(4) as pool:
        done = list(pool.map(attempt, range(4)))
    assert any(done)
    assert content(fresh) == content(store)


# --- documents -------------------------------------------------------------------------------------------


@pytest.fixture
def document(tmp_path):
    with empty_database("sqlite", tmp_path / "document") as url:
        store = open_store(url)
        upgrade(store)
        fill_bench(store)
        fill_shelves(store)
        text = text_of(store)
        store.close()
    return json.loads(text)


@pytest.mark.parametrize(
    ("path", "value", "error", "field"),
    [
        (["format"], "diary", Malformed, "format"),
        (["form"], 3, Malformed, "form"),
        (["lamps"], KeyError, Malformed, "lamps"),
        (
            ["sessions", 0, "versions", 0, "fields", "plan"],
            [],
            Malformed,
            "sessions[0].versions[0].fields.plan",
        ),
        (
            ["film_printers", 0, "versions", 1, "fields", "body"],
            None,
            Malformed,
            "film_printers[0].versions[1].fields.body",
        ),
        (["lamps", 0, "versions", 0, "fields", "wide"], 1, Malformed, "lamps[0].versions[0].fields.wide"),
        (["prints"], KeyError, Malformed, "prints"),
        (["prints"], {}, Malformed, "prints"),
        (["secrets"], [], Malformed, "secrets"),
        (["recipes", 1], [], Malformed, "recipes[1]"),
        (["recipes", 1, "id"], "7", Malformed, "recipes[1].id"),
        (["recipes", 1, "id"], "{12345678-1234-5678-1234-567812345678}", Malformed, "recipes[1].id"),
        (["recipes", 1, "versions"], [], Malformed, "recipes[1].versions"),
        (["recipes", 0, "versions", 1, "version"], 3, Malformed, "recipes[0].versions[1].version"),
        (["recipes", 0, "versions", 1, "saved_s"], None, Malformed, "recipes[0].versions[1].saved_s"),
        (["recipes", 0, "versions", 1, "retired"], 0, Malformed, "recipes[0].versions[1].retired"),
        (["recipes", 0, "versions", 1, "note"], "", Malformed, "recipes[0].versions[1].note"),
        (
            ["recipes", 0, "versions", 1, "fields", "stack", 1],
            7,
            Malformed,
            "recipes[0].versions[1].fields.stack[1]",
        ),
        (
            ["recipes", 0, "versions", 1, "fields", "prior", "spread_stops"],
            9.0,
            OutOfDomain,
            "recipes[0].versions[1].fields.prior.spread_stops",
        ),
        (["recipes", 0, "versions", 0, "fields"], KeyError, Malformed, "recipes[0].versions[0].fields"),
        (
            ["spots", 0, "versions", 0, "fields", "spot", "kind"],
            3,
            Malformed,
            "spots[0].versions[0].fields.spot.kind",
        ),
        (
            ["places", 0, "versions", 0, "fields", "latitude_deg"],
            91,
            OutOfDomain,
            "places[0].versions[0].fields.latitude_deg",
        ),
        (["exposures", 0, "status"], "lost", Malformed, "exposures[0].status"),
        (["exposures", 0, "version"], 2, OutOfDomain, "exposures[0].version"),
        (["exposures", 0, "version"], 2**31, OutOfDomain, "exposures[0].version"),
        (["exposures", 0, "target_j_m2"], 0, OutOfDomain, "exposures[0].target_j_m2"),
        (["exposures", 0, "name"], "\0", Malformed, "exposures[0].name"),
        (["exposures", 0, "events", 1, "kind"], "k" * 41, OutOfDomain, "exposures[0].events[1].kind"),
        (["exposures", 0, "events", 1, "payload"], [], Malformed, "exposures[0].events[1].payload"),
        (["exposures", 0, "light", "kept_s"], "now", Malformed, "exposures[0].light.kept_s"),
        (
            ["prints", 1, "versions", 1, "fields", "dose_j_m2"],
            -1,
            OutOfDomain,
            "prints[1].versions[1].fields.dose_j_m2",
        ),
        (
            ["prints", 1, "versions", 1, "fields", "judgement"],
            "fine",
            Malformed,
            "prints[1].versions[1].fields.judgement",
        ),
        (
            ["prints", 1, "versions", 1, "fields", "recipe_version"],
            9,
            Malformed,
            "prints[1].versions[1].fields.recipe_id",
        ),
        (
            ["prints", 1, "versions", 0, "fields", "exposure_id"],
            "12345678-1234-5678-1234-567812345678",
            Malformed,
            "prints[1].versions[0].fields.exposure_id",
        ),
        (["evidence", 2, "evidence", "form"], 3, Malformed, "evidence[2].evidence.form"),
        (
            ["evidence", 2, "evidence", "readings", 0, "spread_stops"],
            0.0,
            OutOfDomain,
            "evidence[2].evidence.readings[0].reading_spread_stops",
        ),
        (["evidence", 2, "withdrawn_s"], 5.0, Malformed, "evidence[2].withdrawn_reason"),
        (
            ["evidence", 2, "recipe_id"],
            "12345678-1234-5678-1234-567812345678",
            Malformed,
            "evidence[2].recipe_id",
        ),
        (
            ["evidence", 2, "print_id"],
            "12345678-1234-5678-1234-567812345678",
            Malformed,
            "evidence[2].print_id",
        ),
    ],
)
def test_a_bad_document_is_refused_by_field_and_row(document, path, value, error, field):
    with pytest.raises(error) as caught:
        read_bench(json.dumps(set_at(document, path, value)))
    assert caught.value.field == field


def test_what_is_there_twice_is_refused_by_row(document):
    for name in EVERYTHING:
        twice = copy.deepcopy(document)
        twice[name].append(copy.deepcopy(twice[name][0]))
        last = len(twice[name]) - 1
        with pytest.raises(Malformed, match="twice") as caught:
            read_bench(json.dumps(twice))
        assert caught.value.field == f"{name}[{last}].id"
    again = copy.deepcopy(document)
    again["exposures"].append(copy.deepcopy(again["exposures"][0]) | {"id": str(uuid.uuid4())})
    with pytest.raises(Malformed) as caught:
        read_bench(json.dumps(again))
    assert caught.value.field == "exposures[1].events[0].event_id"
    named = copy.deepcopy(document)
    named["places"].append(copy.deepcopy(named["places"][0]) | {"id": str(uuid.uuid4())})
    with pytest.raises(Malformed, match=r"places\[0\]") as caught:
        read_bench(json.dumps(named))
    assert caught.value.field == "places[1].versions[0].fields.name"


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b'{"format": "noonframe-bench", "form": NaN}',
        b'{"format": "noonframe-bench", "format": "noonframe-bench"}',
        b'{"form": ' + b"9" * 5000 + b"}",
        b"\xff\xfe{}",
        b'{"a":' * 100_000,
        "\ufeff{}",
    ],
)
def test_what_is_no_document_is_refused(text):
    with pytest.raises(Malformed):
        read_bench(text)


def test_a_document_too_large_is_refused_unread(document):
    text = json.dumps(document)
    assert read_bench(text, most_bytes=len(text)) == read_bench(text.encode())
    with pytest.raises(OutOfDomain, match=f"at most {len(text) - 1} bytes"):
        read_bench(text, most_bytes=len(text) - 1)


def test_an_infinite_number_deep_inside_is_refused(document):
    text = json.dumps(document)
    for inner in ('"tilt_deg": 30.0', '"cover": [0.5', '"first_full": 5'):
        name = inner.split(":")[0]
        assert inner in text
        with pytest.raises(NoonframeError):
            read_bench(text.replace(inner, f"{name}: [1e999" if "[" in inner else f"{name}: 1e999"))


def read_or_fault(text):
    try:
        return read_bench(text)
    except NoonframeError as fault:
        return fault


def test_a_document_damaged_anywhere_is_read_in_full_or_refused_by_name(document):
    dice = random.Random(11)
    values = (None, True, -1, 1e308, "", "\0", [], {}, [None], {"a": 1}, KeyError)

    def walk(value, path=()):
        yield path
        items = (
            value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
        )
        for key, inner in items:
            yield from walk(inner, (*path, key))

    paths = [path for path in walk(document) if path]
    for path in dice.sample(paths, min(len(paths), 400)):
        for value in dice.sample(values, 3):
            changed = set_at(document, path, value)
            read = read_or_fault(json.dumps(changed))
            if isinstance(read, NoonframeError):
                assert read.field
            else:
                assert read_bench(json.dumps(as_json(read))) == read


def test_the_document_is_what_the_store_holds(store):
    fill_bench(store)
    with store.read() as db:
        assert read_bench(json.dumps(export_bench(db))) == bench_of(db)


def test_a_larger_bench_goes_over_whole(store, fresh):
    with store.write() as db:
        recipe = new_recipe(db)
        SPOTS.create(db, uuid.uuid4(), YARD, now_s=NOON_S)
        for number in range(1200):  # more than one question names at once
            fields = print_fields(recipe.id, name=f"print {number}", exposure_id=None)
            PRINTS.create(db, uuid.uuid4(), fields, now_s=NOON_S + number)
        RECIPES.change(db, recipe.id, replace(RECIPE, notes=""), version=1, now_s=NOON_S)
    text = text_of(store)
    assert bring(fresh, text).added["prints"] == 1200
    assert bring(fresh, text).unchanged["prints"] == 1200
    assert content(fresh) == content(store)
