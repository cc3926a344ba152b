"""One database: its connections, its transactions, and the erasing of what was deleted.

SQLite runs with a write-ahead log and ``synchronous = FULL``: when a write returns, it is on the
disk. A write begins by taking the write lock, so two processes that go on with one case cannot
both count themselves first; a read takes none. PostgreSQL does both by row locks.
"""

from __future__ import annotations

from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import IntegrityError, SQLAlchemyError

from assistant.casebook.gate import Gate
from assistant.casebook.tables import METADATA
from assistant.casebook.upgrading import is_current, upgrade
from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy.engine import URL

__all__ = ["Database"]

_BEGIN: Final = "probetell_begin"
_PATIENCE_MS: Final = 10_000


class Database:
    """A database behind a URL, brought to the tables of this program when it is made.

    ``postgresql://`` is taken as ``postgresql+psycopg://``. Raises ``GivenError`` when the
    database cannot be used.
    """

    def __init__(self, url: str) -> None:
        try:
            place = _with_driver(make_url(url))
            self._where = place.render_as_string(hide_password=True)
            others: dict[str, Any] = {}
            if place.get_backend_name() != "sqlite":
                others["pool_pre_ping"] = True
            self.engine: Final = create_engine(place, **others)
        except (SQLAlchemyError, ImportError) as error:
            raise GivenError(
                f"The casebook's database URL cannot be used: {error}.",
                next_step="Set PROBETELL_DATABASE to a URL such as sqlite:////path/casebook.sqlite "
                "or postgresql://user@host/name (which needs: pip install 'probetell[shop]').",
            ) from error
        self.is_sqlite: Final = self.engine.dialect.name == "sqlite"
        self._reading = self.engine
        self._gate: Final = Gate(self._beside("-gate"))
        self._turn: Final = self._gate if self.is_sqlite else nullcontext()
        if self.is_sqlite:
            event.listen(self.engine, "connect", _prepare_sqlite)
            event.listen(self.engine, "begin", _begin_sqlite)
            self._reading = self.engine.execution_options(**{_BEGIN: "BEGIN"})
        with self.read() as connection:
            current = is_current(connection)
        if not current:
            with self.write() as connection:
                upgrade(connection)

    def dispose(self) -> None:
        """Close every connection."""
        self.engine.dispose()
        self._gate.close()

    def _beside(self, ending: str) -> Path | None:
        """Give a path beside SQLite's file; None where there is no such file."""
        name = self.engine.url.database
        if not self.is_sqlite or not name or name == ":memory:":
            return None
        return Path(name + ending)

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """Give a connection in a transaction that is durable after the block."""
        with self._turn, self._told(), self.engine.begin() as connection:
            yield connection

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the database; writers are not held up."""
        with self._told(), self._reading.begin() as connection:
            yield connection

    def purge(self) -> None:
        """Rewrite what was deleted, so that its bytes are in no file of SQLite any more.

        On PostgreSQL the dead rows are given up to be written over. Raises ``GivenError`` when
        another process keeps the write-ahead log of SQLite in use.
        """
        if not self.is_sqlite:
            names = ", ".join(table.name for table in METADATA.sorted_tables)
            with self._told(), self.engine.connect() as plain:
                connection = plain.execution_options(isolation_level="AUTOCOMMIT")
                connection.exec_driver_sql(f"VACUUM {names}")
            return
        # Without a BEGIN of ours: VACUUM and checkpoints stand outside of transactions.
        bare = self.engine.execution_options(**{_BEGIN: ""})
        with self._turn, self._told(), bare.connect() as connection:
            connection.exec_driver_sql("VACUUM")
            # Waits as long as any other statement; 1 tells that it was in vain.
            if connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").scalar_one():
                raise GivenError(
                    f"What was deleted is still in the write-ahead log of {self._where}: another "
                    "process reads it.",
                    next_step="End the other processes and do the same again.",
                )

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except IntegrityError:
            raise
        except SQLAlchemyError as error:
            cause = getattr(error, "orig", None) or error
            raise GivenError(
                f"The casebook {self._where} cannot be used: {' '.join(str(cause).split())}.",
                next_step="Check that the disk has room and that you may write there, or set "
                "PROBETELL_HOME to another directory.",
            ) from error


def _with_driver(url: URL) -> URL:
    if url.drivername in {"postgresql", "postgres"}:
        return url.set(drivername="postgresql+psycopg")
    return url


def _prepare_sqlite(connection: Any, _record: object) -> None:
    """Leave transactions to SQLAlchemy, and ask SQLite for durable commits and real deletion."""
    connection.isolation_level = None
    cursor = connection.cursor()
    for pragma in (
        f"busy_timeout = {_PATIENCE_MS}",
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
        "secure_delete = ON",
    ):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    begin = connection.get_execution_options().get(_BEGIN, "BEGIN IMMEDIATE")
    if begin:
        connection.exec_driver_sql(begin)
