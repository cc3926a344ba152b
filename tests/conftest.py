"""What every house shares: how hypothesis draws, a SQLite file, a PostgreSQL server of our own.

The server runs in a temporary directory, on a Unix socket only, and as an ordinary user: it
refuses to run as root. It does not wait for the disk, since no test cuts the power.
"""

from __future__ import annotations

import shutil
import tempfile
from contextlib import ExitStack, contextmanager
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings
from sqlalchemy import create_engine, text

from assistant.benchmarks.postgresql import own_postgresql, server_url
from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.messaging.records import MessageStore

_NUMBERS = count(1)

# A run for everybody finds the same in the same code. To look for what no run has found yet:
# tests/run --hypothesis-profile=search
settings.register_profile("same", derandomize=True)
settings.register_profile("search", derandomize=False)
settings.load_profile("same")


@contextmanager
def postgresql_server(directory: Path) -> Iterator[str]:
    """Run a server in an empty directory; give the URL of its first database."""
    pytest.importorskip(
        "psycopg", reason="psycopg is not installed (pip install 'probetell[shop]')"
    )
    with ExitStack() as stack:
        try:
            url = stack.enter_context(own_postgresql(directory, durable=False))
        except GivenError as error:
            pytest.skip(error.message)
        yield url


@pytest.fixture(scope="session")
def postgresql_directory() -> Iterator[Path]:
    """The directory of a running server; the whole run shares it."""
    # Not pytest's own: only the user that runs the tests may enter that one.
    temporary = tempfile.TemporaryDirectory(prefix="probetell-pg-", ignore_cleanup_errors=True)
    with temporary as name, postgresql_server(Path(name)):
        yield Path(name)


@contextmanager
def _new_database(directory: Path, template: str = "template1") -> Iterator[str]:
    name = f"shop_{next(_NUMBERS)}"
    engine = create_engine(server_url(directory, "postgres"), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name} TEMPLATE {template}"))
        yield server_url(directory, name)
        connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    engine.dispose()


def _make_tables(url: str) -> None:
    from assistant.casebook.sql import SqlCasebook

    SqlCasebook(url).dispose()


@pytest.fixture(scope="session")
def _postgresql_template(postgresql_directory: Path) -> Iterator[str]:
    """The name of a database with all tables: copies are made faster than migrations run."""
    with _new_database(postgresql_directory) as url:
        _make_tables(url)
        yield url.partition("@/")[2].partition("?")[0]


@pytest.fixture(scope="session")
def _sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("template") / "shop.sqlite"
    _make_tables(f"sqlite:///{path}")
    return path


@pytest.fixture
def postgresql_url(postgresql_directory: Path, _postgresql_template: str) -> Iterator[str]:
    """The URL of a PostgreSQL database of the test's own: all tables, no rows."""
    with _new_database(postgresql_directory, _postgresql_template) as url:
        yield url


@pytest.fixture
def sqlite_url(tmp_path: Path, _sqlite_template: Path) -> str:
    """The URL of a SQLite file of the test's own: all tables, no rows."""
    path = tmp_path / "shop.sqlite"
    shutil.copyfile(_sqlite_template, path)
    return f"sqlite:///{path}"


@pytest.fixture(params=["sqlite", "postgresql"])
def database_url(request: pytest.FixtureRequest) -> str:
    """The URL of a database without rows: one run of the test for each kind of database."""
    return str(request.getfixturevalue(f"{request.param}_url"))


@pytest.fixture(params=["sqlite", "postgresql"])
def bare_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of a database without tables, of each kind."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'bare.sqlite'}"
        return
    with _new_database(request.getfixturevalue("postgresql_directory")) as url:
        yield url


@pytest.fixture(params=["memory", "sqlite", "postgresql"])
def message_store(request: pytest.FixtureRequest) -> Iterator[MessageStore]:
    """An empty store of text messages: one run of the test for each kind."""
    from assistant.casebook.sql import SqlCasebook
    from assistant.messaging.numbers import Numbers
    from assistant.messaging.store_memory import MemoryMessageStore
    from assistant.messaging.store_sql import SqlMessageStore

    numbers = Numbers(bytes(range(32)))
    if request.param == "memory":
        yield MemoryMessageStore(numbers)
        return
    casebook = SqlCasebook(str(request.getfixturevalue(f"{request.param}_url")))
    yield SqlMessageStore(casebook, numbers)
    casebook.dispose()
