"""Any events in any order: no fault, always a state of the table, undo undoes."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from toy_diagnosis import CHECKS, REPAIR_OF
from toy_talk import fresh

from assistant.conversation.codec import event_from_json, event_to_json
from assistant.conversation.dialogue import replay
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
    Store,
    Typed,
    Undo,
)
from assistant.conversation.table import State
from assistant.errors import ProbetellError
from assistant.knowledge.schema import Complaint, Installation
from assistant.readings.reading import Beep, OpenLine, Seen, Unstable, Value

if TYPE_CHECKING:
    from assistant.conversation.events import Action, Channel, Given
    from assistant.readings.reading import Reading

READINGS = st.one_of(
    st.builds(
        Value,
        value=st.sampled_from([0.0, 0.05, 0.6, 1.2, 3.8, 12.2, -0.5, 99.0]),
        unit=st.sampled_from(["V", "mV", "ohm", "kohm", "A"]),
    ),
    st.just(OpenLine()),
    st.just(Beep(heard=True)),
    st.just(Unstable(low=1.0, high=9.0, unit="ohm")),
    st.builds(Seen, state=st.sampled_from(["lit", "off", "blinking", "yes"])),
)
TEXTS = st.sampled_from(
    [
        "0.05", "1.2 volts", "0.6", "9.9", "OL", "open line", "3.8 ohms", "lit", "off", "blinking",
        "twelve six", "0.05 key on, 0.06 running", "0.1 while cranking", "1.1 v, 0.2 v", "jumping",
        "ready", "ok", "yes", "no", "no, 1.1", "correction 0.05", "correction", "undo", "back",
        "skip", "can't reach it", "why", "status", "help", "safety", "slower", "repeat", "stop",
        "done", "it helped", "still the same", "hello there", "", "1e400", "front left", "later",
    ]
)  # fmt: skip
COMMANDS = st.sampled_from(
    ["repeat", "slower", "back", "correct", "skip", "why", "status", "help", "safety", "stop",
     "yes", "no", "done"]
)  # fmt: skip
CHECK_IDS = st.sampled_from([*CHECKS, "no_such_check"])
REPAIR_IDS = st.sampled_from([*REPAIR_OF.values(), "no_such_repair"])
EVENTS = st.one_of(
    st.builds(Typed, text=TEXTS),
    st.builds(Typed, text=st.text(max_size=20)),
    st.builds(
        Heard,
        alternatives=st.lists(
            st.builds(Alternative, text=TEXTS, weight=st.sampled_from([0.0, 0.01, 0.4, 1.0])),
            min_size=1,
            max_size=4,
        ).map(tuple),
    ),
    st.builds(Exact, check=CHECK_IDS, reading=READINGS),
    st.builds(CannotDo, check=st.one_of(st.none(), CHECK_IDS), why=st.just("no access")),
    st.builds(Repaired, repair=REPAIR_IDS, fixed=st.booleans()),
    st.builds(Asked, command=COMMANDS, argument=st.sampled_from(["", "1.1", "lit", "x"])),
    st.sampled_from([Undo(), Acknowledged(), Silence()]),
)
FITTING = {
    "ground_drop": ["0.05", "1.2 volts", "0.6", "0.6 v", "9.9", "0.05 key on, 0.06 running"],
    "ground_drop_running": ["0.05", "0.6", "twelve six", "9.9", "no, 0.06"],
    "leak_to_chassis": ["OL", "0.6 ohms", "fifteen", "jumping between 2 and 9", "9 kohm"],
    "protect_light": ["lit", "off", "blinking"],
    "remote_volts": ["12.2", "3", "40"],
}
AT_A_QUESTION = st.one_of(
    st.builds(Typed, text=TEXTS),
    st.builds(Asked, command=COMMANDS, argument=st.sampled_from(["", "1.1", "lit"])),
    st.builds(Exact, check=CHECK_IDS, reading=READINGS),
    st.sampled_from([Undo(), Silence(), Close(), Acknowledged(), CannotDo(why="no access")]),
)
ENDS = (AskCaution, AskCheck, AskConfirm, GiveVerdict)


class DialogueMachine(RuleBasedStateMachine):
    """Throws events at a dialogue, and now and then takes an answer back."""

    @initialize(channel=st.sampled_from(["voice", "typed", "text", "machine"]))
    def open(self, channel: Channel) -> None:
        self.dialogue = fresh()
        self.kept = []
        self.send(
            Opened(
                installation=Installation(),
                complaint=Complaint(symptom="protects"),
                channel=channel,
            )
        )

    def send(self, event: Given) -> tuple[Action, ...] | None:
        before = (self.dialogue.scene, self.dialogue._ledger)
        steps = self.dialogue.diagnosis.steps if self.dialogue._ledger else ()
        try:
            actions = self.dialogue.handle(event)
        except ProbetellError:
            assert (self.dialogue.scene, self.dialogue._ledger) == before
            assert (self.dialogue.diagnosis.steps if before[1] else ()) == steps
            return None
        assert isinstance(actions[0], Store)
        self.kept.append(actions[0].event)
        return actions[1:]

    @rule(event=EVENTS)
    def any_event(self, event: Given) -> None:
        self.send(event)

    @rule(reading=READINGS)
    @precondition(lambda self: self.dialogue.state is State.MEASURING)
    def an_exact_answer_and_its_undo(self, reading: Reading) -> None:
        """Undo gives the scene before the answer, but for what was acknowledged since."""
        before = replace(self.dialogue.scene, revising=False)
        answers = self.dialogue.ledger.mark()
        belief = self.dialogue.diagnosis.belief()
        revising = self.dialogue.scene.revising
        if self.send(Exact(check=before.step.check.id, reading=reading)) is None:
            return
        assert self.send(Undo()) is not None
        if revising:
            assert self.dialogue.ledger.mark() == answers[:-1]
        else:
            assert self.dialogue.scene == before
            assert self.dialogue.ledger.mark() == answers
            assert self.dialogue.diagnosis.belief() == belief

    @rule(data=st.data())
    @precondition(lambda self: self.dialogue.state in {State.MEASURING, State.PROVING})
    def an_answer_that_fits(self, data: st.DataObject) -> None:
        check = self.dialogue.scene.step.check.id
        self.send(Typed(text=data.draw(st.sampled_from(FITTING[check]))))

    @rule(data=st.data())
    @precondition(lambda self: self.dialogue.state in {State.CONFIRMING, State.CONTRASTING})
    def something_about_the_pending_reading(self, data: st.DataObject) -> None:
        self.send(data.draw(AT_A_QUESTION))

    @rule(words=st.sampled_from(["done", "yes", "it helped", "no"]))
    @precondition(lambda self: self.dialogue.state is State.CONCLUDED)
    def something_about_the_repair(self, words: str) -> None:
        self.send(Typed(text=words))

    @rule()
    @precondition(lambda self: self.dialogue.state is State.CAUTIONING)
    def no_reading_slips_past_a_caution(self) -> None:
        steps = self.dialogue.diagnosis.steps
        self.send(Exact(check="remote_volts", reading=Value(value=12.2, unit="V")))
        self.send(Typed(text="0.05 volts"))
        assert self.dialogue.diagnosis.steps == steps
        assert self.dialogue.state is State.CAUTIONING
        self.send(Acknowledged())
        assert self.dialogue.state in {State.MEASURING, State.PROVING}

    @rule(close=st.integers(0, 9))
    @precondition(
        lambda self: len(self.kept) > 4 and self.dialogue.state not in {State.PARKED, State.CLOSED}
    )
    def stop_wake_and_replay(self, close: int) -> None:
        """Waking puts the question that was open; a replay stands where this stands."""
        before = self.dialogue.present()
        self.send(Asked(command="stop"))
        assert self.dialogue.state is State.PARKED
        woken = self.send(Typed(text="hello there"))
        ends = [a for a in woken if isinstance(a, ENDS)]
        was = [a for a in before if isinstance(a, ENDS)]
        assert [type(a) for a in ends] == [type(a) for a in was]
        again = fresh()
        replay(again, [event_from_json(event_to_json(event)) for event in self.kept])
        assert again.scene == self.dialogue.scene
        assert again.present() == self.dialogue.present()
        if close == 0:
            self.send(Close())
            assert self.dialogue.state is State.CLOSED
            assert self.send(Typed(text="0.05")) is None
            self.open(channel="voice")

    @invariant()
    def the_state_is_in_the_table_and_a_question_is_open(self) -> None:
        if not hasattr(self, "dialogue"):
            return
        scene = self.dialogue.scene
        assert scene.state in State
        ends = [a for a in self.dialogue.present() if isinstance(a, ENDS)]
        assert len(ends) == 1
        assert (scene.pending is not None) == (
            (scene.parked_from or scene.state) in {State.CONFIRMING, State.CONTRASTING}
        )
        assert (scene.parked_from is not None) == (scene.state is State.PARKED)


DialogueMachine.TestCase.settings = settings(
    max_examples=80,
    stateful_step_count=30,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
TestDialogue = DialogueMachine.TestCase
