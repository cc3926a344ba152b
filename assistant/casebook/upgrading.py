"""Brings a database to the tables of this program: from nothing, or from an older program."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from sqlalchemy import inspect, text

from assistant.casebook.tables import HEAD
from assistant.errors import GivenError

if TYPE_CHECKING:
    from sqlalchemy import Connection

__all__ = ["MIGRATIONS", "is_current", "upgrade"]

MIGRATIONS: Final = Path(__file__).with_name("migrations")
_VERSIONS: Final = "alembic_version"
# The tables as they were before there were migrations.
_FIRST: Final = "0001_cases"
_LOCK: Final = 7_062_537_655


def is_current(connection: Connection) -> bool:
    """Tell whether the database stands at the last migration."""
    return _version(connection) == HEAD


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table(_VERSIONS):
        return None
    found = connection.execute(text(f"SELECT version_num FROM {_VERSIONS}")).scalar()  # noqa: S608
    return None if found is None else str(found)


def upgrade(connection: Connection) -> None:
    """Run the migrations that are missing, within the transaction of ``connection``.

    A casebook that was made before there were migrations is taken over as it is. Raises
    ``GivenError`` when a newer program has made the database.
    """
    # Loading alembic takes longer than opening a case: only where it is needed.
    from alembic import command  # noqa: PLC0415
    from alembic.config import Config  # noqa: PLC0415
    from alembic.util import CommandError  # noqa: PLC0415

    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
    before = _version(connection)
    if before == HEAD:  # another process was faster
        return
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    try:
        if before is None and inspect(connection).has_table("events"):
            command.stamp(config, _FIRST)
        command.upgrade(config, "head")
    except CommandError as error:
        raise GivenError(
            f"The database is of another version of this program ({before}).",
            next_step="Install the newest probetell, or name another database.",
        ) from error
