"""Brings a database to the tables of this program, in one transaction: all steps or none."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from service.store.database import Database
from service.store.errors import StoreError

STEPS = Path(__file__).parent / "migrations"


def config() -> Config:
    """Alembic's configuration, made in code: there is no ini file to lose."""
    made = Config()
    made.set_main_option("script_location", str(STEPS).replace("%", "%%"))
    return made


def upgrade(database: Database) -> None:
    """Makes or changes the tables as needed. Raises StoreError when the database was made by a newer program."""
    settings = config()
    script = ScriptDirectory.from_config(settings)
    with database.write() as session:
        connection = session.connection()
        now = MigrationContext.configure(connection).get_current_revision()
        if now == script.get_current_head():
            return
        if now is not None and now not in {step.revision for step in script.walk_revisions()}:
            cause = "The database was made by a newer version of this program."
            raise StoreError(database.subject, cause, "Update the program, or choose another folder.")
        settings.attributes["connection"] = connection
        command.upgrade(settings, "head")
