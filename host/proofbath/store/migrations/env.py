"""Tells Alembic which connection to migrate: the caller's, within the caller's transaction."""

from __future__ import annotations

from alembic import context

context.configure(connection=context.config.attributes["connection"])
context.run_migrations()
