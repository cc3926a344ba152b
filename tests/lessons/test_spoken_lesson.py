"""A lesson by voice: nothing is done that was not read back, and what is not sure is asked."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.conversation.events import Alternative, Heard
from assistant.lessons.aloud import PAGE, place_name, repair_name, sentence
from assistant.lessons.checks import GROUPS
from assistant.lessons.events import Answered, Cautioned, GivenUp, Hinted, RepairDone, SwitchedOff
from assistant.lessons.lesson import Lesson
from assistant.lessons.narrowing import SORTS, fitting, fitting_repairs, sort_of_check
from assistant.lessons.plan import KIND_WORDS, plan_lesson
from assistant.lessons.spoken import Reply, SpokenLesson
from assistant.lessons.vocabulary import Wish
from assistant.readings.grammarfile import load_file
from assistant.readings.number_words import digit_words
from assistant.reports.phrases import complaint_words

OTHER = "[other words]"


def spoken_lesson(kind: str = "van_mono") -> SpokenLesson:
    """The van of seed 3 has an open main fuse."""
    return SpokenLesson(Lesson(plan_lesson(3, kind=kind), worlds=500), complaint_words)


def heard(*texts: str, margin: float = 0.0) -> Heard:
    """What an ear heard: the first best, each further one ``margin`` behind the one before."""
    return Heard(
        alternatives=tuple(
            Alternative(text=text, weight=math.exp(-margin * at)) for at, text in enumerate(texts)
        )
    )


def tell(spoken: SpokenLesson, *texts: str) -> Reply:
    reply = Reply(say="")
    for text in texts:
        reply = spoken.handle(heard(text))
    return reply


# --- from a name to its reading ------------------------------------------------------------


def test_it_opens_with_what_the_customer_says() -> None:
    said = spoken_lesson().opening().say
    assert said.startswith("The customer says: The amplifier will not turn on")
    assert "Which check?" in said


def test_a_check_is_read_back_with_its_cautions_and_done_when_told() -> None:
    spoken = spoken_lesson()
    asked = tell(spoken, "drop across the main fuse")
    assert isinstance(asked.action, Cautioned)
    assert asked.careful
    assert asked.say.startswith("Drop across the main fuse. Key on, music loud.")
    assert "How many volts?" not in asked.say
    assert "never let a probe or tool bridge" in asked.say
    assert asked.say.endswith("Ready?")
    assert spoken.lesson.turns == ()
    done = tell(spoken, "do it")
    assert isinstance(done.action, Answered)
    assert done.say.startswith("Drop across the main fuse: twelve point")
    assert [turn.id for turn in spoken.lesson.turns] == ["fuse_drop"]


def test_cautions_that_were_heard_once_are_not_said_again() -> None:
    spoken = spoken_lesson()
    tell(spoken, "drop across the main fuse", "do it")
    asked = tell(spoken, "fuse drop music quiet")
    assert asked.say == "Drop across the main fuse, music quiet. Ready?"
    assert asked.action is None
    assert not asked.careful


def test_another_name_takes_the_place_of_the_one_that_waits() -> None:
    spoken = spoken_lesson()
    tell(spoken, "drop across the main fuse", "supply voltage at the amplifier", "go ahead")
    assert [turn.id for turn in spoken.lesson.turns] == ["amp_supply"]


def test_no_drops_what_waits() -> None:
    spoken = spoken_lesson()
    assert tell(spoken, "drop across the main fuse", "no").say == "Not done. Which check?"
    assert tell(spoken, "do it").say.startswith("Nothing waits.")
    assert tell(spoken, "no").say.startswith("Nothing waits.")
    assert spoken.lesson.turns == ()


def test_going_at_a_live_circuit_is_said_to_the_end() -> None:
    spoken = spoken_lesson()
    tell(spoken, "supply voltage at the amplifier engine running", "do it")
    done = tell(spoken, "sub line ohms", "do it")
    assert "The circuit was still on." in done.say
    assert done.careful


def test_everything_off_is_done_at_once_and_told() -> None:
    reply = tell(spoken_lesson(), "switch everything off")
    assert isinstance(reply.action, SwitchedOff)
    assert reply.say == "Everything is off."


# --- lists ---------------------------------------------------------------------------------


def test_a_place_reads_out_its_checks_and_a_number_takes_one() -> None:
    spoken = spoken_lesson()
    listed = tell(spoken, "main fuse")
    assert " checks. Number one: voltage on the battery side" in listed.say
    assert "Number four: drop across the main fuse." in listed.say
    assert tell(spoken, "number four").say.startswith("Drop across the main fuse.")


def test_a_long_list_is_counted_first_and_narrowed() -> None:
    spoken = spoken_lesson("coupe_five")
    counted = tell(spoken, "speakers")
    assert "Say a speaker: front left, front right, rear left, rear right, sub" in counted.say
    assert "Number one" not in counted.say
    assert tell(spoken, "number one").say.startswith("There is no number one here.")
    of_one = tell(spoken, "front left")
    assert re.search(r"Say one of voltage \d, ohms \d, light \d, sound \d; or go on", of_one.say)
    ohms = tell(spoken, "ohms")
    assert " checks. Number one: ohms of the front left speaker line" in ohms.say
    assert "front right" not in ohms.say


def test_what_was_counted_can_be_heard_whole() -> None:
    spoken = spoken_lesson()
    tell(spoken, "amplifier")
    first = tell(spoken, "go on")
    assert first.say.startswith("Number one: ripple at the amplifier.")
    second = tell(spoken, "go on")
    assert second.say.startswith("Number one: ")
    assert second.say != first.say
    whole = len(spoken.lesson.checks.of_group("amplifier"))
    for _ in range(math.ceil(whole / PAGE)):
        last = tell(spoken, "go on")
    assert last.say == "That was all. Which number?"


def test_one_check_that_is_left_is_read_back_at_once() -> None:
    spoken = spoken_lesson()
    left = fitting(spoken.lesson.checks.entries, Wish(kind="narrow", sort="ohms", place="remote"))
    assert [entry.check.id for entry in left] == ["remote_lead_continuity"]
    assert tell(spoken, "ohms of the remote").say.startswith("Remote lead from end to end.")


def test_a_sort_that_a_place_has_none_of_is_said() -> None:
    assert tell(spoken_lesson(), "sound at the battery").say.startswith("This car has no such")


@pytest.mark.parametrize("kind", sorted(KIND_WORDS))
def test_every_check_can_be_chosen_by_place_and_number(kind: str) -> None:
    spoken, chosen = spoken_lesson(kind), set()
    for place in load_file("lesson").lists["place"]:
        spoken_place = place_name(place)
        tell(spoken, f"the {spoken_place}")
        entries = spoken.lesson.checks.of_group(place)
        if "Number one" not in spoken.handle(heard("repeat")).say:
            tell(spoken, "go on")
        for at, entry in enumerate(entries):
            if at and at % PAGE == 0:
                tell(spoken, "go on")
            reply = tell(spoken, f"number {digit_words()[at % PAGE + 1]}")
            assert reply.say.startswith(f"{sentence(entry.check.name)}.")
            chosen.add(entry.check.id)
            tell(spoken, "no")
    assert chosen == {entry.check.id for entry in spoken.lesson.checks.entries}
    assert spoken.lesson.turns == ()


def test_repairs_are_read_out_and_chosen_by_number() -> None:
    spoken = spoken_lesson()
    assert " repairs. Number one: renew battery." in tell(spoken, "list repairs").say
    tell(spoken, "go on")
    assert tell(spoken, "number three").say.startswith("Repair: Move or clean")
    tell(spoken, "list the repairs for the main fuse")
    assert tell(spoken, "number two").say.startswith("Repair: Clean and tighten the main fuse")


def test_every_repair_is_at_some_place() -> None:
    repairs = spoken_lesson("coupe_five").lesson.repairs.values()
    at = {
        repair.id
        for place in GROUPS
        for repair in fitting_repairs(repairs, Wish(kind="repairs", place=place))
    }
    assert at == {repair.id for repair in repairs}


def test_the_sorts_of_measurement_are_those_of_the_grammar() -> None:
    assert set(SORTS) == set(load_file("lesson").lists["kind"])
    checks = [entry.check for entry in spoken_lesson("coupe_five").lesson.checks.entries]
    assert {sort_of_check(check) for check in checks} == {*SORTS, ""}


# --- what is not sure ----------------------------------------------------------------------


def test_two_names_that_are_close_are_asked_back() -> None:
    spoken = spoken_lesson()
    asked = spoken.handle(
        heard("drop across the main fuse", "drop across the main fuse music quiet", margin=1.0)
    )
    assert asked.say.startswith("Which one? Number one: drop across the main fuse. Number two: ")
    assert tell(spoken, "number two", "do it").say.startswith("Drop across the main fuse, music")
    assert [turn.id for turn in spoken.lesson.turns] == ["fuse_drop_idle"]


def test_two_phrases_of_one_meaning_are_no_doubt() -> None:
    reply = spoken_lesson().handle(heard("fuse drop", "drop across the main fuse", margin=0.5))
    assert reply.say.startswith("Drop across the main fuse.")


def test_a_name_that_is_far_ahead_is_read_back_alone() -> None:
    reply = spoken_lesson().handle(heard("fuse drop", "ground drop", margin=4.0))
    assert reply.say.startswith("Drop across the main fuse.")


@pytest.mark.parametrize("rival", [OTHER, "no", "number two", "main fuse", "undo"])
def test_a_yes_that_is_not_clear_does_nothing(rival: str) -> None:
    spoken = spoken_lesson()
    tell(spoken, "drop across the main fuse")
    asked = spoken.handle(heard("yes", rival, margin=2.0))
    assert asked.say == "I did not get that. Do it, or no?"
    assert spoken.lesson.turns == ()
    assert tell(spoken, "yes").say.startswith("Drop across the main fuse: ")


def test_other_words_are_asked_twice_and_then_passed_over() -> None:
    spoken = spoken_lesson()
    said = [tell(spoken, OTHER).say for _ in range(4)]
    assert said == ["I did not get that. Say it again, or say help."] * 2 + ["", ""]
    tell(spoken, "main fuse")
    assert tell(spoken, OTHER).say
    assert spoken.handle(Heard(alternatives=())).say


# --- orders --------------------------------------------------------------------------------


def test_repeat_and_slower_say_the_last_once_more() -> None:
    spoken = spoken_lesson()
    first = tell(spoken, "drop across the main fuse")
    again = tell(spoken, "repeat")
    assert (again.say, again.careful, again.slow) == (first.say, True, False)
    assert tell(spoken, "slower") == Reply(say=first.say, careful=True, slow=True)
    assert tell(spoken, "main fuse").slow


def test_undo_drops_what_waits_but_takes_no_minutes_back() -> None:
    spoken = spoken_lesson()
    tell(spoken, "drop across the main fuse")
    assert tell(spoken, "undo").say == "Not done. Which check?"
    assert "the minutes are spent" in tell(spoken, "undo").say


def test_safety_says_the_cautions_of_the_check_at_hand() -> None:
    spoken = spoken_lesson()
    assert tell(spoken, "safety").say.startswith("No check is chosen.")
    tell(spoken, "drop across the main fuse", "do it")
    told = tell(spoken, "safety")
    assert told.careful
    assert "never let a probe or tool bridge" in told.say
    tell(spoken, "sub line ohms")
    assert "Everything off before you measure ohms." in tell(spoken, "is it safe").say


def test_a_hint_is_told_and_can_be_taken() -> None:
    spoken = spoken_lesson()
    hint = tell(spoken, "what do you think")
    assert isinstance(hint.action, Hinted)
    assert hint.say.startswith("I would check: ")
    name = hint.say.removeprefix("I would check: ").partition(". Number one to take it.")[0]
    assert tell(spoken, "number one").say.startswith(f"{sentence(name)}.")
    assert spoken.lesson.hints == 1


def test_a_hint_to_repair_can_be_taken() -> None:
    spoken = spoken_lesson()
    tell(spoken, "drop across the main fuse", "do it", "voltage behind the main fuse", "do it")
    for _ in range(12):
        hint = tell(spoken, "a hint")
        if hint.say.startswith("I would repair now."):
            break
        tell(spoken, "number one", "do it")
    assert hint.say.startswith("I would repair now.")
    assert tell(spoken, "number one").say.startswith("Repair: Find out why it blew")


def test_notes_are_read_out_and_leave_what_waits() -> None:
    spoken = spoken_lesson()
    assert tell(spoken, "my notes").say == "Nothing was measured yet."
    tell(spoken, "drop across the main fuse", "do it", "supply voltage at the amplifier")
    assert "Drop across the main fuse: twelve point" in tell(spoken, "what did i measure").say
    assert tell(spoken, "do it").say.startswith("Supply voltage at the amplifier: ")


def test_help_is_said() -> None:
    assert "the main fuse is open" in tell(spoken_lesson(), "help").say


# --- the end -------------------------------------------------------------------------------


def test_a_repair_in_vain_brings_the_customer_back() -> None:
    spoken = spoken_lesson()
    done = tell(spoken, "the ground is bad", "do it")
    assert isinstance(done.action, RepairDone)
    assert done.say.startswith("That did not help. The customer says: ")
    assert not spoken.over


def test_the_fault_named_right_ends_the_lesson() -> None:
    spoken = spoken_lesson()
    asked = tell(spoken, "the main fuse is open")
    assert asked.say.startswith("Repair: Find out why it blew")
    assert "6 minutes" in asked.say
    assert tell(spoken, "go ahead").say == "The trouble is gone."
    assert spoken.over
    assert spoken.lesson.right


def test_giving_up_and_leaving_are_asked_back() -> None:
    spoken = spoken_lesson()
    assert tell(spoken, "i give up").say == "Give up and be told the fault? Yes or no."
    tell(spoken, "no")
    assert not spoken.over
    given = tell(spoken, "i give up", "yes")
    assert isinstance(given.action, GivenUp)
    assert given.say == "It was this: the main fuse is open."
    other = spoken_lesson()
    assert tell(other, "stop", "no").say == "Not done. Which check?"
    assert tell(other, "stop", "yes").say == "Left before the end."
    assert other.over
    assert not other.lesson.ended


# --- whatever is said ----------------------------------------------------------------------

_COUPE = spoken_lesson("coupe_five")
SAID = st.sampled_from(
    [
        *(entry.check.name.replace(",", "") for entry in _COUPE.lesson.checks.entries[::7]),
        *(repair_name(repair) for repair in list(_COUPE.lesson.repairs.values())[::9]),
        *("main fuse", "amplifier", "speakers", "front left", "ohms", "list", "list repairs"),
        *("number one", "number five", "go on", "a hint", "my notes", "everything off", "undo"),
        *("repeat", "slower", "safety", "help", "no", "i give up", "stop", OTHER, "purple"),
    ]
)


@settings(max_examples=25, deadline=None)
@given(st.lists(SAID, max_size=12))
def test_without_a_yes_no_minute_is_spent_but_on_switching_off(said: list[str]) -> None:
    spoken = SpokenLesson(Lesson(_COUPE.lesson.plan, worlds=500), complaint_words)
    for text in said:
        tell(spoken, text)
        assert not spoken.over
    assert {turn.kind for turn in spoken.lesson.turns} <= {"off"}


@settings(max_examples=25, deadline=None)
@given(st.lists(st.one_of(SAID, st.just("do it")), max_size=12))
def test_what_is_done_was_read_back_just_before(said: list[str]) -> None:
    spoken = SpokenLesson(Lesson(_COUPE.lesson.plan, worlds=500), complaint_words)
    asked = ""
    for text in said:
        turns = len(spoken.lesson.turns)
        reply = tell(spoken, text)
        for turn in spoken.lesson.turns[turns:]:
            assert turn.kind == "off" or sentence(turn.name) in asked
        if spoken.over:
            return
        asked = reply.say if "Ready?" in reply.say else asked
