"""Ten thousand prints are listed and searched in under 100 ms, on one core."""

import random
import time
import uuid

import pytest
from bench_records import NOON_S, new_recipe, print_fields

from noonframe.bench.judgement import Judgement
from noonframe.store.prints import ALL, PRINTS, Cursor, PrintSearch, count, search

PRINT_COUNT = 10_000
MOST_MS = 100.0
TAKES = 7
WORDS = [f"word{number:03d}" for number in range(600)]


@pytest.fixture
def long_log(store):
    dice = random.Random(1)
    with store.write() as db:
        recipes = [new_recipe(db, name=f"recipe {number}").id for number in range(20)]
        for number in range(PRINT_COUNT):
            fields = print_fields(
                dice.choice(recipes),
                name=" ".join(dice.choices(WORDS, k=3)),
                made_at_s=NOON_S - dice.random() * 3e8,
                notes=" ".join(dice.choices(WORDS, k=60)),
                judgement=dice.choice(list(Judgement)),
                light={"effective_w_m2": [dice.random() for _ in range(60)]},
                tags=tuple(dice.sample(WORDS, 3)),
            )
            PRINTS.create(db, uuid.uuid4(), fields, now_s=NOON_S + number)
    return store, recipes[0]


@pytest.mark.bench
def test_ten_thousand_prints_are_listed_and_searched_at_once(long_log):
    store, recipe_id = long_log
    deep = Cursor(NOON_S - 2.9e8, uuid.UUID(int=0))
    asked = {
        "newest": search,
        "last pages": lambda db: search(db, before=deep),
        "200 at once": lambda db: search(db, limit=200),
        "one word": lambda db: search(db, PrintSearch(text="word001")),
        "a word in none": lambda db: search(db, PrintSearch(text="nowhere")),
        "three words": lambda db: search(db, PrintSearch(text="word001 word002 nowhere")),
        "recipe": lambda db: search(db, PrintSearch(recipe_id=recipe_id)),
        "judgement": lambda db: search(db, PrintSearch(judgements=(Judgement.RIGHT, Judgement.TOO_DARK))),
        "everything": lambda db: search(
            db,
            PrintSearch("word00", recipe_id, NOON_S - 2e8, NOON_S, (Judgement.RIGHT,)),
        ),
        "count": lambda db: count(db, ALL),
        "count of a word": lambda db: count(db, PrintSearch(text="word001")),
    }
    took_ms = {}
    for name, ask in asked.items():
        takes = []
        for _ in range(TAKES):
            start = time.perf_counter()
            with store.read() as db:
                ask(db)
            takes.append(1e3 * (time.perf_counter() - start))
        took_ms[name] = min(takes)
    print({name: round(each, 1) for name, each in took_ms.items()})
    assert max(took_ms.values()) < MOST_MS
