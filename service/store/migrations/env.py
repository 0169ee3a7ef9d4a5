"""Runs the steps on the connection that service.store.upgrade hands over, inside its transaction."""

from __future__ import annotations

from alembic import context

from service.store.tables import Base

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=Base.metadata, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
