"""Every database comes to the tables of the program, whatever it was before."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import inspect, text

from assistant.casebook.records import StoredEvent
from assistant.casebook.sql import SqlCasebook
from assistant.casebook.tables import HEAD, METADATA
from assistant.casebook.upgrading import MIGRATIONS
from assistant.conversation.events import Opened, Typed
from assistant.errors import GivenError
from assistant.knowledge.schema import Complaint, Installation

if TYPE_CHECKING:
    from pathlib import Path

# What the program made before it had migrations, as SQLite keeps it in its schema.
OLD = """
CREATE TABLE cases (
    number INTEGER NOT NULL,
    case_id VARCHAR(120) NOT NULL,
    opened VARCHAR(40) NOT NULL,
    closed VARCHAR(40),
    PRIMARY KEY (number),
    UNIQUE (case_id)
);
CREATE TABLE events (
    case_id VARCHAR(120) NOT NULL,
    sequence INTEGER NOT NULL,
    at VARCHAR(40) NOT NULL,
    event TEXT NOT NULL,
    meaning TEXT NOT NULL,
    "key" VARCHAR(200),
    PRIMARY KEY (case_id, sequence),
    UNIQUE (case_id, "key"),
    FOREIGN KEY(case_id) REFERENCES cases (case_id)
);
INSERT INTO cases VALUES (1, 'van', '2031-03-01T09:00:00+00:00', NULL);
INSERT INTO events VALUES ('van', 0, '2031-03-01T09:00:00+00:00', '{"event": "opened",
 "installation": {}, "complaint": {"symptom": "noise"}, "seed": 4}', 'opened', 'k0');
INSERT INTO events VALUES ('van', 1, '2031-03-01T09:01:00+00:00',
 '{"event": "typed", "text": "12.6 Ω"}', 'a reading', NULL);
"""


def test_the_head_is_the_last_migration() -> None:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    assert ScriptDirectory.from_config(config).get_heads() == [HEAD]


def test_the_migrations_make_the_tables_of_the_program(bare_url: str) -> None:
    """alembic's own comparison finds nothing between the database and the tables."""
    book = SqlCasebook(bare_url)
    with book.database.read() as connection:
        context = MigrationContext.configure(connection)
        assert compare_metadata(context, METADATA) == []
        found = inspect(connection)
        for table in METADATA.sorted_tables:
            made = {index["name"] for index in found.get_indexes(table.name)}
            assert {index.name for index in table.indexes} <= made
            kept = {column["name"]: column["nullable"] for column in found.get_columns(table.name)}
            assert kept == {column.name: column.nullable for column in table.columns}
    book.dispose()


def test_a_casebook_from_before_the_migrations_is_taken_over(tmp_path: Path) -> None:
    path = tmp_path / "old.sqlite"
    with sqlite3.connect(path) as old:
        old.executescript(OLD)
    old.close()
    book = SqlCasebook(f"sqlite:///{path}")
    opened = Opened(installation=Installation(), complaint=Complaint(symptom="noise"), seed=4)
    events = book.events("van")
    assert [(e.event, e.meaning, e.key) for e in events] == [
        (opened, "opened", "k0"),
        (Typed(text="12.6 Ω"), "a reading", None),
    ]
    book.append("van", StoredEvent(sequence=2, at="t", event=Typed(text="1")))
    again = SqlCasebook(f"sqlite:///{path}")
    assert len(again.events("van")) == 3
    assert again.cases()[0].closed is None


def test_an_empty_file_becomes_a_casebook(tmp_path: Path) -> None:
    path = tmp_path / "empty.sqlite"
    path.touch()
    assert SqlCasebook(f"sqlite:///{path}").cases() == ()


def test_a_database_of_a_newer_program_is_one_clear_error(database_url: str) -> None:
    book = SqlCasebook(database_url)
    with book.database.write() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999_later'"))
    book.dispose()
    with pytest.raises(GivenError, match="9999_later") as caught:
        SqlCasebook(database_url)
    assert "newest" in caught.value.next_step


def test_several_processes_may_begin_one_database(bare_url: str) -> None:
    code = "import sys; from assistant.casebook.sql import SqlCasebook; SqlCasebook(sys.argv[1])"
    begun = [
        subprocess.Popen([sys.executable, "-c", code, bare_url], stderr=subprocess.PIPE)
        for _ in range(3)
    ]
    for process in begun:
        _, told = process.communicate(timeout=120)
        assert process.returncode == 0, told.decode()
    assert SqlCasebook(bare_url).cases() == ()


def test_alembic_stays_out_where_nothing_is_to_be_migrated(sqlite_url: str) -> None:
    SqlCasebook(sqlite_url).dispose()
    code = (
        "import sys; from assistant.casebook.sql import SqlCasebook; SqlCasebook(sys.argv[1])\n"
        "assert 'alembic' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code, sqlite_url], check=True)
