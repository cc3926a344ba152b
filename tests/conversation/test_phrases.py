"""Every phrase is used, every slot is filled, and no carrier's word is asked for."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import get_args

import pytest

import assistant.conversation as house
from assistant.conversation.events import Channel
from assistant.conversation.phrases import Phrasebook, load_phrases, slots_of
from assistant.errors import MisuseError
from assistant.knowledge import load
from assistant.knowledge.schema import VehicleState
from assistant.readings.interpret import interpret_typed
from assistant.readings.reading import Quantity

SOURCES = sorted(Path(house.__file__).parent.glob("*.py"))
RESERVED = [
    "STOP",
    "STOPALL",
    "UNSUBSCRIBE",
    "END",
    "QUIT",
    "CANCEL",
    "REVOKE",
    "OPTOUT",
    "START",
    "YES",
    "UNSTOP",
    "HELP",
    "INFO",
]
"""Words that the carriers of text messages keep to themselves (messaging providers' manuals)."""


def _literals() -> set[str]:
    found: set[str] = set()
    for source in SOURCES:
        for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(node.value)
    return found


def test_every_phrase_is_used() -> None:
    literals = _literals()
    made = {f"example_{q}" for q in get_args(Quantity)}
    made |= {f"state_{v}" for v in get_args(VehicleState)}
    made |= {f"{key}_next" for key in literals}
    unused = [key for key in load_phrases().phrases if key not in literals | made]
    assert unused == []


def test_the_families_are_complete() -> None:
    phrases = load_phrases().phrases
    for quantity in get_args(Quantity):
        assert f"example_{quantity}" in phrases
    for state in get_args(VehicleState):
        assert f"state_{state}" in phrases


def test_every_call_fills_exactly_the_slots() -> None:
    """Calls with a plain key are held to the template; the rest is held at run time."""
    file = load_phrases()
    seen = 0
    for source in SOURCES:
        for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
                continue
            if node.func.attr not in {"say", "_say"} or not node.args:
                continue
            key = node.args[0]
            if not (isinstance(key, ast.Constant) and isinstance(key.value, str)):
                continue
            seen += 1
            given = {word.arg for word in node.keywords}
            slots = frozenset().union(*map(slots_of, file.templates(key.value)))
            assert given == {s for s in slots if not s.startswith("w_")}, (source.name, key.value)
    assert seen > 30


@pytest.mark.parametrize("channel", get_args(Channel))
def test_every_phrase_can_be_filled_on_every_channel(channel: Channel) -> None:
    book, file = Phrasebook(channel), load_phrases()
    for key in file.phrases:
        slots = frozenset().union(*map(slots_of, file.templates(key)))
        filled = book.say(key, **{s: f"<{s}>" for s in slots if not s.startswith("w_")})
        assert "{" not in filled


def test_a_missing_or_an_extra_slot_is_misuse() -> None:
    book = Phrasebook("typed")
    with pytest.raises(MisuseError):
        book.say("heard")
    with pytest.raises(MisuseError):
        book.say("opened", extra="x")
    with pytest.raises(MisuseError):
        book.say("no_such_phrase")


def test_text_messages_ask_for_no_word_that_the_carrier_keeps() -> None:
    file, book = load_phrases(), Phrasebook("text")
    for key in file.phrases:
        slots = frozenset().union(*map(slots_of, file.templates(key)))
        said = book.say(key, **{s: "x" for s in slots if not s.startswith("w_")})
        for word in re.findall(r"'([^']+)'", said):
            assert word.upper() not in RESERVED, (key, word)


@pytest.mark.parametrize("channel", get_args(Channel))
def test_every_word_asked_for_is_understood_as_its_command(channel: Channel) -> None:
    means = {"ready": "done", "stop": "stop"}
    book = Phrasebook(channel)
    for name in load_phrases().words:
        word = book.word(name).strip("'") if channel != "voice" else book.word(name)
        word = word.replace("I can't'", "I can't")
        commands = interpret_typed(word, quantity=None, grammar="commands").commands
        wanted = {means.get(name, name)} | ({"pause"} if name == "stop" else set())
        assert commands, (channel, word)
        assert commands[0].command in wanted, (channel, word)


def test_the_cautions_that_are_named_exist() -> None:
    file, known = load_phrases(), load().cautions
    assert file.first_caution in known
    assert file.always_acknowledge <= set(known)


def test_phrases_keep_to_the_alphabet_of_text_messages() -> None:
    """GSM 7-bit default alphabet, 3GPP TS 23.038, as far as these phrases use it."""
    allowed = re.compile(r"[A-Za-z0-9 .,:;?!'()+\-/{}_]*")
    for key, entry in load_phrases().phrases.items():
        for template in load_phrases().templates(key):
            assert allowed.fullmatch(template), (key, entry)
