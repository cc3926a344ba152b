"""The lines of a lesson: what each is answered with, and that no line does harm."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.lessons import lines as lesson_lines
from assistant.lessons.lesson import Lesson
from assistant.lessons.lines import LessonInterface, lesson_object
from assistant.lessons.plan import plan_lesson
from assistant.readings.reading import reading_from_json

WORLDS = 2000
PLAN = plan_lesson(3, kind="coupe_five")
ANSWERS = {
    "caution", "reading", "off", "hint", "notes", "list", "repairs", "repair", "end", "given_up",
    "error",
}  # fmt: skip


def interface() -> LessonInterface:
    return LessonInterface(Lesson(PLAN, worlds=WORLDS), worlds=WORLDS)


def say(talk: LessonInterface, **line: Any) -> dict[str, Any]:
    return talk.answer(json.dumps(line).encode())


def test_the_first_object_tells_the_case_and_hides_the_fault() -> None:
    told = lesson_object(Lesson(PLAN, worlds=WORLDS))
    assert told["type"] == "lesson"
    assert told["complaint"]["symptom"] == "will_not_turn_on"
    assert "speakers" in told["installation"]
    text = json.dumps(told, allow_nan=False)
    assert not any(fault in text for fault in PLAN.faults)


def test_a_check_is_cautioned_and_then_read() -> None:
    talk = interface()
    warned = say(talk, type="check", id="amp_supply_running")
    assert warned["type"] == "caution"
    assert len(warned["cautions"]) == 2
    answered = say(talk, type="go")
    assert answered["type"] == "reading"
    assert answered["id"] == "amp_supply_running"
    assert reading_from_json(answered["reading"])
    assert answered["total"] == answered["minutes"] > 0
    assert answered["danger"] == ""
    live = say(talk, type="check", id="load_ohms.sub", go=True)
    assert live["danger"].startswith("Everything off")
    notes = say(talk, type="notes")
    assert [turn["id"] for turn in notes["turns"]] == ["amp_supply_running", "load_ohms.sub"]
    assert notes["turns"][0]["reading"] == answered["reading"]


def test_numbers_and_words_reach_the_same_check() -> None:
    talk = interface()
    listed = say(talk, type="list", place="amplifier")["checks"]
    number = next(row["number"] for row in listed if row["id"] == "amp_supply")
    by_number = say(talk, type="check", number=number)
    by_words = say(talk, type="text", text="amp supply")
    assert by_number["id"] == by_words["id"] == "amp_supply"
    assert say(talk, type="text", text="sub ohms")["type"] == "list"
    assert say(talk, type="list", find="sub ohms")["asked"] == "sub ohms"


def test_a_hint_names_a_check_and_then_the_repair() -> None:
    talk = interface()
    hint = say(talk, type="hint")
    assert hint["check"]
    assert hint["bits"] > 0
    say(talk, type="check", id="amp_supply", go=True)
    say(talk, type="check", id="fuse_amp_side", go=True)
    say(talk, type="check", id="fuse_battery_side", go=True)
    for _ in range(6):
        hint = say(talk, type="hint")
        if "repair" in hint:
            break
        say(talk, type="check", id=hint["check"], go=True)
    assert hint["repair"] == "renew_main_fuse"
    assert hint["probability"] > 0.5


def test_the_end_holds_both_orders() -> None:
    talk = interface()
    say(talk, type="check", id="amp_supply", go=True)
    vain = say(talk, type="repair", id="set_gain")
    assert vain["type"] == "repair"
    assert vain["mended_something"] is False
    assert vain["total"] == pytest.approx(1.5 + vain["minutes"])
    end = say(talk, type="repair", id="renew_main_fuse")
    json.dumps(end, allow_nan=False)
    assert end["type"] == "end"
    assert end["right"] is True
    assert end["faults"] == [{"id": "supply.main_fuse_open", "words": "the main fuse is open"}]
    assert end["minutes"] == pytest.approx(vain["total"])
    assert end["trainee"]["repairs_in_vain"] == 1
    assert end["program"]["right"] is True
    assert end["program_minutes"] == end["program"]["minutes"] > 0
    for run in (end["trainee"], end["program"]):
        assert len(run["belief"]) == len(run["turns"]) + 1
        assert run["belief"][0]["minute"] == 0.0
    assert 1 <= len(end["advice"]) <= 2
    assert say(talk, type="hint")["type"] == "error"
    assert say(talk, type="notes")["type"] == "notes"


@pytest.mark.parametrize(
    "raw",
    [
        b"", b"{", b"[]", b"\xff\xfe", b'{"type":"fly"}', b'{"type":["check"]}',
        b'{"type":"check"}', b'{"type":"check","id":7}', b'{"type":"check","number":true}',
        b'{"type":"check","number":1e9}',
        b'{"type":"check","number":0}', b'{"type":"check","number":-1}',
        b'{"type":"check","id":"amp_supply","go":"yes"}', b'{"type":"repair"}',
        b'{"type":"repair","number":99999}', b'{"type":"list","place":"roof"}', b'{"type":"undo"}',
        b'{"type":"text","text":""}', b'{"type":"go"}', b'{"type":"check","number":NaN}',
    ],
)  # fmt: skip
def test_a_bad_line_gets_an_error_and_changes_nothing(raw: bytes) -> None:
    talk = interface()
    say(talk, type="check", id="amp_supply")
    before = (talk.lesson.turns, talk.lesson.open_check)
    answer = talk.answer(raw)
    assert answer["type"] == "error"
    assert answer["line"] == 2
    assert answer["message"]
    assert (talk.lesson.turns, talk.lesson.open_check) == before


VALUES = st.one_of(
    st.none(), st.booleans(), st.integers(-5, 200), st.floats(), st.text(max_size=20),
    st.sampled_from(["amp_supply", "load_ohms.sub", "renew_main_fuse", "set_gain", "fuse"]),
    st.lists(st.integers(), max_size=2),
)  # fmt: skip
# The hint opens a diagnosis, which takes seconds; it has tests of its own.
TYPES = ("check", "go", "off", "notes", "list", "repairs", "repair", "undo", "give_up", "text", "x")
OBJECTS = st.builds(
    lambda kind, more: json.dumps({**more, "type": kind}).encode(),
    st.one_of(st.sampled_from(TYPES), VALUES),
    st.dictionaries(
        st.sampled_from(["id", "number", "go", "place", "find", "text", "key"]), VALUES, max_size=3
    ),
)
LINES = st.one_of(OBJECTS, OBJECTS, OBJECTS, st.binary(max_size=40))


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(lines=st.lists(LINES, min_size=1, max_size=8))
def test_no_line_does_harm(monkeypatch: pytest.MonkeyPatch, lines: list[bytes]) -> None:
    # What comes after the end is tried above; here it would take seconds for each example.
    monkeypatch.setattr(lesson_lines, "review_of", lambda *_, **__: object())
    monkeypatch.setattr(lesson_lines, "review_object", lambda _: {"type": "end"})
    talk = interface()
    for number, raw in enumerate(lines, start=1):
        before = (talk.lesson.turns, talk.lesson.open_check, talk.lesson.ended)
        answer = json.loads(json.dumps(talk.answer(raw), allow_nan=False))
        assert answer["type"] in ANSWERS
        if answer["type"] == "error":
            assert answer["line"] == number
            assert (talk.lesson.turns, talk.lesson.open_check, talk.lesson.ended) == before
        assert talk.lesson.turns[: len(before[0])] == before[0]
