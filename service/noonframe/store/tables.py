"""The tables, as they are after the newest migration (a test compares the two)."""

from typing import Any

import sqlalchemy as sa

_Pair = tuple[sa.Table, sa.Table]

METADATA = sa.MetaData(
    # SQLite can change a constraint only by its name, so each has one
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

WEATHER_ANSWERS = sa.Table(
    "weather_answers",
    METADATA,
    sa.Column("key", sa.Text, primary_key=True),
    sa.Column("status", sa.Integer, nullable=False),
    sa.Column("body", sa.LargeBinary, nullable=False),
    sa.Column("etag", sa.Text),
    sa.Column("last_modified", sa.Text),
    sa.Column("expires_s", sa.Double, nullable=False),
    sa.Column("fetched_s", sa.Double, nullable=False, index=True),
)

WEATHER_PAUSES = sa.Table(
    "weather_pauses",
    METADATA,
    sa.Column("scope", sa.Text, primary_key=True),
    sa.Column("until_s", sa.Double, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("reason", sa.Text, nullable=False),
    sa.Column("failures", sa.Integer, nullable=False),
)

WEATHER_LEASES = sa.Table(
    "weather_leases",
    METADATA,
    sa.Column("key", sa.Text, primary_key=True),
    sa.Column("holder", sa.Text, nullable=False),
    sa.Column("until_s", sa.Double, nullable=False),
)

EXPOSURES = sa.Table(
    "exposures",
    METADATA,
    sa.Column("id", sa.Uuid, primary_key=True),
    sa.Column("created_s", sa.Double, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("scene", sa.JSON, nullable=False),
    sa.Column("target_j_m2", sa.Double, nullable=False),
    sa.Column("status", sa.Text, nullable=False),
    sa.Column("version", sa.Integer, nullable=False),
    sa.Column("last_sequence", sa.Integer, nullable=False),
    sa.CheckConstraint("status IN ('running', 'covered', 'finished', 'discarded')", name="status"),
    sa.Index("ix_exposures_created_s_id", "created_s", "id"),
)

EXPOSURE_EVENTS = sa.Table(
    "exposure_events",
    METADATA,
    sa.Column("exposure_id", sa.Uuid, sa.ForeignKey("exposures.id", ondelete="RESTRICT"), nullable=False),
    sa.Column("sequence", sa.Integer, nullable=False),
    sa.Column("event_id", sa.Uuid, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("at_s", sa.Double, nullable=False),
    sa.Column("received_s", sa.Double, nullable=False),
    sa.Column("payload", sa.JSON, nullable=False),
    sa.PrimaryKeyConstraint("exposure_id", "sequence"),
    sa.UniqueConstraint("event_id"),
)

EXPOSURE_LIGHT = sa.Table(
    "exposure_light",
    METADATA,
    sa.Column("exposure_id", sa.Uuid, sa.ForeignKey("exposures.id", ondelete="RESTRICT"), primary_key=True),
    sa.Column("kept_s", sa.Double, nullable=False),
    sa.Column("course", sa.JSON, nullable=False),
)

IDEMPOTENCY_RECORDS = sa.Table(
    "idempotency_records",
    METADATA,
    sa.Column("key", sa.Text, nullable=False),
    sa.Column("route", sa.Text, nullable=False),
    sa.Column("payload_hash", sa.Text, nullable=False),
    sa.Column("created_s", sa.Double, nullable=False),
    sa.Column("expires_s", sa.Double, nullable=False, index=True),
    sa.Column("holder", sa.Uuid, nullable=False),
    sa.Column("held_until_s", sa.Double, nullable=False),
    sa.Column("status_code", sa.Integer),
    sa.Column("content_type", sa.Text),
    sa.Column("body", sa.LargeBinary),
    sa.PrimaryKeyConstraint("key", "route"),
)


def _kept(what: str, plural: str, *columns: sa.Column[Any] | sa.ForeignKeyConstraint | sa.Index) -> _Pair:
    """A table of records in their newest state, and one of all their versions."""
    heads = sa.Table(
        plural,
        METADATA,
        sa.Column("id", sa.Uuid, primary_key=True),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("created_s", sa.Double, nullable=False),
        sa.Column("retired", sa.Boolean, nullable=False),
        *columns,
        sa.Index(f"ix_{plural}_created_s_id", "created_s", "id"),
    )
    versions = sa.Table(
        f"{what}_versions",
        METADATA,
        sa.Column(f"{what}_id", sa.Uuid, sa.ForeignKey(f"{plural}.id", ondelete="RESTRICT"), nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("saved_s", sa.Double, nullable=False),
        sa.Column("retired", sa.Boolean, nullable=False),
        sa.Column("fields", sa.JSON, nullable=False),
        sa.PrimaryKeyConstraint(f"{what}_id", "version"),
    )
    return heads, versions


def _name() -> sa.Column[str]:
    # empty once retired, so that the name may be used again
    return sa.Column("living_name", sa.Text, unique=True)


def _recipe_key() -> sa.ForeignKeyConstraint:
    ours, theirs = ("recipe_id", "recipe_version"), ("recipe_versions.recipe_id", "recipe_versions.version")
    return sa.ForeignKeyConstraint(ours, theirs, ondelete="RESTRICT")


def _exposure_key() -> sa.Column[Any]:
    return sa.Column("exposure_id", sa.Uuid, sa.ForeignKey("exposures.id", ondelete="RESTRICT"))


RECIPES, RECIPE_VERSIONS = _kept("recipe", "recipes", _name())
SPOTS, SPOT_VERSIONS = _kept("spot", "spots", _name())
PLACES, PLACE_VERSIONS = _kept("place", "places", _name())

PRINTS, PRINT_VERSIONS = _kept(
    "print",
    "prints",
    sa.Column("made_at_s", sa.Double, nullable=False),
    sa.Column("recipe_id", sa.Uuid, nullable=False),
    sa.Column("recipe_version", sa.Integer, nullable=False),
    _exposure_key(),
    sa.Column("judged", sa.Text),
    sa.Column("search_text", sa.Text, nullable=False),
    _recipe_key(),
    sa.Index("ix_prints_made_at_s_id", "made_at_s", "id"),
    sa.Index("ix_prints_recipe_id_made_at_s_id", "recipe_id", "made_at_s", "id"),
    sa.Index("ix_prints_judged_made_at_s_id", "judged", "made_at_s", "id"),
)

EVIDENCE = sa.Table(
    "evidence",
    METADATA,
    sa.Column("id", sa.Uuid, primary_key=True),
    sa.Column("recipe_id", sa.Uuid, nullable=False),
    sa.Column("recipe_version", sa.Integer, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("made_at_s", sa.Double, nullable=False),
    sa.Column("recorded_s", sa.Double, nullable=False),
    sa.Column("payload", sa.JSON, nullable=False),
    sa.Column("told", sa.JSON, nullable=False),
    _exposure_key(),
    sa.Column("print_id", sa.Uuid, sa.ForeignKey("prints.id", ondelete="RESTRICT"), index=True),
    sa.Column("withdrawn_s", sa.Double),
    sa.Column("withdrawn_reason", sa.Text),
    _recipe_key(),
    sa.CheckConstraint("kind IN ('strip', 'wedge', 'print')", name="kind"),
    sa.CheckConstraint("(withdrawn_s IS NULL) = (withdrawn_reason IS NULL)", name="withdrawn"),
    sa.Index("ix_evidence_recipe_id_made_at_s_id", "recipe_id", "made_at_s", "id"),
)

SESSIONS, SESSION_VERSIONS = _kept(
    "session",
    "sessions",
    _name(),
    sa.Column("starts_s", sa.Double, nullable=False),
    sa.Column("ends_s", sa.Double, nullable=False),
    sa.Index("ix_sessions_starts_s_id", "starts_s", "id"),
)
FILM_PRINTERS, FILM_PRINTER_VERSIONS = _kept("film_printer", "film_printers", _name())
LAMPS, LAMP_VERSIONS = _kept("lamp", "lamps", _name())

FEEDS = sa.Table(
    "feeds",
    METADATA,
    sa.Column("id", sa.Uuid, primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("token_hash", sa.Text, nullable=False, unique=True),
    sa.Column("what", sa.JSON, nullable=False),
    sa.Column("created_s", sa.Double, nullable=False),
    sa.Column("revoked_s", sa.Double),
    sa.Column("last_used_day", sa.Date),
    sa.Index("ix_feeds_created_s_id", "created_s", "id"),
)

# In the house's records alone, except `AUDIT`, of which every studio has its own.

STUDIOS = sa.Table(
    "studios",
    METADATA,
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("id", sa.Uuid, nullable=False, unique=True),
    sa.Column("created_s", sa.Double, nullable=False),
)


def _studio_key(nullable: bool) -> sa.Column[Any]:
    name = sa.ForeignKey("studios.name", ondelete="RESTRICT")
    return sa.Column("studio", sa.Text, name, nullable=nullable)


API_KEYS = sa.Table(
    "api_keys",
    METADATA,
    sa.Column("id", sa.Text, primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    _studio_key(nullable=True),
    sa.Column("scope", sa.Text, nullable=False),
    sa.Column("hash", sa.Text, nullable=False, unique=True),
    sa.Column("peppered", sa.Boolean, nullable=False),
    sa.Column("created_s", sa.Double, nullable=False),
    sa.Column("expires_s", sa.Double),
    sa.Column("revoked_s", sa.Double),
    sa.Column("last_used_day", sa.Date),
    sa.CheckConstraint("scope IN ('read', 'run', 'manage')", name="scope"),
    sa.Index("ix_api_keys_studio_created_s", "studio", "created_s"),
)

FEED_OWNERS = sa.Table(
    "feed_owners",
    METADATA,
    sa.Column("token_hash", sa.Text, primary_key=True),
    _studio_key(nullable=False),
)

TICKETS = sa.Table(
    "tickets",
    METADATA,
    sa.Column("hash", sa.Text, primary_key=True),
    sa.Column("key_id", sa.Text, sa.ForeignKey("api_keys.id", ondelete="CASCADE")),
    sa.Column("expires_s", sa.Double, nullable=False, index=True),
)

RATE_WINDOWS = sa.Table(
    "rate_windows",
    METADATA,
    sa.Column("who", sa.Text, primary_key=True),
    sa.Column("starts_s", sa.Double, primary_key=True, index=True),
    sa.Column("taken", sa.BigInteger, nullable=False),
)

AUDIT = sa.Table(
    "audit",
    METADATA,
    sa.Column("sequence", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("at_s", sa.Double, nullable=False),
    sa.Column("key_id", sa.Text),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("method", sa.Text, nullable=False),
    sa.Column("route", sa.Text, nullable=False),
    sa.Column("record", sa.Text),
    sa.Column("request_id", sa.Text, nullable=False),
)
