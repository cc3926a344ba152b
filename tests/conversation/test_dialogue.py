"""What the dialogue does at each kind of answer, over a toy diagnosis."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assistant.conversation.dialogue import replay
from assistant.conversation.events import (
    Acknowledged,
    Alternative,
    AskCaution,
    AskCheck,
    AskConfirm,
    CannotDo,
    Close,
    Complain,
    Exact,
    GiveVerdict,
    Heard,
    Opened,
    Park,
    Repaired,
    Say,
    Silence,
    Typed,
    Undo,
)
from assistant.conversation.table import State
from assistant.errors import GivenError, MisuseError
from assistant.knowledge.schema import Complaint, Installation
from assistant.readings.reading import OpenLine, Seen, Value

if TYPE_CHECKING:
    from collections.abc import Callable

    from toy_talk import Talk

    from assistant.conversation.dialogue import Dialogue
    from assistant.conversation.events import Given

LEAK_FREE = OpenLine()
LIT = Seen(state="lit")


def volts(number: float) -> Value:
    return Value(value=number, unit="V")


def heard(*texts: str) -> Heard:
    """Phrases that a recogniser holds for equally likely."""
    return Heard(alternatives=tuple(Alternative(text=t, weight=1.0) for t in texts))


# --- cautions ------------------------------------------------------------------------------


def test_the_case_opens_with_the_makers_procedure_and_waits(talk: Talk) -> None:
    (asked,) = talk.answer
    assert isinstance(asked, AskCaution)
    assert asked.cautions == ("Text of procedures_first.", "Text of battery_short.")
    assert talk.state is State.CAUTIONING


def test_a_reading_is_not_taken_before_the_caution_is_acknowledged(talk: Talk) -> None:
    for event in (Typed(text="0.1 v"), Exact(check="ground_drop", reading=volts(0.1))):
        assert isinstance(talk.give(event), AskCaution)
        assert talk.state is State.CAUTIONING
    assert talk.readings == []


@pytest.mark.parametrize("word", ["ready", "ok", "yes", "done"])
def test_an_acknowledgement_opens_the_check_and_is_remembered(talk: Talk, word: str) -> None:
    assert isinstance(talk.type(word), AskCheck)
    assert talk.dialogue.scene.acknowledged == {"procedures_first", "battery_short"}


def test_a_caution_is_acknowledged_once_but_engine_and_battery_each_time(talk: Talk) -> None:
    talk.type("ready", "0.6 v", "yes")  # 0.6 V is odd: it is asked back, then taken
    assert talk.check == "protect_light"
    assert talk.state is State.MEASURING  # no caution of its own
    talk.type("blinking")
    assert (talk.check, talk.state) == ("leak_to_chassis", State.CAUTIONING)  # dead_circuit
    talk.type("ready", "OL")
    assert talk.state is State.CONCLUDED
    talk.type("undo")
    assert (talk.check, talk.state) == ("leak_to_chassis", State.MEASURING)
    talk.type("undo", "undo")
    assert talk.check == "ground_drop"
    talk.type("skip", "undo")
    talk.give(Exact(check="protect_light", reading=LIT))
    assert (talk.check, talk.state) == ("ground_drop", State.CAUTIONING)  # battery_short again


def test_skipping_a_cautioned_check_says_so_and_leaves_it_out(talk: Talk) -> None:
    asked = talk.type("skip")
    assert "Skipped: ground drop" in asked.say
    assert talk.dialogue.diagnosis.steps[-1].kind == "cannot"


def test_other_programs_get_the_cautions_with_the_check(talk_on: type[Talk]) -> None:
    talk = talk_on("machine")
    (asked,) = talk.answer
    assert isinstance(asked, AskCheck)
    assert asked.cautions == ("Text of battery_short.",)


# --- reading back --------------------------------------------------------------------------


def test_a_sure_reading_is_read_back_with_the_next_check(talk: Talk) -> None:
    talk.type("ready")
    asked = talk.type("0.05 volts")
    assert isinstance(asked, AskCheck)
    assert asked.say.startswith("Noted: 0.05 V.")


def test_a_surprising_reading_is_confirmed_before_it_is_taken(talk: Talk) -> None:
    asked = talk.type("ready", "9.9")
    assert isinstance(asked, AskConfirm)
    assert "9.9 V" in asked.say
    assert talk.readings == []
    talk.type("yes")
    assert talk.readings == [("ground_drop", volts(9.9))]


def test_more_volts_than_a_vehicle_has_are_confirmed(talk: Talk) -> None:
    asked = talk.type("ready", "45 V")
    assert isinstance(asked, AskConfirm)
    assert talk.readings == []


def test_a_surprising_spoken_reading_is_confirmed_by_its_digits(talk_on: type[Talk]) -> None:
    talk = talk_on("voice")
    talk.give(heard("ready"))
    asked = talk.give(heard("nine point nine volts"))
    assert isinstance(asked, AskConfirm)
    assert "nine point nine volts" in asked.say
    talk.give(heard("yes"))
    assert talk.readings == [("ground_drop", volts(9.9))]


def test_no_drops_the_reading_and_another_one_settles_it(talk: Talk) -> None:
    talk.type("ready", "9.9")
    asked = talk.type("no")
    assert isinstance(asked, AskCheck)
    talk.type("9.9")
    talk.type("1.2")
    assert talk.readings == [("ground_drop", volts(1.2))]


def test_saying_the_same_again_confirms(talk: Talk) -> None:
    talk.type("ready", "9.9", "9.9")
    assert talk.readings == [("ground_drop", volts(9.9))]


def test_two_phrases_that_sound_alike_are_set_off_against_each_other(talk_on: type[Talk]) -> None:
    talk = talk_on("voice")
    talk.give(Acknowledged())
    talk.give(Exact(check="ground_drop", reading=volts(0.6)))
    talk.give(Exact(check="protect_light", reading=LIT))
    talk.give(Acknowledged())
    assert talk.check == "leak_to_chassis"
    asked = talk.give(heard("fifteen ohms", "fifty ohms"))
    assert isinstance(asked, AskConfirm)
    assert len(asked.candidates) == 2
    assert talk.state is State.CONTRASTING
    assert isinstance(talk.give(heard("yes")), AskConfirm)  # yes to which?
    talk.give(heard("one five ohms"))
    if talk.state is not State.CONCLUDED:
        talk.give(heard("yes"))
    assert talk.readings[-1] == ("leak_to_chassis", Value(value=15.0, unit="ohm"))


def test_open_words_are_asked_back(talk_on: type[Talk]) -> None:
    talk = talk_on("machine")
    asked = talk.give(Typed(text="twelve six"))
    assert isinstance(asked, AskConfirm)
    assert talk.readings == []


# --- two readings, other states ---------------------------------------------------------------


def test_two_readings_go_to_the_checks_of_their_vehicle_states(talk: Talk) -> None:
    talk.type("ready", "0.05 key on, 0.06 running")
    assert talk.readings == [("ground_drop", volts(0.05)), ("ground_drop_running", volts(0.06))]


def test_both_are_taken_back_together(talk: Talk) -> None:
    talk.type("ready", "0.05 key on, 0.06 running", "undo")
    assert talk.readings == []
    assert talk.check == "ground_drop"


def test_a_reading_for_another_state_goes_to_its_own_check(talk: Talk) -> None:
    asked = talk.type("ready", "0.05 with the engine running")
    assert talk.readings == [("ground_drop_running", volts(0.05))]
    assert "ground drop running: 0.05 V" in asked.say


def test_a_reading_for_a_state_that_no_check_has_is_asked_back(talk: Talk) -> None:
    asked = talk.type("ready", "0.05 while cranking")
    assert isinstance(asked, AskConfirm)
    talk.type("yes")
    assert talk.readings == [("ground_drop", volts(0.05))]


def test_two_readings_without_states_are_asked_which(talk: Talk) -> None:
    asked = talk.type("ready", "0.05 volts, 0.4 volts")
    assert isinstance(asked, AskConfirm)
    assert len(asked.candidates) == 2


# --- commands ------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["why", "status", "help", "safety"])
def test_questions_are_answered_and_leave_everything_as_it_was(talk: Talk, command: str) -> None:
    talk.type("ready")
    before = talk.dialogue.scene
    said = talk.type(command)
    assert isinstance(said, Say)
    assert said.say
    assert talk.dialogue.scene == before


def test_repeat_says_the_open_question_again(talk: Talk) -> None:
    first = talk.type("ready")
    assert talk.type("repeat").step == first.step


def test_slower_slows_this_and_what_follows(talk: Talk) -> None:
    assert talk.type("slower").slow
    assert talk.type("ready").slow


def test_undo_brings_back_the_check_as_it_stood(talk: Talk) -> None:
    first = talk.type("ready")
    talk.type("1.2")
    again = talk.type("undo")
    assert again.step == first.step
    assert again.say.startswith("Taken back: ground drop: 1.2 V.")
    assert talk.readings == []


def test_undo_of_nothing_is_refused_in_words(talk: Talk) -> None:
    assert isinstance(talk.type("undo"), Complain)
    with pytest.raises(GivenError):
        talk.give(Undo())


def test_back_keeps_the_answer_until_another_is_given(talk: Talk) -> None:
    talk.type("ready", "0.05")
    asked = talk.type("back")
    assert asked.step.check.id == "ground_drop"
    assert talk.readings == [("ground_drop", volts(0.05))]
    talk.type("skip")  # leaves the answer as it is
    assert talk.readings == [("ground_drop", volts(0.05))]
    talk.type("back", "0.06")
    assert talk.readings == [("ground_drop", volts(0.06))]


@pytest.mark.parametrize("words", ["correction 1.1", "no, 1.1", "no 1.1 volts"])
def test_a_correction_replaces_the_last_answer(talk: Talk, words: str) -> None:
    talk.type("ready", "0.05")
    assert talk.check == "protect_light"  # which takes no volts
    talk.type(words)
    assert talk.readings == [("ground_drop", volts(1.1))]


def test_a_correction_without_a_number_asks_for_it(talk: Talk) -> None:
    talk.type("ready", "0.05")
    asked = talk.type("correction")
    assert isinstance(asked, AskCheck)
    talk.type("1.1")
    assert talk.readings == [("ground_drop", volts(1.1))]


def test_a_correction_while_a_reading_is_confirmed(talk: Talk) -> None:
    talk.type("ready", "9.9", "correction 1.1")
    assert talk.readings == [("ground_drop", volts(1.1))]


def test_cannot_leaves_the_check_out_with_its_reason(talk: Talk) -> None:
    talk.type("ready", "can't reach it")
    step = talk.dialogue.diagnosis.steps[-1]
    assert (step.kind, step.check.id, step.note) == ("cannot", "ground_drop", "can't reach it")
    assert talk.check == "protect_light"


def test_wrong_units_and_nonsense_change_nothing(talk: Talk) -> None:
    talk.type("ready")
    before = talk.dialogue.scene
    for text in ("40 ohms", "the sky is blue", "lit", "yes"):
        assert isinstance(talk.type(text), Complain)
        assert talk.dialogue.scene == before


# --- parking -------------------------------------------------------------------------------


def test_silence_parks_without_a_word_and_more_silence_stays_quiet(talk: Talk) -> None:
    talk.type("ready")
    assert talk.give(Silence()) == Park()
    assert talk.give(Silence()) is None
    assert talk.state is State.PARKED


def test_a_parked_case_goes_on_where_it_was(talk: Talk) -> None:
    talk.type("ready")
    talk.give(Silence())
    talk.type("1.2")
    assert talk.readings == [("ground_drop", volts(1.2))]


def test_waking_words_answer_no_forgotten_question(talk: Talk) -> None:
    talk.give(Silence())
    asked = talk.type("yes")  # does not acknowledge the caution that was given long ago
    assert isinstance(asked, AskCaution)
    assert talk.state is State.CAUTIONING


@pytest.mark.parametrize("word", ["stop", "pause", "finish"])
def test_stop_parks_at_any_time(talk: Talk, word: str) -> None:
    assert isinstance(talk.type(word), Park)
    talk.type("hello", "ready")
    assert isinstance(talk.type(word), Park)


# --- after the verdict ---------------------------------------------------------------------


@pytest.fixture
def concluded(talk: Talk) -> Talk:
    talk.type("ready", "1.2")
    assert talk.state is State.CONCLUDED
    return talk


def test_the_first_failing_observation_is_repeated_after_the_repair(concluded: Talk) -> None:
    assert isinstance(concluded.type("done"), AskConfirm)
    concluded.type("yes")
    assert concluded.check == "ground_drop"
    concluded.type("ready")
    assert concluded.state is State.PROVING
    said = concluded.type("0.05 v")
    assert isinstance(said, GiveVerdict)
    assert "1.2 V" in said.say
    assert "0.05 V" in said.say
    assert concluded.dialogue.scene.settled


def test_the_same_answer_after_the_repair_means_looking_on(concluded: Talk) -> None:
    concluded.type("done", "yes", "ready", "1.18")
    assert not concluded.dialogue.scene.settled
    kinds = [s.kind for s in concluded.dialogue.diagnosis.steps]
    assert kinds == ["reading", "repaired", "reading"]


def test_a_proof_that_cannot_be_done_is_taken_on_the_users_word(concluded: Talk) -> None:
    concluded.type("it helped", "ready", "skip")
    assert concluded.dialogue.scene.settled


def test_no_goes_on_looking(concluded: Talk) -> None:
    said = concluded.type("it didn't help")
    assert "go on looking" in said.say
    assert concluded.dialogue.diagnosis.steps[-1].kind == "repaired"


def test_a_settled_case_can_be_taken_back_and_can_come_back(concluded: Talk) -> None:
    concluded.type("it helped", "ready", "0.05 v")
    assert concluded.dialogue.scene.settled
    concluded.type("undo")
    assert not concluded.dialogue.scene.settled
    concluded.give(Repaired(repair="remake_ground", fixed=True))
    concluded.type("no")
    steps = concluded.dialogue.diagnosis.steps
    assert [s.kind for s in steps] == ["reading", "repaired"]


def test_a_reading_after_the_verdict_needs_its_check(concluded: Talk) -> None:
    assert isinstance(concluded.type("0.4 volts"), Complain)
    concluded.give(Exact(check="leak_to_chassis", reading=LEAK_FREE))
    assert concluded.readings[-1] == ("leak_to_chassis", LEAK_FREE)


def test_close_gives_the_verdict_as_far_as_it_goes(talk: Talk) -> None:
    said = talk.give(Close())
    assert isinstance(said, GiveVerdict)
    assert not said.verdict.holds
    assert talk.state is State.CLOSED


# --- misuse and errors -----------------------------------------------------------------------


def test_events_out_of_place_are_refused_and_change_nothing(
    talk: Talk, fresh_dialogue: Callable[[], Dialogue]
) -> None:
    unopened = fresh_dialogue()
    with pytest.raises(MisuseError, match="No case"):
        unopened.handle(Typed(text="1.2"))
    opened = Opened(installation=Installation(), complaint=Complaint(symptom="protects"))
    before = talk.dialogue.scene
    with pytest.raises(MisuseError, match="open already"):
        talk.dialogue.handle(opened)
    assert talk.dialogue.scene == before
    talk.give(Close())
    for event in (opened, Typed(text="1"), Undo(), Close()):
        with pytest.raises(MisuseError, match="closed"):
            talk.dialogue.handle(event)


@pytest.mark.parametrize(
    "event",
    [
        Exact(check="no_such_check", reading=volts(1)),
        Exact(check="leak_to_chassis", reading=volts(1)),
        Exact(check="ground_drop", reading=volts(1e30)),
        CannotDo(check="no_such_check", why="x"),
        Repaired(repair="no_such_repair", fixed=True),
    ],
)
def test_what_cannot_be_used_is_refused_and_changes_nothing(talk: Talk, event: Given) -> None:
    talk.type("ready")
    before, steps = talk.dialogue.scene, talk.dialogue.diagnosis.steps
    with pytest.raises(GivenError):
        talk.dialogue.handle(event)
    assert talk.dialogue.scene == before
    assert talk.dialogue.diagnosis.steps == steps


def test_replayed_events_give_the_same_dialogue(
    talk: Talk, fresh_dialogue: Callable[[], Dialogue]
) -> None:
    talk.type("ready", "0.05", "blinking", "undo", "lit", "back", "off", "why", "ready")
    talk.give(Silence())
    talk.type("OL")
    again = fresh_dialogue()
    replay(again, talk.stored)
    assert again.scene == talk.dialogue.scene
    assert again.diagnosis.belief() == talk.dialogue.diagnosis.belief()
    assert again.present() == talk.dialogue.present()
