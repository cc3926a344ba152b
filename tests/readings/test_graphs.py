"""Word graphs: the ear's finite languages, and that the parser reads all that they accept."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import MisuseError
from assistant.readings import (
    NothingFound,
    WordGraph,
    WrongUnit,
    any_graph,
    combined_graph,
    grammar_graph,
    interpret_spoken,
    words_of_all_grammars,
)
from assistant.readings.acceptor import Acceptor, Builder, minimal, union
from assistant.readings.grammarfile import grammar_names, load_grammar

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.readings.reading import Quantity

MEASURED: list[tuple[str, Quantity | None]] = [
    (name, measure.quantities[0] if (measure := load_grammar(name).measure) else None)
    for name in grammar_names()
]


DIGITS = {
    *["zero", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "niner"]
}


def rows(graph: WordGraph) -> dict[int, list[tuple[str, int]]]:
    found: dict[int, list[tuple[str, int]]] = {}
    for arc in graph.arcs:
        found.setdefault(arc.source, []).append((arc.word, arc.target))
    return found


def walk(graph: WordGraph, draw: st.DrawFn) -> str:
    leads = rows(graph)
    words: list[str] = []
    state = graph.start
    while True:
        choices: list[tuple[str, int] | None] = [*leads.get(state, [])]
        if state in graph.finals:
            choices.append(None)
        step = draw(st.sampled_from(choices))
        if step is None:
            return " ".join(words)
        words.append(step[0])
        state = step[1]


@st.composite
def spoken(draw: st.DrawFn) -> tuple[str, str, Quantity | None]:
    name, quantity = draw(st.sampled_from(MEASURED))
    return walk(combined_graph(name), draw), name, quantity


@given(spoken())
def test_all_that_the_ear_may_hear_is_read(case: tuple[str, str, Quantity | None]) -> None:
    text, name, quantity = case
    findings = interpret_spoken(text, quantity=quantity, grammar=name).findings
    assert not any(isinstance(f, NothingFound | WrongUnit) for f in findings), findings


@given(st.data())
def test_all_that_may_be_heard_with_no_check_open_is_read(data: st.DataObject) -> None:
    text = walk(any_graph(), data.draw)
    findings = interpret_spoken(text, quantity=None).findings
    assert not any(isinstance(f, NothingFound | WrongUnit) for f in findings), findings


def graphs() -> Iterator[WordGraph]:
    yield any_graph()
    for name in grammar_names():
        yield grammar_graph(name)
        yield combined_graph(name)


def test_graphs_are_deterministic_trim_and_without_cycles() -> None:
    for graph in graphs():
        pairs = [(arc.source, arc.word) for arc in graph.arcs]
        assert len(pairs) == len(set(pairs))
        leads = rows(graph)
        seen: set[int] = set()
        path: set[int] = set()

        def visit(state: int) -> bool:
            """Tell whether a final state is reached; fail on a cycle."""
            assert state not in path  # noqa: B023
            if state in seen:  # noqa: B023
                return True
            path.add(state)  # noqa: B023
            ends = [visit(target) for _, target in leads.get(state, [])]  # noqa: B023
            path.discard(state)  # noqa: B023
            seen.add(state)  # noqa: B023
            return any(ends) or state in graph.finals  # noqa: B023

        assert visit(graph.start)
        assert seen == {arc.source for arc in graph.arcs} | {arc.target for arc in graph.arcs}
        assert graph.start not in graph.finals


def test_graphs_stay_small() -> None:
    # a strict graph of a few thousand arcs is compiled to phones for every question
    assert all(len(graph.arcs) <= 4000 for graph in graphs())


@st.composite
def spoken_with_oh(draw: st.DrawFn) -> list[str]:
    name = draw(st.sampled_from(["volts", "ohms", "amps", "millivolts_ac", "continuity"]))
    return walk(grammar_graph(name), draw).split()


@given(spoken_with_oh())
def test_oh_stands_only_beside_a_point_or_inside_digits(words: list[str]) -> None:
    # "oh" is one phone and swallows other digits wherever it may stand
    for at, word in enumerate(words):
        if word == "oh":
            before, after = words[:at], [*words[at + 1 : at + 2]]
            behind_point = "point" in before
            inside = bool(before) and bool(DIGITS & {*after})
            assert after == ["point"] or behind_point or inside


@pytest.mark.parametrize("name", ["volts", "ohms", "amps", "millivolts_ac", "continuity"])
def test_oh_alone_is_no_reading(name: str) -> None:
    graph = grammar_graph(name)
    leads = rows(graph)
    starts = dict(leads[graph.start])
    assert {word for word, _ in leads[starts["oh"]]} == {"point"}
    assert starts["oh"] not in graph.finals


def test_words_of_all_grammars_hold_every_word_of_every_graph() -> None:
    words = words_of_all_grammars()
    assert all(graph.words <= words for graph in graphs())
    assert {"twelve", "point", "volts", "kilohms", "megohms", "milliamps", "jumping", "ol"} <= words
    assert all(word == word.lower() and " " not in word for word in words)


def test_commands_may_be_said_while_a_check_is_open() -> None:
    assert {"repeat", "undo", "skip", "why"} <= combined_graph("volts").words
    assert "repeat" not in combined_graph("volts", commands=False).words
    assert combined_graph("volts", commands=False) == grammar_graph("volts")


def test_graphs_are_built_once() -> None:
    assert combined_graph("ohms") is combined_graph("ohms")


def test_unknown_grammar() -> None:
    with pytest.raises(MisuseError):
        combined_graph("colours")


# --- the acceptors against plain sets of phrases -----------------------------------------------

PHRASES = st.frozensets(
    st.lists(st.sampled_from("abc"), min_size=1, max_size=4).map(tuple), min_size=1, max_size=8
)


def accepted(acceptor: Acceptor) -> set[tuple[str, ...]]:
    found: set[tuple[str, ...]] = set()

    def visit(state: int, words: tuple[str, ...]) -> None:
        if state in acceptor.finals:
            found.add(words)
        for word, target in acceptor.rows[state].items():
            visit(target, (*words, word))

    visit(0, ())
    return found


def of(phrases: frozenset[tuple[str, ...]]) -> Acceptor:
    builder = Builder()
    for phrase in phrases:
        at = 0
        for word in phrase:
            after = builder.state()
            builder.words[at].append((word, after))
            at = after
        builder.empties[at].append(1)
    return minimal(builder)


@given(PHRASES)
def test_minimal_accepts_just_the_phrases_with_fewest_states(
    phrases: frozenset[tuple[str, ...]],
) -> None:
    acceptor = of(phrases)
    assert accepted(acceptor) == phrases
    # Myhill and Nerode: as many states as different futures
    prefixes = {phrase[:cut] for phrase in phrases for cut in range(len(phrase) + 1)}
    futures = {
        frozenset(phrase[len(prefix) :] for phrase in phrases if phrase[: len(prefix)] == prefix)
        for prefix in prefixes
    }
    assert len(acceptor.rows) == len(futures)


@given(PHRASES, PHRASES)
def test_union_accepts_what_either_does(
    one: frozenset[tuple[str, ...]], two: frozenset[tuple[str, ...]]
) -> None:
    assert accepted(union([of(one), of(two)])) == one | two
