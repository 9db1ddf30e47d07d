"""Film printers and lamps: documents by name, kept whole in every version."""

import uuid
from dataclasses import replace

import pytest
from shelf_records import FILM_PRINTER, LAMP, NINE_S

from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.store.documents import LONGEST_DOCUMENT, DocumentFields
from noonframe.store.errors import Conflict
from noonframe.store.film_printers import FILM_PRINTERS
from noonframe.store.lamps import LAMPS

each_kind = pytest.mark.parametrize(
    ("shelf", "fields"), [(FILM_PRINTERS, FILM_PRINTER), (LAMPS, LAMP)], ids=["film printer", "lamp"]
)
HALF_CHARACTER = {"note": "\ud800"}


def create(store, shelf, fields):
    with store.write() as db:
        return shelf.create(db, uuid.uuid4(), fields, now_s=NINE_S)


@each_kind
def test_every_version_of_a_document_comes_back_as_it_was_given(store, shelf, fields):
    first = create(store, shelf, fields)
    other = replace(fields, body={"note": "ü ☀\0", "deep": [[{"a": [None, True, 0.1 + 0.2, 1e-300]}]]})
    with store.write() as db:
        second = shelf.change(db, first.id, other, version=1, now_s=NINE_S + 1.0)
        third = shelf.retire(db, first.id, version=2, now_s=NINE_S + 2.0)
    with store.read() as db:
        assert shelf.history(db, first.id) == (first, second, third)
        assert shelf.newest(db) == ()
        assert shelf.newest(db, retired=True) == (third,)
    assert (first.fields, second.fields, third.fields) == (fields, other, other)


@each_kind
def test_a_name_belongs_to_one_living_document_of_a_kind(store, shelf, fields):
    create(store, shelf, fields)
    with pytest.raises(Conflict, match=f"another {shelf.spoken} has it") as caught:
        create(store, shelf, replace(fields, name=fields.name.upper()))
    assert caught.value.field == "name"
    elsewhere = LAMPS if shelf is FILM_PRINTERS else FILM_PRINTERS
    assert create(store, elsewhere, fields).version == 1


@each_kind
def test_an_unknown_document_is_called_by_its_kind(store, shelf, fields):
    with pytest.raises(UnknownName) as caught, store.read() as db:
        shelf.get(db, uuid.uuid4())
    assert caught.value.field == f"{shelf.what}_id"
    assert caught.value.limit == f"the id of a {shelf.spoken}"
    assert "_" not in caught.value.limit


@pytest.mark.parametrize("length", [LONGEST_DOCUMENT, LONGEST_DOCUMENT + 1])
def test_a_document_is_bounded_as_text(length):
    around = len('{"a": ""}')
    body = {"a": "x" * (length - around)}
    if length == LONGEST_DOCUMENT:
        assert DocumentFields("long", body).body == body
    else:
        with pytest.raises(OutOfDomain, match="body"):
            DocumentFields("long", body)


def deep():
    inner = {}
    for _ in range(100_000):
        inner = {"a": inner}
    return inner


@pytest.mark.parametrize(
    "body", [{"a": float("nan")}, {"a": float("inf")}, {"a": {1, 2}}, [1, 2], {"a": b"bytes"}, deep()]
)
def test_what_is_no_json_object_is_refused(body):
    with pytest.raises(Malformed) as caught:
        DocumentFields("odd", body)
    assert caught.value.field == "body"


def test_half_a_character_inside_comes_back_as_it_was(store):
    saved = create(store, LAMPS, DocumentFields("odd", HALF_CHARACTER))
    with store.read() as db:
        assert LAMPS.get(db, saved.id).fields.body == HALF_CHARACTER


def test_a_document_does_not_follow_later_changes_of_what_it_was_made_of():
    given = {"scale": [[0.0, 0.05]]}
    made = DocumentFields("kept", given)
    given["scale"].append([1.0, 2.2])
    assert made.body == {"scale": [[0.0, 0.05]]}


def test_a_damaged_document_is_told_with_its_place(store):
    saved = create(store, LAMPS, LAMP)
    with store.write() as db:
        db.execute(LAMPS.versions.update().values(fields={"name": "x", "body": {}, "more": 1}))
    with pytest.raises(Malformed, match="more"), store.read() as db:
        LAMPS.get(db, saved.id)
