"""What is forgotten is in no file any more; what is kept does not lie open."""

from __future__ import annotations

import sqlite3
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import func, select

from assistant.casebook.sql import SqlCasebook
from assistant.casebook.tables import INBOX, METADATA, OUTBOX, THREADS
from assistant.conversation.events import Typed
from assistant.errors import GivenError
from assistant.messaging.numbers import Numbers
from assistant.messaging.store_sql import SqlMessageStore

sys.path.insert(0, str(Path(__file__).parent))

from store_talk import ANNA, BERT, answer, at, claim, converse, event, text

if TYPE_CHECKING:
    from collections.abc import Iterator

KEY = bytes(range(32))
WORDS, REPLY, MEMORY = "quasar flamingo 12.6", "marmalade at the ground", "umbrella intake"


@pytest.fixture
def store(database_url: str) -> Iterator[SqlMessageStore]:
    """An empty store on either database."""
    casebook = SqlCasebook(database_url)
    yield SqlMessageStore(casebook, Numbers(KEY))
    casebook.dispose()


@pytest.fixture
def file_store(sqlite_url: str) -> Iterator[SqlMessageStore]:
    """An empty store in a file."""
    casebook = SqlCasebook(sqlite_url)
    yield SqlMessageStore(casebook, Numbers(KEY))
    casebook.dispose()


def fill(store: SqlMessageStore) -> list[bytes]:
    """Put two customers into the store; give all that must not be found of the first."""
    told = [event("own case", 0), event("own case", 1, Typed(text=WORDS))]
    for number in range(40):
        converse(store, text(f"b{number}", BERT, f"Bert {number}"), "to Bert")
    converse(
        store, text("anna-1", ANNA, WORDS), REPLY, events=told, cases=("own case",), memory=MEMORY
    )
    store.accept(text("anna-2", ANNA, WORDS))
    secret = [WORDS, REPLY, MEMORY, ANNA, ANNA[1:], "own case", "anna-1", "anna-2"]
    number_id = Numbers(KEY).look_up(ANNA)
    found = [words.encode() for words in (*secret, number_id)]
    with store.casebook.database.read() as connection:
        for table, column in ((THREADS, "sealed"), (THREADS, "memory"), (INBOX, "text")):
            found += connection.execute(
                select(table.c[column]).where(table.c.number_id == number_id)
            ).scalars()
        found += connection.execute(
            select(OUTBOX.c.body).where(OUTBOX.c.number_id == number_id)
        ).scalars()
    return found


def files_of(store: SqlMessageStore) -> dict[str, bytes]:
    path = Path(str(store.casebook.database.engine.url.database))
    return {p.name: p.read_bytes() for p in path.parent.iterdir() if p.is_file()}


def test_numbers_and_texts_do_not_lie_open(file_store: SqlMessageStore) -> None:
    """Only the casebook's events can be read, as by a person at the shop."""
    converse(file_store, text("anna-1", ANNA, WORDS), REPLY, memory=MEMORY)
    everything = b"".join(files_of(file_store).values())
    assert b"anna-1" in everything
    for words in (WORDS, REPLY, MEMORY, ANNA, ANNA[1:], ANNA[-7:]):
        assert words.encode() not in everything


def test_what_is_forgotten_is_in_no_file(file_store: SqlMessageStore) -> None:
    secret = fill(file_store)
    assert len(secret) == 14
    before = b"".join(files_of(file_store).values())
    clear = {WORDS.encode(), b"own case", b"anna-1", b"anna-2"}
    assert all(part in before for part in secret if part in clear or part in secret[8:])
    assert file_store.forget(ANNA) == 1
    after = files_of(file_store)
    assert set(after) == {f"shop.sqlite{ending}" for ending in ("", "-wal", "-shm", "-gate")}
    for name, content in after.items():
        for part in secret:
            assert part not in content, (name, part)
    assert b"b39" in after["shop.sqlite"]


def test_what_expires_is_in_no_file(file_store: SqlMessageStore) -> None:
    secret = fill(file_store)
    file_store.accept(text("b99", BERT, seconds=60))
    assert file_store.expire(before=at(30)) == 1
    everything = b"".join(files_of(file_store).values())
    assert not [part for part in secret if part in everything]


def test_forgetting_again_clears_what_an_interruption_left(file_store: SqlMessageStore) -> None:
    """Erased but not yet purged: the process died in between."""
    secret = fill(file_store)
    with file_store.casebook.database.write() as connection:
        file_store._erase(connection, Numbers(KEY).look_up(ANNA))
    left = b"".join(files_of(file_store).values())
    assert [part for part in secret if part in left]
    assert file_store.forget(ANNA) == 0
    left = b"".join(files_of(file_store).values())
    assert not [part for part in secret if part in left]


def test_a_log_that_another_process_reads_is_said_to_be_in_use(
    sqlite_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("assistant.casebook.database._PATIENCE_MS", 100)
    store = SqlMessageStore(SqlCasebook(sqlite_url), Numbers(KEY))
    secret = fill(store)
    reader = sqlite3.connect(sqlite_url.removeprefix("sqlite:///"))
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM inbox").fetchone()
    with pytest.raises(GivenError, match="write-ahead log"):
        store.forget(ANNA)
    reader.close()
    assert store.forget(ANNA) == 0
    left = b"".join(files_of(store).values())
    assert not [part for part in secret if part in left]
    store.casebook.dispose()


def test_no_table_holds_a_row_of_the_forgotten(store: SqlMessageStore) -> None:
    fill(store)
    assert store.forget(ANNA) == 1
    assert store.forget(BERT) == 0
    with store.casebook.database.read() as connection:
        for table in METADATA.sorted_tables:
            count = connection.execute(select(func.count()).select_from(table)).scalar_one()
            assert count == (1 if table.name == "key_marks" else 0), table.name


def test_another_key_is_refused_and_harms_nothing(database_url: str) -> None:
    casebook = SqlCasebook(database_url)
    store = SqlMessageStore(casebook, Numbers(KEY))
    converse(store, text("m1"), "reply")
    with pytest.raises(GivenError, match="not the one"):
        SqlMessageStore(casebook, Numbers(b"\x07" * 32))
    again = SqlMessageStore(SqlCasebook(database_url), Numbers(KEY))
    assert again.thread(again.threads()[0].thread.number_id).lines[0].text == "12.6"
    again.casebook.dispose()
    casebook.dispose()


def test_sealed_values_that_were_exchanged_are_noticed(store: SqlMessageStore) -> None:
    """Whoever can write to the database cannot put one customer's words under another's name."""
    converse(store, text("a1", ANNA), cases=())
    converse(store, text("b1", BERT))
    anna, bert = (Numbers(KEY).look_up(number) for number in (ANNA, BERT))
    with store.casebook.database.write() as connection:
        sealed = connection.execute(
            select(INBOX.c.text).where(INBOX.c.number_id == anna)
        ).scalar_one()
        connection.execute(INBOX.update().where(INBOX.c.number_id == bert).values(text=sealed))
    with pytest.raises(GivenError, match="another key, or was changed"):
        store.thread(bert)


def test_a_case_that_is_typed_at_the_shop_stays(store: SqlMessageStore) -> None:
    store.casebook.open_case("typed", event("typed", 0).entry)
    store.accept(text("m1"))
    answer(store, claim(store), events=[event("texted", 0)], cases=("texted",))
    assert store.forget(ANNA) == 1
    assert [row.case_id for row in store.casebook.cases()] == ["typed"]
