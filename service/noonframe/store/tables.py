"""The tables, as they are after the newest migration (a test compares the two)."""

import sqlalchemy as sa

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
