"""Databases for every house: a SQLite file, and a PostgreSQL server of the tests' own.

The server runs in a temporary directory, on a Unix socket only, and as an ordinary user: it
refuses to run as root. It does not wait for the disk, since no test cuts the power.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import OperationalError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.messaging.records import MessageStore

_NUMBERS = count(1)
_OPTIONS = ("fsync=off", "max_connections=60", "shared_buffers=32MB", "listen_addresses=")


def postgresql_program(name: str) -> str | None:
    """Find a program of PostgreSQL: in PATH, or where Debian keeps each version's own."""
    found = shutil.which(name)
    if found is None:
        kept = Path("/usr/lib/postgresql").glob(f"*/bin/{name}")
        newest = max(kept, key=lambda p: float(p.parts[4]), default=None)
        return None if newest is None else str(newest)
    return found


def _ordinary_user() -> Any:
    """Give the user to run the server as; None when the tests run as an ordinary one already."""
    if os.geteuid() != 0:
        return None
    import pwd  # Unix only, like the rest of this

    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    pytest.skip("PostgreSQL does not run as root, and there is no user to run it as")


def _server_url(directory: Path, database: str) -> str:
    return f"postgresql+psycopg://probetell@/{database}?host={directory}"


@contextmanager
def postgresql_server(directory: Path) -> Iterator[str]:
    """Run a server in an empty directory; give the URL of its first database."""
    initdb, postgres = postgresql_program("initdb"), postgresql_program("postgres")
    if initdb is None or postgres is None:
        pytest.skip("PostgreSQL is not installed (Debian: apt install postgresql)")
    pytest.importorskip(
        "psycopg", reason="psycopg is not installed (pip install 'probetell[shop]')"
    )
    as_user: dict[str, Any] = {"cwd": directory}
    user = _ordinary_user()
    if user is not None:
        os.chown(directory, user.pw_uid, user.pw_gid)
        as_user.update(user=user.pw_uid, group=user.pw_gid, extra_groups=[])
    data, log = directory / "data", directory / "log"
    made = subprocess.run(
        [initdb, "-D", data, "-U", "probetell", "-A", "trust", "-E", "UTF8", "--locale=C", "-N"],
        capture_output=True,
        text=True,
        check=False,
        **as_user,
    )
    assert made.returncode == 0, made.stdout + made.stderr
    options = [part for option in _OPTIONS for part in ("-c", option)]
    with log.open("wb") as output:
        server = subprocess.Popen(
            [postgres, "-D", data, "-k", directory, *options],
            stdout=output,
            stderr=subprocess.STDOUT,
            **as_user,
        )
    try:
        url = _server_url(directory, "postgres")
        _await_server(server, url, log)
        yield url
    finally:
        server.send_signal(signal.SIGINT)  # ends its sessions and stops
        server.wait(timeout=30)


def _await_server(server: subprocess.Popen[bytes], url: str, log: Path) -> None:
    engine = create_engine(url)
    for _ in range(600):
        assert server.poll() is None, log.read_text(errors="replace")
        try:
            engine.connect().close()
        except OperationalError:
            time.sleep(0.05)
        else:
            engine.dispose()
            return
    raise AssertionError(log.read_text(errors="replace"))


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
    engine = create_engine(_server_url(directory, "postgres"), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f"CREATE DATABASE {name} TEMPLATE {template}"))
        yield _server_url(directory, name)
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
