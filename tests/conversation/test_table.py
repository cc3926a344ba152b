"""The table decides every pair, and the dialogue carries out every move that stands in it."""

from __future__ import annotations

import pytest

from assistant.conversation.dialogue import Dialogue
from assistant.conversation.table import TABLE, Column, Move, State


def test_every_pair_of_state_and_column_is_decided() -> None:
    assert set(TABLE) == set(State)
    for state, row in TABLE.items():
        assert set(row) == set(Column), state


def test_every_move_is_used() -> None:
    assert {move for row in TABLE.values() for move in row.values()} == set(Move)


@pytest.mark.parametrize("move", list(Move))
def test_every_move_is_a_method(move: Move) -> None:
    assert callable(getattr(Dialogue, f"_{move}"))


def test_stop_silence_close_and_questions_are_taken_in_every_open_state() -> None:
    open_states = set(State) - {State.WAITING, State.CLOSED}
    anytime = {
        Column.REPEAT, Column.SLOWER, Column.BACK, Column.UNDO, Column.CORRECT, Column.SKIP,
        Column.CANNOT, Column.WHY, Column.STATUS, Column.HELP, Column.SAFETY, Column.STOP,
        Column.SILENCE, Column.CLOSE,
    }  # fmt: skip
    for state in open_states:
        for column in anytime:
            assert TABLE[state][column] is not Move.REFUSE, (state, column)


def test_a_parked_case_goes_on_at_anything_but_silence() -> None:
    for column, move in TABLE[State.PARKED].items():
        expected = {
            Column.OPENED: Move.REFUSE,
            Column.SILENCE: Move.IGNORE,
            Column.CLOSE: Move.FINISH,
        }.get(column, Move.RESUME)
        assert move is expected, column


def test_no_reading_is_taken_while_cautions_wait() -> None:
    row = TABLE[State.CAUTIONING]
    for column in (Column.EXACT, Column.UNDERSTOOD, Column.UNSURE):
        assert row[column] is Move.INSIST
