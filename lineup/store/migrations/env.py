"""Runs the migrations on the connection the store hands over, inside its transaction."""

from alembic import context

from lineup.store.tables import metadata

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=metadata)
with context.begin_transaction():
    context.run_migrations()
