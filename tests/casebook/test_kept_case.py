"""A case that is kept goes on where it was, and counts nothing twice."""

from __future__ import annotations

import sys
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant.casebook.keeping import KeptCase
from assistant.casebook.memory import MemoryCasebook
from assistant.conversation.events import (
    AskCheck,
    Close,
    Exact,
    GiveVerdict,
    Opened,
    Silence,
    Store,
    Typed,
    Undo,
)
from assistant.errors import GivenError, MisuseError
from assistant.knowledge.schema import Complaint, Installation
from assistant.readings.reading import Seen, Value

sys.path.insert(0, str(Path(__file__).parent.parent / "conversation"))

from toy_talk import fresh

if TYPE_CHECKING:
    from assistant.casebook.records import Casebook, StoredEvent

OPENED = Opened(
    installation=Installation(), complaint=Complaint(symptom="protects"), channel="machine"
)
TICKS = count()


def load(book: Casebook, case_id: str = "c1") -> KeptCase:
    """Load the case as a process that has just started would."""
    case = KeptCase(
        dialogue=fresh(),
        casebook=book,
        case_id=case_id,
        now=lambda: f"2031-03-01T09:00:{next(TICKS) % 60:02d}+00:00",
    )
    if any(row.case_id == case_id for row in book.cases()):
        case.resume()
    return case


def volts(number: float) -> Exact:
    return Exact(check="ground_drop", reading=Value(value=number, unit="V"))


def test_every_event_is_kept_before_its_answer_is_given(book: Casebook) -> None:
    case = load(book)
    for position, event in enumerate([OPENED, volts(0.05), Undo(), Silence(), volts(1.2)]):
        answer = case.handle(event)
        assert [e.event for e in book.events("c1")][position] == event
        assert not any(isinstance(action, Store) for action in answer)


def test_a_case_goes_on_after_each_event_as_if_it_had_never_stopped(book: Casebook) -> None:
    whole = load(MemoryCasebook())
    told = [
        OPENED,
        Typed(text="9.9"),
        Typed(text="no"),
        volts(0.05),
        Exact(check="protect_light", reading=Seen(state="lit")),
        Undo(),
        Silence(),
        Typed(text="lit"),
    ]
    for event in told:
        expected = whole.handle(event)
        answer = load(book).handle(event)  # loaded anew for every single event
        assert answer == expected
    assert load(book).dialogue.scene == whole.dialogue.scene


def test_what_the_dialogue_refuses_is_not_kept(book: Casebook) -> None:
    case = load(book)
    case.handle(OPENED)
    with pytest.raises(GivenError):
        case.handle(Exact(check="no_such", reading=Value(value=1, unit="V")))
    with pytest.raises(MisuseError):
        case.handle(OPENED)
    assert len(book.events("c1")) == 1


def test_an_event_sent_again_with_its_key_is_answered_and_not_counted(book: Casebook) -> None:
    case = load(book)
    case.handle(OPENED, key="k0")
    (_, asked) = case.handle(volts(0.05), key="k1")
    for again in (case, load(book)):
        (_, repeated) = again.handle(volts(0.05), key="k1")
        assert isinstance(asked, AskCheck)
        assert isinstance(repeated, AskCheck)
        assert repeated.step == asked.step
    assert len(book.events("c1")) == 2
    assert len(load(book).dialogue.diagnosis.steps) == 1


def test_two_windows_on_one_case_do_not_count_twice(book: Casebook) -> None:
    first = load(book)
    first.handle(OPENED)
    second = load(book)
    first.handle(volts(0.05))
    with pytest.raises(MisuseError, match="not the next one"):
        second.handle(volts(0.05))
    with pytest.raises(MisuseError, match="could not be kept"):
        second.handle(Undo())
    assert len(load(book).dialogue.diagnosis.steps) == 1


class FullDisk(MemoryCasebook):
    """Fails from the third event on."""

    def append(self, case_id: str, entry: StoredEvent) -> None:
        if entry.sequence >= 2:
            raise GivenError("The disk is full.", next_step="Make room.")
        super().append(case_id, entry)


def test_an_event_that_cannot_be_kept_is_not_answered() -> None:
    book = FullDisk()
    case = load(book)
    case.handle(OPENED)
    case.handle(volts(0.05))
    with pytest.raises(GivenError, match="full"):
        case.handle(Undo())
    assert len(load(book).dialogue.diagnosis.steps) == 1


def test_closing_is_marked_and_the_case_file_tells_all(book: Casebook) -> None:
    case = load(book)
    case.handle(OPENED)
    case.handle(volts(1.2))
    answer = case.handle(Close())
    assert any(isinstance(action, GiveVerdict) for action in answer)
    assert book.cases()[0].closed is not None
    file = load(book).case_file(workshop="Harbour Street Audio")
    assert (file.case_id, file.workshop) == ("c1", "Harbour Street Audio")
    assert [s.kind for s in file.steps] == ["reading"]
    assert file.verdict is not None
    assert file.verdict.repair == "remake_ground"
    assert file.opened == book.cases()[0].opened
