"""Insert-or-else, which SQLAlchemy offers per database and not in general."""

from sqlalchemy import Connection, Table, literal_column
from sqlalchemy.dialects.postgresql import Insert as PostgresqlInsert
from sqlalchemy.dialects.sqlite import Insert as SqliteInsert


def insert(db: Connection, table: Table) -> SqliteInsert | PostgresqlInsert:
    """An INSERT that knows `on_conflict_do_nothing` and `on_conflict_do_update` in the database at hand."""
    return SqliteInsert(table) if db.dialect.name == "sqlite" else PostgresqlInsert(table)


def took_effect(db: Connection, statement: SqliteInsert | PostgresqlInsert) -> bool:
    """Run an INSERT of one row and say whether a row was inserted or updated."""
    # the number of rows that the driver reports is not to be had after an INSERT
    return db.execute(statement.returning(literal_column("1"))).first() is not None
