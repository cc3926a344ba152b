"""Every grammar file is mirrored here by sentences: what they mean and how it is read back."""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml

from assistant.readings import (
    Ambiguous,
    CommandFound,
    Interpretation,
    ReadingFound,
    combined_graph,
    interpret_spoken,
    interpret_typed,
    read_back,
)
from assistant.readings.grammarfile import (
    GrammarFile,
    file_names,
    grammar_names,
    load_file,
    load_grammar,
)
from assistant.readings.matcher import matcher
from assistant.readings.number_words import number_candidates
from assistant.readings.reading import Quantity, reading_from_json
from assistant.readings.template import parse_template, words_in
from assistant.readings.tokens import tokens_of, word_key

HERE = Path(__file__).parent


@cache
def mirror(name: str) -> dict[str, Any]:
    loaded = yaml.safe_load((HERE / f"{name}.yaml").read_text(encoding="utf-8"))
    assert isinstance(loaded, dict)
    return loaded


MIRRORS = sorted(path.stem for path in HERE.glob("*.yaml"))
ROWS = [
    pytest.param(name, how, row, id=f"{name}-{how}-{row['say']}")
    for name in MIRRORS
    for how in ("spoken", "typed")
    for row in mirror(name).get(how, [])
]


def grammar_of(name: str, row: dict[str, Any]) -> str:
    found = row.get("grammar") or mirror(name).get("grammar") or name
    assert isinstance(found, str)
    return found


def quantity_of(grammar: str) -> Quantity | None:
    measure = load_grammar(grammar).measure
    return measure.quantities[0] if measure else None


def interpret(grammar: str, how: str, text: str) -> Interpretation:
    read = interpret_spoken if how == "spoken" else interpret_typed
    return read(text, quantity=quantity_of(grammar), grammar=grammar)


def test_every_grammar_file_has_its_mirror() -> None:
    assert set(MIRRORS) == set(file_names())


@pytest.mark.parametrize(("name", "how", "row"), ROWS)
def test_sentence(name: str, how: str, row: dict[str, Any]) -> None:
    found = interpret(grammar_of(name, row), how, row["say"]).findings
    assert len(found) == 1
    match found[0]:
        case ReadingFound(reading=reading, vehicle=vehicle):
            assert reading == reading_from_json(row["reading"])
            assert read_back(reading) == row["back"]
            assert vehicle == row.get("vehicle")
        case Ambiguous(candidates=candidates, ask=ask):
            assert candidates == tuple(reading_from_json(raw) for raw in row["candidates"])
            assert ask == row["ask"]
        case CommandFound(command=command, argument=argument):
            assert command == row["command"]
            if command != "cannot":
                assert argument == row.get("argument")
        case other:
            pytest.fail(f"{row['say']!r} gave {other}")


@pytest.mark.parametrize(
    ("name", "say"),
    [(name, say) for name in MIRRORS if name != "numbers" for say in mirror(name).get("never", [])],
)
@pytest.mark.parametrize("how", ["spoken", "typed"])
def test_is_never_a_reading_of_this_grammar(name: str, say: str, how: str) -> None:
    found = interpret(name, how, say)
    assert not found.readings
    if name in {"commands", "channels", "yes_no"}:
        assert not found.commands


@pytest.mark.parametrize(("words", "numbers"), mirror("numbers")["numbers"])
def test_number(words: str, numbers: list[str]) -> None:
    assert number_candidates(words.split()) == tuple(map(Decimal, numbers))
    assert [str(number) for number in number_candidates(words.split())] == numbers


@pytest.mark.parametrize("words", mirror("numbers")["never"])
def test_is_no_number(words: str) -> None:
    assert number_candidates(words.split()) == ()


@pytest.mark.parametrize("name", [name for name in MIRRORS if "spoken" in mirror(name)])
def test_the_ear_gets_every_spoken_sentence(name: str) -> None:
    graph = combined_graph(name)
    arcs = {(arc.source, arc.word): arc.target for arc in graph.arcs}
    for row in mirror(name)["spoken"]:
        state: int | None = graph.start
        for word in row["say"].split():
            state = arcs.get((state, word)) if state is not None else None
        assert state in graph.finals, row["say"]


# --- coverage: nothing stands in a grammar file that no sentence uses ---------------------------


def said_in(mirrors: set[str]) -> set[str]:
    hows = ("spoken", "typed", "corrections", "checks", "repairs", "wishes")
    rows = [row["say"] for name in mirrors for how in hows for row in mirror(name).get(how, [])]
    rows += [words for name in mirrors for words, _ in mirror(name).get("numbers", [])]
    return {token.label for text in rows for token in tokens_of(text)}


def templates(file: GrammarFile) -> dict[str, str]:
    return {
        **{f"rule {name}": text for name, text in file.rules.items()},
        **{
            f"list {name}.{entry}": text
            for name, entries in file.lists.items()
            for entry, text in entries.items()
        },
        **{f"sentence {at}": sentence.say for at, sentence in enumerate(file.sentences)},
    }


@pytest.mark.parametrize("name", MIRRORS)
def test_every_word_of_every_template_is_in_some_sentence(name: str) -> None:
    file = load_file(name)
    # parts are used by grammars, whose sentences count for them
    said = said_in({name} if file.kind == "grammar" else set(MIRRORS))
    missing = {
        where: left
        for where, text in templates(file).items()
        if (left := {word_key(word) for word in words_in(parse_template(text))} - said - {"lonem"})
    }
    assert missing == {}


@pytest.mark.parametrize("name", grammar_names())
def test_every_sentence_and_list_entry_is_used(name: str) -> None:
    rows = [
        row["say"]
        for other in MIRRORS
        for how in ("spoken", "typed")
        for row in mirror(other).get(how, [])
        if grammar_of(other, row) == name
    ]
    grammar = matcher(name)
    sentences: set[int] = set()
    entries: set[str] = set()
    for text in rows:
        tokens = tokens_of(text)
        for match in grammar.matches(tokens):
            if match.end == len(tokens):
                sentences.add(match.sentence)
                for slots in match.slots.values():
                    entries.update(entry for slot in slots for entry in slot.entries)
    assert sentences == set(range(len(grammar.file.sentences)))
    wanted = {entry for listed in grammar.file.lists.values() for entry in listed}
    assert wanted <= entries


@pytest.mark.parametrize("row", mirror("commands")["corrections"], ids=lambda row: row["say"])
@pytest.mark.parametrize("read", [interpret_spoken, interpret_typed])
def test_correction(row: dict[str, Any], read: Any) -> None:
    found = read(row["say"], quantity="dc_voltage").findings
    assert found[0] == CommandFound(command=row["command"])
    assert isinstance(found[1], ReadingFound)
    assert found[1].reading == reading_from_json(row["reading"])
    assert len(found) == 2
