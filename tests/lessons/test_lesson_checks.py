"""Words to checks and repairs: fuzzy on words, never on numbers or sides."""

from __future__ import annotations

import contextlib
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import GivenError
from assistant.lessons.checks import GROUPS, likeness
from assistant.lessons.events import (
    AskList,
    AskRepairs,
    Event,
    GiveUp,
    Go,
    Pick,
    RepairNamed,
)
from assistant.lessons.lesson import Lesson
from assistant.lessons.plan import plan_lesson
from assistant.lessons.typed import COMMANDS, event_of_words

COUPE = Lesson(plan_lesson(3, kind="coupe_five"), worlds=2000)
VAN = Lesson(plan_lesson(1, kind="van_mono"), worlds=2000)


@pytest.mark.parametrize(
    ("said", "check"),
    [
        ("amp supply running", "amp_supply_running"),
        ("Amplifier supply, running!", "amp_supply_running"),
        ("amp suply runing", "amp_supply_running"),
        ("ground drop", "ground_drop"),
        ("pwoer light", "power_light"),
        ("sound rear left", "sound.rear_left"),
        ("load_ohms.sub", "load_ohms.sub"),
        ("battery voltage at rest", "battery_at_rest"),
    ],
)
def test_words_choose_a_check(said: str, check: str) -> None:
    assert event_of_words(said, COUPE) == Pick(check=check)


def test_words_that_may_mean_several_are_asked_back() -> None:
    event = event_of_words("sub ohms", COUPE)
    assert event == AskList(find="sub ohms")
    found = {entry.check.id for entry in COUPE.checks.find("sub ohms")}
    assert {"load_ohms.sub", "coil_ohms.sub"} <= found


def test_words_that_are_only_near_never_do_a_check() -> None:
    assert COUPE.checks.meant("ground drop loud") is None
    assert "ground_drop" in {entry.check.id for entry in COUPE.checks.find("ground drop loud")}


def test_numbers_and_sides_are_never_matched_by_likeness() -> None:
    assert all(entry.check.position == "sub_2" for entry in VAN.checks.find("sub 2 coil ohms"))
    assert all(entry.check.position != "sub_2" for entry in VAN.checks.find("sub coil ohms"))
    assert VAN.checks.find("sub 3 coil ohms") == ()
    left = COUPE.checks.find("rear left ohms")
    assert left
    assert {entry.check.position for entry in left} == {"rear_left"}


@pytest.mark.parametrize("said", ["0", "9999", "3.5", "12,6", "-4", "1 2", "¹²"])
def test_a_number_that_is_not_in_the_list_does_nothing(said: str) -> None:
    with pytest.raises(GivenError) as refused:
        COUPE.handle(event_of_words(said, COUPE))
    assert refused.value.next_step
    assert COUPE.turns == ()


def test_numbers_choose_exactly() -> None:
    for entry in COUPE.checks.entries[::17]:
        assert event_of_words(f" {entry.number} ", COUPE) == Pick(check=entry.check.id)
    third = COUPE.numbered_repairs()[2][1].id
    assert event_of_words("repair 3", COUPE) == RepairNamed(repair=third)


@pytest.mark.parametrize(
    ("said", "repair"),
    [
        ("repair remake ground", "remake_ground"),
        ("repair send amplifier in", "send_amplifier_in"),
        ("repair remake_ground", "remake_ground"),
    ],
)
def test_words_choose_a_repair(said: str, repair: str) -> None:
    assert event_of_words(said, COUPE) == RepairNamed(repair=repair)


def test_a_repair_that_may_be_several_is_asked_back() -> None:
    assert event_of_words("repair main fuse", COUPE) == AskRepairs(find="main fuse")
    found = {repair.id for _, repair in COUPE.find_repairs("main fuse")}
    assert found == {"renew_main_fuse", "tighten_main_fuse"}


def test_commands_are_read() -> None:
    assert event_of_words("GO", COUPE) == Go()
    assert event_of_words("give up.", COUPE) == GiveUp()
    assert event_of_words("list fuse", COUPE) == AskList(group="fuse")
    assert event_of_words("fuse", COUPE) == AskList(group="fuse")
    assert {word.split()[0] for word, _ in COMMANDS} > {"go", "off", "hint", "notes", "repair"}


def test_every_place_has_checks_and_the_right_ones() -> None:
    for lesson in (COUPE, VAN):
        assert all(lesson.checks.of_group(group) for group in GROUPS)
    group_of = {entry.check.id: entry.group for entry in COUPE.checks.entries}
    assert group_of["battery_at_rest"] == "battery"
    assert group_of["fuse_drop"] == "fuse"
    assert group_of["amp_supply_running"] == "amplifier"
    assert group_of["remote_at_amp"] == "remote"
    assert group_of["load_ohms.sub"] == "speakers"
    assert group_of["signal_short.front"] == "signal"


def test_likeness_of_a_name_with_itself_is_whole() -> None:
    for entry in COUPE.checks.entries:
        score, whole = likeness(entry.check.name, [entry.check.name])
        assert score == pytest.approx(100.0)
        assert whole


@settings(max_examples=60, deadline=None)
@given(st.one_of(st.text(max_size=60), st.from_regex(r"(repair|find|list) .{0,30}")))
def test_no_words_do_harm(said: str) -> None:
    with contextlib.suppress(GivenError):  # no other error comes
        event = event_of_words(said, COUPE)
        assert isinstance(event, get_args(Event))
