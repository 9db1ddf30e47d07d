"""The whole bench as one JSON document: what it holds, and reading it strictly."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar
from uuid import UUID

from noonframe.errors import Malformed, OutOfDomain
from noonframe.store.checks import plain_json, plain_text
from noonframe.store.documents import DocumentFields
from noonframe.store.evidence_records import EvidenceRecord, evidence_payload, read_evidence
from noonframe.store.exposures import LONGEST_KIND, LONGEST_NAME, Exposure, ExposureEvent, ExposureStatus
from noonframe.store.film_printers import FILM_PRINTERS
from noonframe.store.lamps import LAMPS
from noonframe.store.places_saved import PLACES, PlaceFields
from noonframe.store.prints import PRINTS, PrintFields
from noonframe.store.recipes import RECIPES, RecipeFields
from noonframe.store.sessions import SESSIONS, SessionFields
from noonframe.store.spots import SPOTS, SpotFields
from noonframe.store.strict import Reader, at
from noonframe.store.versioned import Saved, Shelf, plain

FORMAT = "noonframe-bench"
FORM = 2
"""Form 1, which had no film printers, lamps and sessions, and no film of a print, is read too."""

MOST_BYTES = 128 * 2**20
"""As large a document as is read by default: some 30,000 prints with the light of each."""

F = TypeVar("F")

History = tuple[Saved[F], ...]
"""All versions of a record, oldest first."""


@dataclass(frozen=True)
class KeptLight:
    """The cloud that an exposure was followed under, and when that was kept."""

    kept_s: float
    course: Mapping[str, Any] = field(repr=False)


@dataclass(frozen=True)
class KeptExposure:
    """An exposure with all that was told of it."""

    exposure: Exposure
    events: tuple[ExposureEvent, ...]
    light: KeptLight | None


@dataclass(frozen=True)
class BenchDocument:
    """Everything of the bench, with the exposures that prints and evidence refer to."""

    recipes: tuple[History[RecipeFields], ...]
    spots: tuple[History[SpotFields], ...]
    places: tuple[History[PlaceFields], ...]
    exposures: tuple[KeptExposure, ...]
    prints: tuple[History[PrintFields], ...]
    evidence: tuple[EvidenceRecord, ...]
    film_printers: tuple[History[DocumentFields], ...] = ()
    lamps: tuple[History[DocumentFields], ...] = ()
    sessions: tuple[History[SessionFields], ...] = ()


NAMED: Mapping[str, Shelf[Any]] = {
    "recipes": RECIPES,
    "spots": SPOTS,
    "places": PLACES,
    "film_printers": FILM_PRINTERS,
    "lamps": LAMPS,
    "sessions": SESSIONS,
}
"""Records of which no two that live have one name, by their field of the document."""

_SINCE_FORM_2 = ("film_printers", "lamps", "sessions")


def as_json(document: BenchDocument) -> dict[str, Any]:
    """The document as plain JSON; the same bench always gives the same."""
    return {
        "format": FORMAT,
        "form": FORM,
        "recipes": [_history_json(history) for history in document.recipes],
        "spots": [_history_json(history) for history in document.spots],
        "places": [_history_json(history) for history in document.places],
        "exposures": [_exposure_json(kept) for kept in document.exposures],
        "prints": [_history_json(history) for history in document.prints],
        "evidence": [_evidence_json(record) for record in document.evidence],
        **{name: [_history_json(history) for history in getattr(document, name)] for name in _SINCE_FORM_2},
    }


def read_bench(text: bytes | str, *, most_bytes: int = MOST_BYTES) -> BenchDocument:
    """The document that `text` holds.

    `Malformed` or `OutOfDomain` name what is wrong and where, e.g. `prints[3].versions[0].fields.dose_j_m2`.
    """
    if len(text) > most_bytes:
        raise OutOfDomain("document", f"{len(text)} bytes", f"at most {most_bytes} bytes")
    try:
        value = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except json.JSONDecodeError as fault:
        where = f"line {fault.lineno}, column {fault.colno}"
        raise Malformed("document", where, f"must be JSON: {fault.msg}") from None
    except (ValueError, RecursionError) as fault:
        raise Malformed("document", type(fault).__name__, "must be JSON, in UTF-8, of a sane depth") from None
    return bench_from(value)


def bench_from(value: object) -> BenchDocument:
    """The document that JSON already read holds; as `read_bench`."""
    reader = Reader(value, "")
    kind, form = reader.text("format"), reader.whole("form")
    if kind != FORMAT:
        raise Malformed("format", kind, f"must be {FORMAT}")
    if form not in (1, FORM):
        raise Malformed("form", form, f"this version of noonframe reads the forms 1 and {FORM}")
    document = BenchDocument(
        recipes=_histories(reader, RECIPES, "recipes"),
        spots=_histories(reader, SPOTS, "spots"),
        places=_histories(reader, PLACES, "places"),
        exposures=tuple(_exposure(one) for one in reader.inners("exposures")),
        prints=_histories(reader, PRINTS, "prints"),
        evidence=tuple(_evidence(one) for one in reader.inners("evidence")),
        **({} if form == 1 else {name: _histories(reader, NAMED[name], name) for name in _SINCE_FORM_2}),
    )
    reader.end()
    _check_ids(document)
    _check_names(document)
    _check_references(document)
    return document


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise Malformed("document", twice[:60], "has a field twice in one object")
    return found


def _no_constant(name: str) -> None:
    raise Malformed("document", name, "must be JSON, which has no such number")


# --- versioned records -----------------------------------------------------------------------------------


def _history_json(history: History[Any]) -> dict[str, Any]:
    versions = [
        {
            "version": each.version,
            "saved_s": each.saved_s,
            "retired": each.retired,
            "fields": plain(each.fields),
        }
        for each in history
    ]
    return {"id": str(history[0].id), "versions": versions}


def _histories(reader: Reader, shelf: Shelf[F], name: str) -> tuple[History[F], ...]:
    return tuple(_history(one, shelf) for one in reader.inners(name))


def _history(reader: Reader, shelf: Shelf[F]) -> History[F]:
    identity = reader.identity("id")
    found: list[Saved[F]] = []
    for number, one in enumerate(reader.inners("versions"), start=1):
        version = one.whole("version")
        if version != number:
            raise Malformed(one.place_of("version"), version, f"must be {number}: versions count from 1")
        saved_s, retired = one.number("saved_s"), one.flag("retired")
        created_s = found[0].saved_s if found else saved_s
        found.append(Saved(identity, version, created_s, saved_s, retired, shelf.load(one.inner("fields"))))
        one.end()
    reader.end()
    if not found:
        raise Malformed(reader.place_of("versions"), None, "must hold at least one version")
    return tuple(found)


# --- exposures -------------------------------------------------------------------------------------------


def _exposure_json(kept: KeptExposure) -> dict[str, Any]:
    one = kept.exposure
    return {
        "id": str(one.id),
        "created_s": one.created_s,
        "name": one.name,
        "scene": dict(one.scene),
        "target_j_m2": one.target_j_m2,
        "status": one.status.value,
        "version": one.version,
        "events": [
            {
                "event_id": str(event.event_id),
                "kind": event.kind,
                "at_s": event.at_s,
                "received_s": event.received_s,
                "payload": dict(event.payload),
            }
            for event in kept.events
        ],
        "light": None if kept.light is None else plain(kept.light),
    }


def _exposure(reader: Reader) -> KeptExposure:
    identity = reader.identity("id")
    status, target_j_m2 = reader.text("status"), reader.number("target_j_m2")
    if status not in set(ExposureStatus):
        raise Malformed(reader.place_of("status"), status, "must be one of " + ", ".join(ExposureStatus))
    if not target_j_m2 > 0.0:
        raise OutOfDomain(reader.place_of("target_j_m2"), target_j_m2, "greater than 0")
    events = tuple(
        _event(one, identity, number) for number, one in enumerate(reader.inners("events"), start=1)
    )
    version = reader.whole("version")
    if version <= len(events):
        limit = f"more than {len(events)}: it grows with every event"
        raise OutOfDomain(reader.place_of("version"), version, limit)
    light = reader.maybe("light", reader.inner)
    exposure = Exposure(
        id=identity,
        created_s=reader.number("created_s"),
        name=_text(reader, "name", LONGEST_NAME),
        scene=_json(reader, "scene"),
        target_j_m2=target_j_m2,
        status=ExposureStatus(status),
        version=version,
        last_sequence=len(events),
    )
    reader.end()
    return KeptExposure(exposure, events, None if light is None else _light(light))


def _event(reader: Reader, exposure_id: UUID, sequence: int) -> ExposureEvent:
    return reader.build(
        ExposureEvent,
        exposure_id=exposure_id,
        sequence=sequence,
        event_id=reader.identity("event_id"),
        kind=_text(reader, "kind", LONGEST_KIND),
        at_s=reader.number("at_s"),
        received_s=reader.number("received_s"),
        payload=_json(reader, "payload"),
    )


def _light(reader: Reader) -> KeptLight:
    return reader.build(KeptLight, kept_s=reader.number("kept_s"), course=_json(reader, "course"))


def _text(reader: Reader, name: str, longest: int) -> str:
    return plain_text(reader.place_of(name), reader.text(name), longest)


def _json(reader: Reader, name: str) -> dict[str, Any]:
    return plain_json(reader.place_of(name), reader.mapping(name))


# --- evidence --------------------------------------------------------------------------------------------


def _evidence_json(record: EvidenceRecord) -> dict[str, Any]:
    found: dict[str, Any] = plain(record)
    return found | {"evidence": evidence_payload(record.evidence)}


def _evidence(reader: Reader) -> EvidenceRecord:
    return reader.build(
        EvidenceRecord,
        id=reader.identity("id"),
        recipe_id=reader.identity("recipe_id"),
        recipe_version=reader.whole("recipe_version"),
        made_at_s=reader.number("made_at_s"),
        recorded_s=reader.number("recorded_s"),
        evidence=read_evidence(reader.inner("evidence")),
        told=reader.mapping("told"),
        exposure_id=reader.maybe("exposure_id", reader.identity),
        print_id=reader.maybe("print_id", reader.identity),
        withdrawn_s=reader.maybe("withdrawn_s", reader.number),
        withdrawn_reason=reader.maybe("withdrawn_reason", reader.text),
    )


# --- the document as a whole -----------------------------------------------------------------------------


def _check_ids(document: BenchDocument) -> None:
    for name in (*NAMED, "prints"):
        histories: Sequence[History[Any]] = getattr(document, name)
        _refuse_twice((f"{name}[{n}].id", history[0].id) for n, history in enumerate(histories))
    exposures = enumerate(document.exposures)
    _refuse_twice((f"exposures[{n}].id", kept.exposure.id) for n, kept in exposures)
    _refuse_twice(
        (f"exposures[{n}].events[{m}].event_id", event.event_id)
        for n, kept in enumerate(document.exposures)
        for m, event in enumerate(kept.events)
    )
    _refuse_twice((f"evidence[{n}].id", record.id) for n, record in enumerate(document.evidence))


def _refuse_twice(ids: Iterator[tuple[str, UUID]]) -> None:
    seen: dict[UUID, str] = {}
    for where, identity in ids:
        if identity in seen:
            raise Malformed(where, str(identity), f"is there twice, also as {seen[identity]}")
        seen[identity] = where


def _check_names(document: BenchDocument) -> None:
    for name, shelf in NAMED.items():
        histories: Sequence[History[Any]] = getattr(document, name)
        seen: dict[str, str] = {}
        for number, history in enumerate(histories):
            newest = history[-1]
            living: str | None = shelf.head_row(newest)["living_name"]
            where = f"{shelf.heads.name}[{number}]"
            if living is not None and living in seen:
                field = f"{where}.versions[{len(history) - 1}].fields.name"
                raise Malformed(field, newest.fields.name, f"is also the name of {seen[living]}")
            if living is not None:
                seen[living] = where


def _check_references(document: BenchDocument) -> None:
    recipes = {(each.id, each.version) for history in document.recipes for each in history}
    exposures = {kept.exposure.id for kept in document.exposures}
    prints = {history[0].id for history in document.prints}

    def check(where: str, one: PrintFields | EvidenceRecord) -> None:
        with at(where):
            if (one.recipe_id, one.recipe_version) not in recipes:
                shown = f"{one.recipe_id} version {one.recipe_version}"
                raise Malformed("recipe_id", shown, "must be among the document's recipes")
            if one.exposure_id is not None and one.exposure_id not in exposures:
                raise Malformed("exposure_id", str(one.exposure_id), "must be among the document's exposures")

    for number, history in enumerate(document.prints):
        for index, each in enumerate(history):
            check(f"prints[{number}].versions[{index}].fields", each.fields)
    for number, record in enumerate(document.evidence):
        check(f"evidence[{number}]", record)
        if record.print_id is not None and record.print_id not in prints:
            where = f"evidence[{number}].print_id"
            raise Malformed(where, str(record.print_id), "must be among the document's prints")
