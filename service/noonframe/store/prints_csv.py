"""The log of prints as CSV (RFC 4180), for spreadsheets; the JSON export is the one that can be read back."""

import csv
import datetime as dt
import io
from collections.abc import Iterator
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy import Connection

from noonframe.store.prints import ALL, Cursor, PrintFields, PrintSearch, search
from noonframe.store.recipes import RECIPES
from noonframe.store.tables import PRINTS as PRINT_HEADS
from noonframe.store.versioned import Saved

COLUMNS = (
    "id",
    "version",
    "retired",
    "made_at",
    "name",
    "recipe",
    "recipe_id",
    "recipe_version",
    "exposure_id",
    "dose_j_m2",
    "dose_spread_stops",
    "judgement",
    "judgement_stops",
    "wash_notes",
    "rinse_notes",
    "photo",
    "film",
    "notes",
    "tags",
)
"""`made_at` in UTC (RFC 3339); `recipe` is the name that the recipe had in that version; `tags` by commas."""

_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_PAGE = 500
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


def csv_rows(db: Connection, wanted: PrintSearch = ALL) -> Iterator[str]:
    """The header, then a line for each print that is wanted, newest first, each with its line end.

    Text that a spreadsheet would take for a formula gets an apostrophe before it, as such programs have it.
    Spot and light record are left out.
    """
    yield _line(COLUMNS)
    names = _recipe_names(db)
    before = None
    while page := search(db, wanted, before=before, limit=_PAGE):
        for one in page:
            yield _line(_cells(one, names[one.fields.recipe_id, one.fields.recipe_version]))
        before = Cursor.after(page[-1])


def _recipe_names(db: Connection) -> dict[tuple[UUID, int], str]:
    used = sa.select(PRINT_HEADS.c.recipe_id).distinct()
    rows = db.execute(RECIPES.every_version().where(RECIPES.heads.c.id.in_(used)))
    return {(saved.id, saved.version): saved.fields.name for saved in map(RECIPES.saved, rows)}


def _cells(saved: Saved[PrintFields], recipe: str) -> tuple[str, ...]:
    one = saved.fields
    return (
        str(saved.id),
        str(saved.version),
        "yes" if saved.retired else "no",
        (_EPOCH + dt.timedelta(seconds=one.made_at_s)).isoformat().replace("+00:00", "Z"),
        _text(one.name),
        _text(recipe),
        str(one.recipe_id),
        str(one.recipe_version),
        "" if one.exposure_id is None else str(one.exposure_id),
        _number(one.dose_j_m2),
        _number(one.dose_spread_stops),
        "" if one.judgement is None else one.judgement.value,
        _number(one.judgement_stops),
        _text(one.wash_notes),
        _text(one.rinse_notes),
        _text(one.photo),
        _text(one.film),
        _text(one.notes),
        _text(", ".join(one.tags)),
    )


def _number(value: float | None) -> str:
    return "" if value is None else repr(value)


def _text(value: str) -> str:
    return f"'{value}" if value.startswith(_FORMULA) else value


def _line(cells: tuple[str, ...]) -> str:
    out = io.StringIO()
    csv.writer(out).writerow(cells)
    return out.getvalue()
