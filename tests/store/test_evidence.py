"""Evidence: rebuilt to the last digit, only ever added, withdrawn with a reason."""

import copy
import json
import math
import uuid
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from bench_records import (
    ALL_EVIDENCE,
    CIRCUMSTANCES,
    JUDGED,
    NOON_S,
    STRIP,
    fill_bench,
    new_exposure,
    new_recipe,
    print_fields,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from noonframe.bench.belief import Belief, Prior
from noonframe.bench.evidence import Conditions, Evidence, EvidenceKind, Reading
from noonframe.errors import Malformed, OutOfDomain, UnknownName
from noonframe.store import evidence_records
from noonframe.store.errors import Conflict
from noonframe.store.evidence_records import EvidenceCounts, evidence_from, evidence_payload
from noonframe.store.prints import PRINTS


@pytest.fixture
def recipe(store):
    with store.write() as db:
        return new_recipe(db)


def append(store, recipe, **given):
    fields = {
        "evidence_id": uuid.uuid4(),
        "recipe_id": recipe.id,
        "recipe_version": 1,
        "made_at_s": NOON_S,
        "recorded_s": NOON_S + 60.0,
        "evidence": STRIP,
    }
    with store.write() as db:
        return evidence_records.append(db, **fields | given)


def through_json(payload):
    return json.loads(json.dumps(payload, allow_nan=False))


@pytest.mark.parametrize("evidence", ALL_EVIDENCE)
def test_evidence_is_rebuilt_exactly(evidence):
    rebuilt = evidence_from(through_json(evidence_payload(evidence)))
    assert rebuilt == evidence
    assert repr(rebuilt) == repr(evidence)


spreads = st.floats(0.02, 4.0)
doses = st.floats(1e-4, 1e12)


@st.composite
def any_evidence(draw):
    def reading():
        low, high = sorted([draw(doses), draw(doses)])
        open_end = draw(st.sampled_from(["none", "low", "high"]))
        return Reading(
            None if open_end == "low" else low, None if open_end == "high" else high, draw(spreads)
        )

    optional = {
        "coat_age_h": st.none() | st.floats(0.0, 8784.0),
        "relative_humidity_percent": st.none() | st.floats(0.0, 100.0),
        "air_temperature_c": st.none() | st.floats(-40.0, 60.0),
    }
    return Evidence(
        draw(st.sampled_from(list(EvidenceKind))),
        tuple(reading() for _ in range(draw(st.integers(1, 2)))),
        draw(st.floats(0.0, 4.0)),
        draw(st.floats(0.001, 0.5)),
        Conditions(**{name: draw(each) for name, each in optional.items()}),
        draw(st.text(st.characters(codec="utf-8"), min_size=1, max_size=20)),
        draw(st.floats(0.0, 4.0)),
    )


@given(any_evidence())
@settings(deadline=None)
def test_any_evidence_is_rebuilt_exactly(evidence):
    assert evidence_from(through_json(evidence_payload(evidence))) == evidence


def changed(path, value):
    payload = through_json(evidence_payload(STRIP))
    inner = payload
    for step in path[:-1]:
        inner = inner[step]
    if value is KeyError:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return payload


@pytest.mark.parametrize(
    ("path", "value", "error", "field"),
    [
        (["form"], 2, Malformed, "form"),
        (["form"], "1", Malformed, "form"),
        (["form"], KeyError, Malformed, "form"),
        (["kind"], "smear", Malformed, "kind"),
        (["readings"], {}, Malformed, "readings"),
        (["readings"], [], OutOfDomain, "readings"),
        (["readings", 1], 3, Malformed, "readings[1]"),
        (["readings", 1, "low_j_m2"], "7", Malformed, "readings[1].low_j_m2"),
        (["readings", 1, "low_j_m2"], True, Malformed, "readings[1].low_j_m2"),
        (["readings", 1, "spread_stops"], None, Malformed, "readings[1].spread_stops"),
        (["readings", 0, "high_j_m2"], -1.0, OutOfDomain, "readings[0].high_j_m2"),
        (["readings", 0, "high_j_m2"], math.nan, OutOfDomain, "readings[0].high_j_m2"),
        (["readings", 0, "high_j_m2"], 10**400, OutOfDomain, "readings[0].high_j_m2"),
        (["readings", 0, "high_j_m2"], KeyError, Malformed, "readings[0].high_j_m2"),
        (["readings", 0, "colour"], "blue", Malformed, "readings[0].colour"),
        (["conditions"], None, Malformed, "conditions"),
        (["conditions", "coat_age_h"], -1.0, OutOfDomain, "conditions.coat_age_h"),
        (["conditions", "moon"], 1.0, Malformed, "conditions.moon"),
        (["light_spread_stops"], KeyError, Malformed, "light_spread_stops"),
        (["blunder_share"], 0.9, OutOfDomain, "blunder_share"),
        (["occasion"], "", OutOfDomain, "occasion"),
        (["occasion"], 5, Malformed, "occasion"),
        (["extra"], 1, Malformed, "extra"),
    ],
)
def test_a_payload_that_is_not_evidence_is_refused_by_field(path, value, error, field):
    with pytest.raises(error) as caught:
        evidence_from(changed(path, value))
    assert caught.value.field == field


def test_whole_numbers_from_another_writer_of_json_are_read_as_numbers():
    payload = evidence_payload(replace(STRIP, light_spread_stops=1.0))
    assert evidence_from(payload | {"light_spread_stops": 1}) == evidence_from(payload)


def test_what_is_not_an_object_is_no_payload():
    with pytest.raises(Malformed, match="JSON object"):
        evidence_from([])


def test_evidence_comes_back_as_it_was_given(store, recipe):
    with store.write() as db:
        exposure_id = new_exposure(db)
        made = PRINTS.create(db, uuid.uuid4(), print_fields(recipe.id), now_s=NOON_S)
    record = append(
        store,
        recipe,
        evidence=JUDGED,
        told={"word": "a little dark"},
        exposure_id=exposure_id,
        print_id=made.id,
    )
    with store.read() as db:
        assert evidence_records.get(db, record.id) == record
        assert evidence_records.of_recipe(db, recipe.id) == (record,)
        assert evidence_records.of_print(db, made.id) == (record,)
        assert evidence_records.of_print(db, uuid.uuid4()) == ()
    assert record.kind is EvidenceKind.PRINT
    assert record.evidence == JUDGED


def test_the_belief_from_the_records_is_the_belief_from_what_was_read(store, recipe):
    for number, evidence in enumerate(ALL_EVIDENCE):
        append(store, recipe, evidence=evidence, made_at_s=NOON_S + number)
    with store.read() as db:
        kept = tuple(one.evidence for one in evidence_records.of_recipe(db, recipe.id, withdrawn=False))
    prior = Prior(20_000.0, 1.0, "any")
    assert Belief(prior, kept).target() == Belief(prior, ALL_EVIDENCE).target()


def test_evidence_is_in_the_order_of_its_making(store, recipe):
    made = [append(store, recipe, made_at_s=NOON_S + (7 * number) % 5) for number in range(5)]
    with store.read() as db:
        listed = evidence_records.of_recipe(db, recipe.id)
    assert listed == tuple(sorted(made, key=lambda one: one.made_at_s))


def test_evidence_told_twice_is_kept_once(store, recipe):
    first = append(store, recipe)
    again = append(store, recipe, evidence_id=first.id, recorded_s=NOON_S + 99.0)
    assert again == first
    with store.write() as db:
        withdrawn = evidence_records.withdraw(db, first.id, reason="a slip", now_s=NOON_S)
    assert append(store, recipe, evidence_id=first.id) == withdrawn
    for other in (
        {"evidence": JUDGED},
        {"made_at_s": 0.0},
        {"told": {"first_full": 3}},
    ):
        with pytest.raises(Conflict, match="other evidence") as caught:
            append(store, recipe, evidence_id=first.id, **other)
        assert caught.value.field == "evidence_id"
    with store.read() as db:
        assert evidence_records.of_recipe(db, recipe.id) == (withdrawn,)


def test_evidence_told_at_the_same_moment_by_many_is_kept_once(store, recipe):
    evidence_id = uuid.uuid4()
    with ThreadPoolExecutor(6) as pool:
        told = list(pool.map(lambda _: append(store, recipe, evidence_id=evidence_id), range(12)))
    assert all(one == told[0] for one in told)
    with store.read() as db:
        assert evidence_records.counts(db, recipe.id) == EvidenceCounts(1, 0)


def test_withdrawn_evidence_stays_and_no_longer_counts(store, recipe):
    kept, wrong = append(store, recipe), append(store, recipe, made_at_s=NOON_S + 1.0)
    with store.write() as db:
        marked = evidence_records.withdraw(db, wrong.id, reason="another negative", now_s=NOON_S + 2.0)
        again = evidence_records.withdraw(db, wrong.id, reason="another negative", now_s=NOON_S + 9.0)
    assert again == marked == replace(wrong, withdrawn_s=NOON_S + 2.0, withdrawn_reason="another negative")
    with store.read() as db:
        assert evidence_records.of_recipe(db, recipe.id) == (kept, marked)
        assert evidence_records.of_recipe(db, recipe.id, withdrawn=False) == (kept,)
        assert evidence_records.counts(db, recipe.id) == EvidenceCounts(told=2, withdrawn=1)
        assert evidence_records.counts(db, uuid.uuid4()) == EvidenceCounts(0, 0)
    with pytest.raises(Conflict, match="another reason"), store.write() as db:
        evidence_records.withdraw(db, wrong.id, reason="no reason", now_s=NOON_S + 3.0)
    for reason in ("", "x" * 1001):
        with pytest.raises((Malformed, OutOfDomain)) as caught, store.write() as db:
            evidence_records.withdraw(db, kept.id, reason=reason, now_s=NOON_S)
        assert caught.value.field == "withdrawn_reason"


def test_evidence_refers_to_what_is_there(store, recipe):
    nobody = uuid.uuid4()
    for given_, field in (
        ({"recipe_id": nobody}, "recipe_id"),
        ({"recipe_version": 2}, "recipe_version"),
        ({"exposure_id": nobody}, "exposure_id"),
        ({"print_id": nobody}, "print_id"),
    ):
        with pytest.raises(UnknownName) as caught:
            append(store, recipe, **given_)
        assert caught.value.field == field
    with pytest.raises(UnknownName), store.read() as db:
        evidence_records.of_recipe(db, nobody)
    for ask in (evidence_records.get, lambda db, i: evidence_records.withdraw(db, i, reason="x", now_s=0.0)):
        with pytest.raises(UnknownName) as caught, store.write() as db:
            ask(db, nobody)
        assert caught.value.field == "evidence_id"


@pytest.mark.parametrize(
    ("given_", "field"),
    [
        ({"made_at_s": math.nan}, "made_at_s"),
        ({"made_at_s": 1e12}, "made_at_s"),
        ({"recorded_s": math.inf}, "recorded_s"),
        ({"told": {"step": math.nan}}, "told"),
        ({"told": {"step": "x" * 20_001}}, "told"),
        (
            {"evidence": replace(CIRCUMSTANCES, occasion="x\0").evidence(STRIP.kind, STRIP.readings, 0.02)},
            "occasion",
        ),
    ],
)
def test_evidence_that_could_not_be_kept_is_refused(store, recipe, given_, field):
    with pytest.raises((OutOfDomain, Malformed)) as caught:
        append(store, recipe, **given_)
    assert caught.value.field == field
    with store.read() as db:
        assert evidence_records.counts(db, recipe.id) == EvidenceCounts(0, 0)


def test_evidence_counts_for_its_own_recipe_only(store):
    ids = fill_bench(store)
    with store.read() as db:
        assert evidence_records.counts(db, ids["recipe"]) == EvidenceCounts(5, 1)
        assert evidence_records.counts(db, ids["old"]) == EvidenceCounts(0, 0)
        assert evidence_records.of_recipe(db, ids["old"]) == ()


def test_the_payload_is_a_copy():
    payload = evidence_payload(STRIP)
    before = copy.deepcopy(payload)
    payload["readings"][0]["low_j_m2"] = 0.0
    assert evidence_payload(STRIP) == before
