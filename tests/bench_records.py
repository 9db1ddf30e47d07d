"""Records of the bench for tests: a recipe, spots, places, evidence and prints of an invented print room."""

import uuid
from dataclasses import replace

from noonframe.bench.evidence import Circumstances, Conditions, ToneScale
from noonframe.bench.judgement import Judgement
from noonframe.bench.ladder import DoseLadder
from noonframe.bench.reading import judged_print, read_strip, read_wedge
from noonframe.bench.wedges import StepWedge
from noonframe.store import evidence_records, exposures, light_records
from noonframe.store.places_saved import PLACES, PlaceFields
from noonframe.store.prints import PRINTS, PrintFields
from noonframe.store.recipes import RECIPES, PriorOverride, RecipeFields
from noonframe.store.spots import SPOTS, SpotFields

NOON_S = 1_782_041_523.123456

RECIPE = RecipeFields(
    name="Kelp blue",
    sensitizer="citrate-classic",
    stack=("float-glass-4mm", "polyester-film"),
    paper="cotton, 300 g/m²",
    coat_notes="two coats, brushed",
    negative_notes="inkjet film",
    notes='ü ☀ "quoted"\nsecond line',
    prior=PriorOverride(21_000.0, 0.4, "last summer's strips"),
)
YARD = SpotFields(
    name="the yard",
    spot={"kind": "open", "tilt_deg": 30.0, "aim_azimuth_deg": 225.0, "skyline": [[0, 12.5], [180, 3]]},
    latitude_deg=41.15,
    longitude_deg=-8.61,
    elevation_m=80.0,
    time_zone="Europe/Lisbon",
)
PORTO = PlaceFields("Quayside Print Room", 41.15, -8.61, 80.0, "Europe/Lisbon")
CIRCUMSTANCES = Circumstances(
    light_spread_stops=0.1 + 0.2,  # a number that only its every digit gives back
    conditions=Conditions(coat_age_h=3.7, relative_humidity_percent=61.0),
    occasion="21 June, the yard",
    shared_spread_stops=0.15,
)
STRIP = read_strip(
    DoseLadder(5000.0, 0.5, 9), 5, CIRCUMSTANCES, first_toned=1, tone_scale=ToneScale(5.0, 1 / 3)
)
STRIP_WITHOUT_END = read_strip(DoseLadder(5000.0, 0.5, 9), None, Circumstances(0.0))
WEDGE = read_wedge(
    StepWedge("of ten steps", tuple(0.05 + 0.15 * step for step in range(10))), 200_000.0, 7, CIRCUMSTANCES
)
JUDGED = judged_print(21_000.0, Judgement.A_LITTLE_DARK, CIRCUMSTANCES)
FAR_OFF = judged_print(21_000.0, Judgement.FAR_TOO_PALE, Circumstances(0.25))
ALL_EVIDENCE = (STRIP, STRIP_WITHOUT_END, WEDGE, JUDGED, FAR_OFF)


def print_fields(recipe_id, **given):
    """A print made with version 1 of a recipe."""
    fields = {
        "name": "Kelp fronds",
        "recipe_id": recipe_id,
        "recipe_version": 1,
        "made_at_s": NOON_S,
        "spot": {"name": "the yard", "spot": dict(YARD.spot)},
        "dose_j_m2": 21_345.678901234,
        "dose_spread_stops": 0.2,
        "light": {"effective_w_m2": [0.1, 1e-300, 22.0], "cloud": None},
        "wash_notes": "10 min, still water",
        "rinse_notes": "none",
        "judgement": Judgement.RIGHT,
        "photo": "photos/kelp-1.jpg",
        "film": "film/kelp-1.pdf",
        "notes": "Edges crisp; a hair under the glass.",
        "tags": ("seaweed", "first batch"),
    }
    return PrintFields(**fields | given)


def new_recipe(db, now_s=NOON_S, **given):
    """A recipe saved at noon."""
    return RECIPES.create(db, uuid.uuid4(), replace(RECIPE, **given), now_s=now_s)


def new_exposure(db, name="kelp fronds"):
    """An ended exposure with two events and the cloud it had."""
    exposure_id = uuid.uuid4()
    exposures.create(
        db, exposure_id=exposure_id, created_s=NOON_S, name=name, scene={"sky": None}, target_j_m2=2e4
    )
    for at_s, kind in ((NOON_S, "started"), (NOON_S + 600.0, "ended")):
        exposures.append(
            db,
            exposure_id,
            event_id=uuid.uuid4(),
            kind=kind,
            at_s=at_s,
            received_s=at_s + 1.0,
            payload={"note": "ü\0"},
            status=exposures.ExposureStatus.FINISHED if kind == "ended" else None,
        )
    light_records.keep(db, exposure_id, {"cover": [0.5]}, NOON_S + 601.0)
    return exposure_id


def fill_bench(store):
    """One or two of everything, some of it changed, retired or withdrawn; the ids by name."""
    with store.write() as db:
        recipe = new_recipe(db)
        old = new_recipe(db, NOON_S + 0.5, name="Old blue", prior=None, stack=())
        RECIPES.change(db, recipe.id, replace(RECIPE, paper="hot press"), version=1, now_s=NOON_S + 1.0)
        RECIPES.retire(db, old.id, version=1, now_s=NOON_S + 2.0)
        spot = SPOTS.create(db, uuid.uuid4(), YARD, now_s=NOON_S)
        place = PLACES.create(db, uuid.uuid4(), PORTO, now_s=NOON_S)
        exposure_id = new_exposure(db)
        first = PRINTS.create(
            db, uuid.uuid4(), print_fields(recipe.id, exposure_id=exposure_id), now_s=NOON_S + 3.0
        )
        stops = print_fields(recipe.id, recipe_version=2, judgement=None, judgement_stops=-0.5, light=None)
        second = PRINTS.create(db, uuid.uuid4(), print_fields(old.id, judgement=None), now_s=NOON_S + 4.0)
        PRINTS.change(db, second.id, stops, version=1, now_s=NOON_S + 5.0)
        ids = [uuid.uuid4() for _ in ALL_EVIDENCE]
        for number, evidence in enumerate(ALL_EVIDENCE):
            evidence_records.append(
                db,
                evidence_id=ids[number],
                recipe_id=recipe.id,
                recipe_version=1 + number % 2,
                made_at_s=NOON_S - number,
                recorded_s=NOON_S + number,
                evidence=evidence,
                told={"first_full": 5},
                exposure_id=exposure_id if number == 0 else None,
                print_id=first.id if number == 3 else None,
            )
        evidence_records.withdraw(db, ids[1], reason="another paper", now_s=NOON_S + 9.0)
    return {
        "recipe": recipe.id,
        "old": old.id,
        "spot": spot.id,
        "place": place.id,
        "exposure": exposure_id,
        "first": first.id,
        "second": second.id,
        "evidence": ids,
    }
