"""Every kind of event in every state that a case can come to: decided, and nothing breaks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import pytest
from toy_talk import Talk

from assistant.conversation.events import (
    Acknowledged,
    Alternative,
    AskCaution,
    AskCheck,
    AskConfirm,
    Asked,
    CannotDo,
    Close,
    Exact,
    GiveVerdict,
    Heard,
    Opened,
    Repaired,
    Silence,
    Typed,
    Undo,
)
from assistant.conversation.scene import column_of
from assistant.conversation.table import TABLE, Column, Move, State
from assistant.errors import ProbetellError
from assistant.knowledge.schema import Complaint, Installation
from assistant.readings.reading import Value

if TYPE_CHECKING:
    from assistant.conversation.events import Given

WAYS: Final = {
    "cautioning": (State.CAUTIONING, []),
    "measuring": (State.MEASURING, ["ready"]),
    "measuring later": (State.MEASURING, ["ready", "0.6", "yes"]),
    "revising": (State.MEASURING, ["ready", "0.6", "yes", "back"]),
    "confirming": (State.CONFIRMING, ["ready", "9.9"]),
    "contrasting": (State.CONTRASTING, ["ready", "0.05 volts, 0.4 volts"]),
    "concluded": (State.CONCLUDED, ["ready", "1.2"]),
    "asked whether it helped": (State.CONCLUDED, ["ready", "1.2", "done"]),
    "cautioned for the proof": (State.CAUTIONING, ["ready", "1.2", "it helped"]),
    "proving": (State.PROVING, ["ready", "1.2", "it helped", "ready"]),
    "confirming the proof": (
        State.CONFIRMING,
        ["ready", "1.2", "it helped", "ready", "0.1 while cranking"],
    ),
    "contrasting the proof": (
        State.CONTRASTING,
        ["ready", "1.2", "it helped", "ready", "0.05 volts, 0.4 volts"],
    ),
    "settled": (State.CONCLUDED, ["ready", "1.2", "it helped", "ready", "0.05"]),
    "parked": (State.PARKED, ["ready", "stop"]),
    "parked at a question": (State.PARKED, ["ready", "9.9", "stop"]),
    "parked after the verdict": (State.PARKED, ["ready", "1.2", "stop"]),
}
COMMANDS: Final = (
    "repeat", "slower", "back", "correct", "skip", "why", "status", "help", "safety", "stop",
    "yes", "no", "done",
)  # fmt: skip
EVENTS: Final[tuple[Given, ...]] = (
    Opened(installation=Installation(), complaint=Complaint(symptom="noise")),
    Exact(check="ground_drop", reading=Value(value=0.05, unit="V")),
    Exact(check="remote_volts", reading=Value(value=12.0, unit="V")),
    Exact(check="leak_to_chassis", reading=Value(value=12.0, unit="V")),
    CannotDo(why="no access"),
    CannotDo(check="remote_volts"),
    CannotDo(check="no_such"),
    Undo(),
    Repaired(repair="remake_ground", fixed=True),
    Repaired(repair="remake_ground", fixed=False),
    Repaired(repair="no_such", fixed=True),
    Acknowledged(),
    Silence(),
    Close(),
    *(Asked(command=c) for c in COMMANDS),
    Asked(command="correct", argument="0.3"),
    Asked(command="correct", argument="lit"),
    *(Typed(text=t) for t in ("", "0.3", "0.3 volts", "40 ohms", "twelve six", "huh", "no, 0.3")),
    *(Typed(text=t) for t in ("yes", "ok", "undo", "can't", "front left", "0.1 while cranking")),
    Heard(alternatives=()),
    Heard(alternatives=(Alternative(text="fifteen volts"), Alternative(text="fifty volts"))),
    Heard(alternatives=(Alternative(text="undo", weight=0.0),)),
)
ENDS: Final = (AskCaution, AskCheck, AskConfirm, GiveVerdict)


def arrive(way: str) -> Talk:
    state, words = WAYS[way]
    talk = Talk()
    talk.type(*words) if words else None
    assert talk.state is state, way
    return talk


def test_the_ways_lead_to_every_open_state() -> None:
    assert {state for state, _ in WAYS.values()} == set(State) - {State.WAITING, State.CLOSED}
    outer = {column_of(event) for event in EVENTS}
    made_of_texts = {
        Column.UNDERSTOOD, Column.UNSURE, Column.MISMATCHED, Column.NOT_UNDERSTOOD,
    }  # fmt: skip
    assert outer == set(Column) - made_of_texts


@pytest.mark.parametrize("way", WAYS)
def test_every_event_in_every_state(way: str) -> None:
    for event in EVENTS:
        talk = arrive(way)
        before, steps = talk.dialogue.scene, talk.dialogue.diagnosis.steps
        refused = TABLE[before.state][column_of(event)] is Move.REFUSE
        try:
            talk.give(event)
        except ProbetellError:
            assert talk.dialogue.scene == before, event
            assert talk.dialogue.diagnosis.steps == steps, event
        else:
            assert not refused, event
            ends = [a for a in talk.dialogue.present() if isinstance(a, ENDS)]
            assert len(ends) == 1, event
            assert talk.dialogue.scene.parked_from is None or talk.state is State.PARKED


@pytest.mark.parametrize("way", [w for w in WAYS if "parked" not in w and "settled" not in w])
def test_a_case_can_always_be_brought_to_its_end(way: str) -> None:
    """From anywhere: answer what is asked, and the case comes to a verdict."""
    talk = arrive(way)
    answers = {"ground_drop": "1.2 v", "protect_light": "lit", "leak_to_chassis": "OL"}
    for _ in range(12):
        match talk.state:
            case State.CAUTIONING:
                talk.type("ready")
            case State.MEASURING | State.PROVING:
                talk.type(answers[str(talk.check)])
            case State.CONFIRMING:
                talk.type("yes")
            case State.CONTRASTING:
                talk.type("0.4 volts")
            case _:
                break
    assert talk.state is State.CONCLUDED
