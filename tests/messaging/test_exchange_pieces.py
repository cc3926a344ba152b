"""Texts in pieces, about another car, and for another check; the wordings are our own."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from text_talk import Customer

from assistant.conversation.events import Close, Opened, Told
from assistant.knowledge import load
from assistant.knowledge.schema import Installation
from assistant.messaging.cars import named_car, other_car
from assistant.messaging.fragments import WHOLE, broken_off, glued, part_of, whole_of, without_end
from assistant.messaging.late import Elsewhere, clauses, elsewhere, recent, uncorrected
from assistant.readings.reading import OpenLine, Seen, Value

_CHECKS = load().checks(Installation())


# --- pieces --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "part", "whole", "rest"),
    [
        ("(1/2) 12.4", 1, 2, "12.4"),
        ("key on (2/2)", 2, 2, "key on"),
        ("( 3 / 3 )", 3, 3, ""),
        ("(1/2)\n12.4\nkey on", 1, 2, "12.4\nkey on"),
    ],
)
def test_marks_of_parts(text: str, part: int, whole: int, rest: str) -> None:
    found = part_of(text)
    assert found is not None
    assert (found.part, found.whole, found.text) == (part, whole, rest)


@pytest.mark.parametrize("text", ["1/2", "1/2 volt", "(3/2) x", "(0/2) x", "12.4 (about)", ""])
def test_what_is_no_part(text: str) -> None:
    assert part_of(text) is None


@given(st.lists(st.sampled_from(["amp", "cuts", "out", "12.4", "key on"]), min_size=2, max_size=9))
def test_parts_come_together_in_any_order(words: list[str]) -> None:
    count = len(words)
    parts = {WHOLE: str(count)}
    for number, word in reversed(list(enumerate(words, start=1))):
        assert whole_of(parts) is None
        found = part_of(f"({number}/{count}) {word}")
        assert found is not None
        parts[found.part] = found.text
    assert whole_of(parts) == " ".join(words)


@pytest.mark.parametrize("text", ["12.", "its 12,", "12.4 key on and", "12.4,", "12.4 with the"])
def test_what_breaks_off(text: str) -> None:
    assert broken_off(text, reading=True)
    assert not broken_off(text, reading=False)


@pytest.mark.parametrize("text", ["12.4", "12.4.", "12.4 key on.", "OL", "no sound", "1.2.", ""])
def test_what_does_not_break_off(text: str) -> None:
    assert not broken_off(text, reading=True)


@given(st.integers(0, 999), st.integers(0, 999))
def test_a_number_that_broke_at_its_point_is_one_number(whole: int, digits: int) -> None:
    assert glued(f"{whole}.", f"{digits} key on") == f"{whole}.{digits} key on"
    assert glued(f"{whole}.", f"{whole}.{digits}") == f"{whole}.{digits}"


@given(st.text(alphabet="ab 1", max_size=20), st.text(alphabet="ab 1", max_size=20))
def test_other_pieces_get_a_space(first: str, rest: str) -> None:
    assume(first.strip() and rest.strip())
    assert glued(first, rest) == f"{first.strip()} {rest.strip()}"


def test_what_was_all_loses_its_end() -> None:
    assert without_end("its 12.") == "its 12"
    assert without_end("12.4 key on and") == "12.4 key on"


# --- cars ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "number", "rest"),
    [
        ("car 2", 2, ""),
        ("Car #1", 1, ""),
        ("truck 2: 12.4", 2, "12.4"),
        ("its about car 2, no sound", 2, "no sound"),
    ],
)
def test_a_car_by_its_number(text: str, number: int, rest: str) -> None:
    assert named_car(text) == (number, rest)


@pytest.mark.parametrize("text", ["car 12.4", "car is running", "12.4 car 2", "car 2.5", "car"])
def test_no_car_by_its_number(text: str) -> None:
    assert named_car(text) is None


@pytest.mark.parametrize(
    ("text", "new", "rest"),
    [
        ("other car", False, ""),
        ("new car", True, ""),
        ("hey its about my other truck: no sound", False, "no sound"),
        ("another car, amp goes into protect", True, "amp goes into protect"),
        ("a different one", True, ""),
    ],
)
def test_another_car(text: str, new: bool, rest: str) -> None:
    assert other_car(text) == (new, rest)


@pytest.mark.parametrize("text", ["the car", "12.4", "it does not on my other truck", "new fuse"])
def test_no_other_car(text: str) -> None:
    assert other_car(text) is None


# --- other checks ----------------------------------------------------------------------------


def _volts(value: float) -> Value:
    return Value(value=value, unit="V")


def test_a_named_part_that_was_asked_is_sure() -> None:
    found = elsewhere(
        "the remote is 11.9", _CHECKS["amp_supply"], ("remote_at_amp", "amp_supply"), _CHECKS
    )
    told = Told(check="remote_at_amp", reading=_volts(11.9))
    assert found == Elsewhere(told=(told,), sure=True)


def test_a_named_part_that_was_not_asked_is_asked() -> None:
    found = elsewhere("remote 11.9", _CHECKS["amp_supply"], ("amp_supply",), _CHECKS)
    assert found is not None
    assert not found.sure
    assert all(_CHECKS[told.check].do.red.endswith("remote") for told in found.told)


def test_the_open_part_is_no_other() -> None:
    assert elsewhere("remote 11.9", _CHECKS["remote_at_amp"], (), _CHECKS) is None
    assert elsewhere("12.6", _CHECKS["amp_supply"], ("remote_at_amp",), _CHECKS) is None


def test_the_state_tells_checks_apart() -> None:
    asked = ("remote_at_amp", "remote_running", "amp_supply")
    found = elsewhere("remote 11.9 engine running", _CHECKS["amp_supply"], asked, _CHECKS)
    assert found is not None
    assert [told.check for told in found.told] == ["remote_running"]


def test_loud_music_tells_checks_apart() -> None:
    found = elsewhere("9.6 when its loud", _CHECKS["amp_supply"], ("amp_supply",), _CHECKS)
    told = Told(check="amp_supply_loud", reading=_volts(9.6))
    assert found == Elsewhere(told=(told,), sure=True)
    assert elsewhere("9.6 loud", _CHECKS["amp_supply_loud"], (), _CHECKS) is None


def test_the_speaker_tells_checks_apart() -> None:
    asked = ("load_ohms.front_left", "load_ohms.rear_left", "amp_supply")
    found = elsewhere("rear left OL", _CHECKS["amp_supply"], asked, _CHECKS)
    assert found is not None
    assert found.told == (Told(check="load_ohms.rear_left", reading=OpenLine()),)


def test_what_was_asked_last_comes_first() -> None:
    asked = ("protect_light", "amp_supply", "power_light", "ground_drop")
    found = recent("blinking", _CHECKS["ground_drop"], asked, _CHECKS)
    blinking = Seen(state="blinking")
    assert found == (
        Told(check="power_light", reading=blinking),
        Told(check="protect_light", reading=blinking),
    )


@pytest.mark.parametrize(
    ("text", "rest"),
    [("sorry meant 12.1", "12.1"), ("oops, i meant 12.1", "12.1"), ("no, 12.1", "12.1"),
     ("no 12.1", "12.1"), ("no it was 12.1", "12.1"), ("no beep", "no beep"),
     ("no sound at all", "no sound at all"), ("no", "no"),
     ("12.1", "12.1"), ("nothing", "nothing")],
)  # fmt: skip
def test_words_of_correcting(text: str, rest: str) -> None:
    assert uncorrected(text) == rest


def test_clauses() -> None:
    assert clauses("12.6, and the remote is 11.9") == ("12.6", "the remote is 11.9")
    assert clauses("12,6 key on") == ("12,6 key on",)


# --- what is kept of a number ------------------------------------------------------------------


def _with_case() -> Customer:
    customer = Customer(order=("amp_supply", "ground_drop"))
    for text in ("amp goes into protect, always", "1", "4 channel", "go", "12.6"):
        customer.text(text)
    return customer


def test_a_number_whose_memory_is_lost_goes_on_with_its_case() -> None:
    customer = _with_case()
    customer.thread = replace(customer.thread, memory="lost")
    assert "Noted: 40 mV" in customer.text("40 mV").replies[0]
    assert customer.readings() == {"amp_supply": "12.6 V", "ground_drop": "40 mV"}


def test_a_case_that_was_closed_at_the_shop_is_asked_about() -> None:
    customer = _with_case()
    customer.dialogue.handle(Close())
    customer.thread = replace(customer.thread, memory="lost")
    assert "3 = another car" in customer.text("its back").replies[0]
    outcome = customer.text("1")
    opened = outcome.events[0].entry.event
    assert isinstance(opened, Opened)
    assert opened.installation.amplifier.channels == 4
    assert opened.complaint.symptom == "protects"


def test_pictures_for_a_closed_case_ask_nothing() -> None:
    customer = _with_case()
    customer.dialogue.handle(Close())
    assert "case is closed" in " ".join(customer.text("", media=True).replies)


def test_events_carry_the_message_and_the_time() -> None:
    customer = _with_case()
    rows = customer.kept.events[customer.thread.case_id or ""]
    assert [row.sequence for row in rows] == list(range(len(rows)))
    assert rows[0].key == "SM0004/0"
    assert rows[-1].key is not None
    assert rows[-1].key.startswith("SM0005/")
    assert all(row.at.startswith("2026-03-02T10:00:") for row in rows)


def test_a_case_has_the_worlds_and_the_seed_of_the_shop() -> None:
    customer = _with_case()
    opened = customer.kept.events[customer.thread.case_id or ""][0].event
    assert isinstance(opened, Opened)
    assert (opened.seed, opened.worlds, opened.channel) == (7, 1500, "text")
