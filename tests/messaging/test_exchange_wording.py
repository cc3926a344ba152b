"""What is sent: every check, verdict and term, and that no reserved word is ever asked for.

Outside: the carriers' and the law's words as in the tests of reserved words.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import Final

import pytest

import assistant.messaging
from assistant.conversation.lexicon import lexicon_for
from assistant.conversation.phrases import load_phrases
from assistant.conversation.wording import Wording
from assistant.diagnosis.records import Expectation, NextCheck, RepairOption, Verdict
from assistant.knowledge import load
from assistant.knowledge.schema import POSITIONS, Check, Installation
from assistant.messaging.bring import load_bring
from assistant.messaging.memory import CaseNote, Draft, Memory, Question, recall
from assistant.messaging.records import Thread
from assistant.messaging.reserved import load_reserved, reserved
from assistant.messaging.segments import bodies, plain, segments
from assistant.messaging.terms import asked_about, hints_for, load_terms, named_in
from assistant.messaging.texts import load_texts, means, say
from assistant.messaging.wording import (
    answers_of,
    check_text,
    prompt_of,
    reply_of,
    selectable,
    verdict_text,
)
from assistant.readings.reading import SEEN_ANSWERS, OpenLine, Value

_FULL = Installation.model_validate(
    {
        "speakers": {position: {} for position in POSITIONS},
        "source": {"kind": "factory_with_converter"},
        "supply": {"second_battery": {"joined": "charge_relay"}},
    }
)
_CHECKS = load().checks(_FULL)
_REPAIRS = load().repairs(_FULL)
_WORDING = Wording("text", lexicon_for(_FULL))
_HOUSE: Final = Path(assistant.messaging.__file__).parent
_ASKED = re.compile(r"'([^']+)'|(?:Reply|Text|text|reply) ([A-Za-z ]+?)(?= or |[.,]|$)|= ([^,.]+)")


def _step(check: Check) -> NextCheck:
    expect = Expectation(low=None, high=None, unit=None)
    return NextCheck(check=check, minutes=1.0, bits=0.1, expect=expect, cautions=check.cautions)


def _asked_words(text: str) -> list[str]:
    """Give the words that a text asks to be answered with."""
    return [word.strip() for hit in _ASKED.finditer(text) for word in hit.groups() if word]


@pytest.mark.parametrize("name", _CHECKS)
def test_a_check_says_where_and_what_to_reply(name: str) -> None:
    check = _CHECKS[name]
    text, used = check_text(_step(check), lead="Noted: 12.6 V.", known=())
    assert segments(plain(text)) <= 2
    assert set(used) <= {term.name for term in load_terms()}
    assert prompt_of(check).rstrip("?.")[:30] in text
    assert reply_of(check) in text
    if not answers_of(check):
        assert "eply" in text
        assert "meter" in text.casefold() or check.do.quantity != "dc_voltage"


@pytest.mark.parametrize("name", _CHECKS)
def test_a_check_with_all_its_cautions_takes_three_messages_at_most(name: str) -> None:
    check = _CHECKS[name]
    ids = ("procedures_first", *check.cautions)
    cautions = [_WORDING.lexicon.caution(c) for c in ids]
    text, _ = check_text(_step(check), lead="Noted: 12.6 V.", cautions=cautions)
    made = bodies(text)
    assert len(made) <= 3
    assert all(segments(body) <= 2 for body in made)
    assert all(caution in text for caution in cautions)
    assert reply_of(check) in text


@pytest.mark.parametrize("name", _CHECKS)
def test_a_check_asks_for_no_reserved_word(name: str) -> None:
    check = _CHECKS[name]
    text = f"{prompt_of(check)} {reply_of(check)}"
    for word in (*_asked_words(text), *load_texts().answers.get(check.do.quantity, {}).values()):
        assert reserved(word) is None, (word, text)
    assert not re.search(r"(?i)\b(yes|y or n)\b", text)


def test_no_sentence_asks_for_a_reserved_word() -> None:
    for key, sentence in load_texts().sentences.items():
        if key in {"help", "greeting"}:
            continue
        assert not any(reserved(word) for word in _asked_words(sentence)), key
        capitals = set(re.findall(r"\b[A-Z]{3,}\b", sentence))
        assert not any(reserved(word) for word in capitals), key


def test_no_word_of_the_dialogue_on_a_text_channel_is_reserved() -> None:
    file = load_phrases()
    words = {**file.words, **file.words_for_text}
    assert not [word for word in words.values() if reserved(word)]
    assert set(file.words_for_text) == {k for k, word in file.words.items() if reserved(word)}


def test_wordings_hold_only_words_that_may_be_reserved_where_they_mean_the_same() -> None:
    reserved_words = load_reserved().words
    for key, wordings in load_texts().wordings.items():
        if key != "understood":
            assert not set(wordings) & reserved_words, key


@pytest.mark.parametrize("name", _REPAIRS)
@pytest.mark.parametrize("holds", [True, False])
def test_a_verdict_tells_all_in_three_messages(name: str, holds: bool) -> None:
    repair = _REPAIRS[name]
    verdict = Verdict(
        repair=name,
        probability=0.9 if holds else 0.3,
        faults=(),
        order=(RepairOption(repair=name, probability=0.9, minutes=repair.minutes),),
        evidence=(),
        reply="",
        surer="" if holds else "It would be surer after: supply voltage at the amplifier.",
        holds=holds,
    )
    text = verdict_text(verdict, _WORDING, no_meter=not holds)
    made = bodies(text)
    assert len(made) <= 3
    assert all(segments(body) <= 2 for body in made)
    said = " ".join(made)
    assert plain(repair.customer) in said
    assert plain(repair.words) in said
    assert "bring" in said
    assert "1 = fixed, 2 = not fixed" in said
    assert "minutes" in said
    assert ("most likely" in said) is not holds or "most likely cause" in said


def test_every_repair_says_what_to_bring_and_only_known_cautions() -> None:
    assert {name.partition(".")[0] for name in _REPAIRS} == set(load_bring())
    assert {c for entry in load_bring().values() for c in entry.cautions} <= set(load().cautions)


def test_terms_are_told_apart() -> None:
    words = [word for term in load_terms() for word in term.words]
    assert len(words) == len(set(words))
    for term in load_terms():
        assert segments(plain(say("term", name=term.name, text=term.text))) <= 2
        for word in term.words:
            assert named_in(f"the {word}?")[0] == term
            assert asked_about(f"which one is the {word}?") == term


def test_every_place_of_a_probe_is_a_term() -> None:
    for check in _CHECKS.values():
        for node in filter(None, (check.do.red, check.do.black)):
            if not node.startswith(("sound.", "noise.")):
                assert any(term.at(node) for term in load_terms()), node


def test_what_always_waits_elsewhere_waits_by_text_too() -> None:
    assert load_phrases().always_acknowledge <= load_texts().confirm <= set(load().cautions)


def test_hints_come_once() -> None:
    check = _CHECKS["remote_at_amp"]
    first = hints_for(check, ())
    assert [term.name for term in first] == ["Remote", "Amp ground terminal"]
    assert hints_for(check, ("Remote", "Amp ground terminal")) == ()


@pytest.mark.parametrize("text", ["the remote is 11.9", "12.6", "remote", "is it 12.6?"])
def test_what_asks_nothing(text: str) -> None:
    assert asked_about(text) is None


def test_numbers_of_choices_never_look_like_the_readings() -> None:
    volts = [Value(value=v, unit="V") for v in (12.6, 126.0)]
    assert selectable(volts) == ("1", "2", "3")
    assert selectable([Value(value=1.0, unit="V"), Value(value=10.0, unit="V")]) == ("A", "B", "C")
    assert selectable([OpenLine(), Value(value=3.0, unit="ohm")]) == ("A", "B", "C")


def test_answers_without_a_meter_are_those_of_the_contract() -> None:
    for quantity, answers in load_texts().answers.items():
        assert tuple(answers) == SEEN_ANSWERS[quantity]


def test_every_sentence_is_said_somewhere() -> None:
    source = "".join(path.read_text("utf-8") for path in _HOUSE.glob("*.py"))
    for key in load_texts().sentences:
        stem = key.rsplit("_", 1)[0]
        known = f'"{key}"' in source or f"'{key}'" in source
        assert known or re.search(rf"""f"({re.escape(stem)}|ask|reply)_\{{""", source), key


def test_the_exchange_does_no_io() -> None:
    forbidden = {
        "os", "time", "datetime", "random", "secrets", "uuid", "socket", "sqlite3", "sqlalchemy",
        "subprocess", "threading", "asyncio", "logging", "fastapi", "twilio", "httpx",
    }  # fmt: skip
    houses = (
        "bring", "cars", "casetalk", "exchange", "facts", "fragments", "intake", "late", "memory",
        "reading_texts", "reserved", "segments", "shop", "terms", "texts", "turn", "wording",
    )  # fmt: skip
    for name in houses:
        tree = ast.parse((_HOUSE / f"{name}.py").read_text("utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                assert not {alias.name.split(".")[0] for alias in node.names} & forbidden, name
            elif isinstance(node, ast.ImportFrom):
                assert (node.module or "").split(".")[0] not in forbidden, name


# --- memory --------------------------------------------------------------------------------


def test_memory_comes_back_as_it_was() -> None:
    memory = Memory(
        cases={
            "case-10": CaseNote(car=2, label="x", confirmed=("a",), draft=Draft(when=("loud",))),
            "case-2": CaseNote(car=1, closed=True),
        },
        draft=Draft(asked="when", installation={"speakers": {"all": {"nominal_ohms": 4.0}}}),
        question=Question(kind="bind", options=("a",), reading={"a": {"beep": True}}),
        parts={0: "2", 1: "x"},
    )
    thread = Thread(number_id="n", cases=("case-10", "case-2"), memory=memory.written())
    assert recall(thread) == memory
    assert list(recall(thread).cases) == ["case-10", "case-2"]


@pytest.mark.parametrize("kept", ["", "{", "[]", '{"version":2}', '{"version":1,"odd":1}'])
def test_memory_of_another_version_keeps_the_cases(kept: str) -> None:
    memory = recall(Thread(number_id="n", case_id="b", cases=("a", "b"), memory=kept))
    assert memory.cars == {1: "a", 2: "b"}


def test_whole_texts_by_what_they_mean() -> None:
    assert means("Thanks!!", "thanks")
    assert means("  OK.", "understood")
    assert means("\U0001f44d", "understood", "right")
    assert not means("thanks but it is 12.6", "thanks")
