"""Alembic loads this file; the connection comes from ``assistant.casebook.upgrading``."""

from alembic import context

from assistant.casebook.tables import METADATA

context.configure(connection=context.config.attributes["connection"], target_metadata=METADATA)
with context.begin_transaction():
    context.run_migrations()
