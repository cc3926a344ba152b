"""What any store of the casebook does, and what SQLite does beyond it."""

from __future__ import annotations

import sqlite3
import threading
from typing import TYPE_CHECKING

import pytest

from assistant.casebook.records import StoredEvent
from assistant.casebook.sql import SqlCasebook
from assistant.conversation.events import Close, Exact, Opened, Typed, Undo
from assistant.errors import GivenError, MisuseError
from assistant.knowledge.schema import Complaint, Installation
from assistant.readings.reading import Value

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.casebook.records import Casebook
    from assistant.conversation.events import Given

OPENED = Opened(
    installation=Installation.model_validate({"amplifier": {"channels": 4}}),
    complaint=Complaint(symptom="protects", when=("running",)),
    seed=5,
    channel="typed",
)


def entry(sequence: int, event: Given, key: str | None = None) -> StoredEvent:
    return StoredEvent(sequence=sequence, at="2031-03-01T09:00:00+00:00", event=event, key=key)


def test_events_come_back_in_order_and_unchanged(book: Casebook) -> None:
    told = [
        entry(0, OPENED),
        entry(1, Typed(text="12.6 Ω – “odd” \u0000 text"), key="m1"),
        entry(2, Exact(check="x", reading=Value(value=0.1, unit="mV"))),
        entry(3, Undo()),
        entry(4, Close()),
    ]
    book.open_case("a", told[0])
    for item in told[1:]:
        book.append("a", item)
    assert list(book.events("a")) == told


def test_cases_are_listed_last_opened_first(book: Casebook) -> None:
    for name in ("a", "b", "c"):
        book.open_case(name, entry(0, OPENED))
    book.close_case("b", at="2031-03-01T10:00:00+00:00")
    rows = book.cases()
    assert [row.case_id for row in rows] == ["c", "b", "a"]
    assert [row.closed is not None for row in rows] == [False, True, False]


def test_an_id_is_taken_once(book: Casebook) -> None:
    book.open_case("a", entry(0, OPENED))
    with pytest.raises(MisuseError, match="already"):
        book.open_case("a", entry(0, OPENED))
    assert len(book.events("a")) == 1


def test_unknown_cases_are_said_to_be_unknown(book: Casebook) -> None:
    for call in (
        lambda: book.events("nobody"),
        lambda: book.append("nobody", entry(0, Undo())),
        lambda: book.close_case("nobody", at="x"),
    ):
        with pytest.raises(MisuseError, match="no case"):
            call()


@pytest.mark.parametrize("sequence", [0, 2, 7])
def test_an_event_out_of_order_is_refused(book: Casebook, sequence: int) -> None:
    """Two windows on one case: the second to answer has to load the case again."""
    book.open_case("a", entry(0, OPENED))
    with pytest.raises(MisuseError, match="not the next one"):
        book.append("a", entry(sequence, Undo()))
    assert len(book.events("a")) == 1


def test_an_event_sent_twice_is_kept_once(book: Casebook) -> None:
    book.open_case("a", entry(0, OPENED, key="k0"))
    book.append("a", entry(1, Typed(text="1"), key="k1"))
    with pytest.raises(MisuseError, match="before"):
        book.append("a", entry(2, Typed(text="1"), key="k1"))
    assert len(book.events("a")) == 2


def test_keys_are_each_cases_own(book: Casebook) -> None:
    for name in ("a", "b"):
        book.open_case(name, entry(0, OPENED, key="k0"))
        book.append(name, entry(1, Undo(), key="k1"))
    assert len(book.events("b")) == 2


def test_another_process_sees_what_was_kept(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    first = SqlCasebook(f"sqlite:///{path}")
    first.open_case("a", entry(0, OPENED))
    second = SqlCasebook(f"sqlite:///{path}")
    second.append("a", entry(1, Typed(text="1")))
    with pytest.raises(MisuseError, match="not the next one"):
        first.append("a", entry(1, Typed(text="2")))
    assert [e.event for e in first.events("a")][1:] == [Typed(text="1")]


def test_commits_are_durable(tmp_path: Path) -> None:
    """Write-ahead log and synchronous = FULL (2), as SQLite's manual asks for durability."""
    store = SqlCasebook(f"sqlite:///{tmp_path / 'book.sqlite'}")
    with store.database.engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar_one() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar_one() == 2


def test_events_are_readable_by_a_person(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    store = SqlCasebook(f"sqlite:///{path}")
    store.open_case("a", entry(0, OPENED))
    store.append("a", entry(1, Exact(check="amp_supply", reading=Value(value=12.6, unit="V"))))
    store.dispose()
    (text,) = sqlite3.connect(path).execute("SELECT event FROM events WHERE sequence=1").fetchone()
    assert text == (
        '{"event": "exact", "check": "amp_supply", "reading": {"value": 12.6, "unit": "V"}}'
    )


@pytest.mark.parametrize("content", [b"this is no database, only text" * 100, b"\x00" * 4096])
def test_a_file_that_is_no_database_is_one_clear_error(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "book.sqlite"
    path.write_bytes(content)
    with pytest.raises(GivenError, match=r"book\.sqlite"):
        SqlCasebook(f"sqlite:///{path}")


@pytest.mark.parametrize("url", ["nonsense", "nosuch://x/y", "sqlite:////no/such/dir/b.sqlite"])
def test_a_place_that_cannot_be_used_is_one_clear_error(url: str) -> None:
    with pytest.raises(GivenError) as caught:
        SqlCasebook(url)
    assert caught.value.next_step


def test_a_spoilt_event_is_one_clear_error(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    store = SqlCasebook(f"sqlite:///{path}")
    store.open_case("a", entry(0, OPENED))
    with sqlite3.connect(path) as raw:
        raw.execute('UPDATE events SET event = \'{"event": "sung"}\'')
    with pytest.raises(GivenError, match="cannot be read"):
        store.events("a")


def test_writers_wait_their_turn_and_a_file_without_a_gate_works_too(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    (tmp_path / "book.sqlite-gate").mkdir()  # no gate can be made there
    plain = SqlCasebook(f"sqlite:///{path}")
    plain.open_case("a", entry(0, OPENED))
    (tmp_path / "book.sqlite-gate").rmdir()
    gated = SqlCasebook(f"sqlite:///{path}")
    inside = threading.Event()

    def write() -> None:
        with gated.database.write():
            inside.set()

    other = threading.Thread(target=write)
    with gated.database.write():
        other.start()
        assert not inside.wait(0.2)
    other.join(timeout=30)
    assert inside.is_set()
    plain.append("a", entry(1, Undo()))
    gated.append("a", entry(2, Undo()))
    gated.dispose()
    gated.append("a", entry(3, Undo()))  # as an engine of SQLAlchemy, it opens again
    assert len(plain.events("a")) == 4
