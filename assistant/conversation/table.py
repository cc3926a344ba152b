"""The dialogue as a table: in which state, at which event, what is done.

``TABLE`` decides every pair of state and column. ``Move.REFUSE`` is for pairs that only a
mistaken caller can bring about. The moves themselves are the methods of ``Dialogue``.
"""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["TABLE", "Column", "Move", "State"]


class State(StrEnum):
    """Where a dialogue stands."""

    WAITING = "waiting"  # no case is open yet
    CAUTIONING = "cautioning"  # cautions were given and await their acknowledgement
    MEASURING = "measuring"  # a check is open
    CONFIRMING = "confirming"  # one reading awaits a yes or a no
    CONTRASTING = "contrasting"  # several readings may have been meant
    CONCLUDED = "concluded"  # the verdict was given; the repair's outcome is awaited
    PROVING = "proving"  # the first failing observation is repeated after a repair
    PARKED = "parked"  # nobody is asked anything until something comes
    CLOSED = "closed"


class Column(StrEnum):
    """The kinds of events, commands each by its own name."""

    OPENED = "opened"
    TEXT = "text"
    EXACT = "exact"
    CANNOT = "cannot"
    UNDO = "undo"
    REPAIRED = "repaired"
    ACKNOWLEDGED = "acknowledged"
    SILENCE = "silence"
    CLOSE = "close"
    UNDERSTOOD = "understood"
    UNSURE = "unsure"
    MISMATCHED = "mismatched"
    NOT_UNDERSTOOD = "not_understood"
    REPEAT = "repeat"
    SLOWER = "slower"
    BACK = "back"
    CORRECT = "correct"
    SKIP = "skip"
    WHY = "why"
    STATUS = "status"
    HELP = "help"
    SAFETY = "safety"
    STOP = "stop"
    YES = "yes"
    NO = "no"
    DONE = "done"


class Move(StrEnum):
    """What is done; each is a method of ``Dialogue`` with the same name."""

    REFUSE = "refuse"
    IGNORE = "ignore"
    BEGIN = "begin"
    READ = "read"
    TAKE_EXACT = "take_exact"
    TAKE = "take"
    TAKE_SETTLED = "take_settled"
    ASK_BACK = "ask_back"
    SETTLE = "settle"
    DROP = "drop"
    ASK_WHICH = "ask_which"
    ASK_WHICH_CHECK = "ask_which_check"
    OBJECT = "object"
    PUZZLE = "puzzle"
    WANT_READING = "want_reading"
    SET_ASIDE = "set_aside"
    SKIP_CHECK = "skip_check"
    TAKE_BACK = "take_back"
    GO_BACK = "go_back"
    CORRECT_LAST = "correct_last"
    CORRECT_PENDING = "correct_pending"
    INSIST = "insist"
    GO_ON = "go_on"
    TAKE_REPAIR = "take_repair"
    ASK_HELPED = "ask_helped"
    HELPED = "helped"
    NOT_HELPED = "not_helped"
    PROVE = "prove"
    PROVE_EXACT = "prove_exact"
    TRUST = "trust"
    LEAVE_PROOF = "leave_proof"
    PRESENT_AGAIN = "present_again"
    SLOW_DOWN = "slow_down"
    EXPLAIN = "explain"
    REPORT = "report"
    LIST_WORDS = "list_words"
    WARN = "warn"
    PARK_QUIETLY = "park_quietly"
    PARK_ALOUD = "park_aloud"
    RESUME = "resume"
    FINISH = "finish"


_AT_ANY_TIME: Final[Mapping[Column, Move]] = {
    Column.OPENED: Move.REFUSE,
    Column.TEXT: Move.READ,
    Column.REPAIRED: Move.TAKE_REPAIR,
    Column.SILENCE: Move.PARK_QUIETLY,
    Column.CLOSE: Move.FINISH,
    Column.REPEAT: Move.PRESENT_AGAIN,
    Column.SLOWER: Move.SLOW_DOWN,
    Column.WHY: Move.EXPLAIN,
    Column.STATUS: Move.REPORT,
    Column.HELP: Move.LIST_WORDS,
    Column.SAFETY: Move.WARN,
    Column.STOP: Move.PARK_ALOUD,
}
"""What every open state does alike."""

_PENDING: Final[Mapping[Column, Move]] = {
    Column.EXACT: Move.TAKE_EXACT,
    Column.CANNOT: Move.SET_ASIDE,
    Column.UNDO: Move.DROP,
    Column.ACKNOWLEDGED: Move.ASK_WHICH,
    Column.UNDERSTOOD: Move.TAKE_SETTLED,
    Column.UNSURE: Move.ASK_BACK,
    Column.MISMATCHED: Move.OBJECT,
    Column.NOT_UNDERSTOOD: Move.ASK_WHICH,
    Column.BACK: Move.DROP,
    Column.CORRECT: Move.CORRECT_PENDING,
    Column.SKIP: Move.SKIP_CHECK,
    Column.NO: Move.DROP,
    Column.DONE: Move.ASK_WHICH,
}
"""What the two states do alike in which a reading awaits its confirmation."""

TABLE: Final[Mapping[State, Mapping[Column, Move]]] = {
    State.WAITING: {
        **dict.fromkeys(Column, Move.REFUSE),
        Column.OPENED: Move.BEGIN,
        Column.SILENCE: Move.IGNORE,
    },
    State.CAUTIONING: {
        **_AT_ANY_TIME,
        Column.EXACT: Move.INSIST,
        Column.CANNOT: Move.SET_ASIDE,
        Column.UNDO: Move.TAKE_BACK,
        Column.ACKNOWLEDGED: Move.GO_ON,
        Column.UNDERSTOOD: Move.INSIST,
        Column.UNSURE: Move.INSIST,
        Column.MISMATCHED: Move.INSIST,
        Column.NOT_UNDERSTOOD: Move.INSIST,
        Column.BACK: Move.GO_BACK,
        Column.CORRECT: Move.CORRECT_LAST,
        Column.SKIP: Move.SKIP_CHECK,
        Column.YES: Move.GO_ON,
        Column.NO: Move.INSIST,
        Column.DONE: Move.GO_ON,
    },
    State.MEASURING: {
        **_AT_ANY_TIME,
        Column.EXACT: Move.TAKE_EXACT,
        Column.CANNOT: Move.SET_ASIDE,
        Column.UNDO: Move.TAKE_BACK,
        Column.ACKNOWLEDGED: Move.PRESENT_AGAIN,
        Column.UNDERSTOOD: Move.TAKE,
        Column.UNSURE: Move.ASK_BACK,
        Column.MISMATCHED: Move.OBJECT,
        Column.NOT_UNDERSTOOD: Move.PUZZLE,
        Column.BACK: Move.GO_BACK,
        Column.CORRECT: Move.CORRECT_LAST,
        Column.SKIP: Move.SKIP_CHECK,
        Column.YES: Move.WANT_READING,
        Column.NO: Move.WANT_READING,
        Column.DONE: Move.WANT_READING,
    },
    State.CONFIRMING: {**_AT_ANY_TIME, **_PENDING, Column.YES: Move.SETTLE},
    State.CONTRASTING: {**_AT_ANY_TIME, **_PENDING, Column.YES: Move.ASK_WHICH},
    State.CONCLUDED: {
        **_AT_ANY_TIME,
        Column.EXACT: Move.TAKE_EXACT,
        Column.CANNOT: Move.SET_ASIDE,
        Column.UNDO: Move.TAKE_BACK,
        Column.ACKNOWLEDGED: Move.PRESENT_AGAIN,
        Column.UNDERSTOOD: Move.ASK_WHICH_CHECK,
        Column.UNSURE: Move.ASK_WHICH_CHECK,
        Column.MISMATCHED: Move.ASK_WHICH_CHECK,
        Column.NOT_UNDERSTOOD: Move.PUZZLE,
        Column.BACK: Move.GO_BACK,
        Column.CORRECT: Move.CORRECT_LAST,
        Column.SKIP: Move.PRESENT_AGAIN,
        Column.YES: Move.HELPED,
        Column.NO: Move.NOT_HELPED,
        Column.DONE: Move.ASK_HELPED,
    },
    State.PROVING: {
        **_AT_ANY_TIME,
        Column.EXACT: Move.PROVE_EXACT,
        Column.CANNOT: Move.TRUST,
        Column.UNDO: Move.LEAVE_PROOF,
        Column.ACKNOWLEDGED: Move.PRESENT_AGAIN,
        Column.UNDERSTOOD: Move.PROVE,
        Column.UNSURE: Move.ASK_BACK,
        Column.MISMATCHED: Move.OBJECT,
        Column.NOT_UNDERSTOOD: Move.PUZZLE,
        Column.BACK: Move.LEAVE_PROOF,
        Column.CORRECT: Move.LEAVE_PROOF,
        Column.SKIP: Move.TRUST,
        Column.YES: Move.WANT_READING,
        Column.NO: Move.WANT_READING,
        Column.DONE: Move.WANT_READING,
    },
    State.PARKED: {
        **dict.fromkeys(Column, Move.RESUME),
        Column.OPENED: Move.REFUSE,
        Column.SILENCE: Move.IGNORE,
        Column.CLOSE: Move.FINISH,
    },
    State.CLOSED: {
        **dict.fromkeys(Column, Move.REFUSE),
        Column.SILENCE: Move.IGNORE,
    },
}
