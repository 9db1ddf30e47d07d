"""Runs migrations on the connection handed over, inside its transaction.

Alembic loads this file by path, on `schema.upgrade` and `schema.downgrade`.
"""

from alembic import context

from noonframe.store.tables import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    render_as_batch=True,
    transactional_ddl=True,  # also on SQLite, where the store begins its transactions itself
)
with context.begin_transaction():
    context.run_migrations()
