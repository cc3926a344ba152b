from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from speech_fst import best_words, collapse, phone_of, phrases, walk

from assistant.errors import GivenError
from assistant.readings.wordgraph import WordArc, WordGraph
from assistant.speech.events import accepts, spoken_graph
from assistant.speech.fstfile import read_fst, write_fst
from assistant.speech.lexicon import builtin_lexicon
from assistant.speech.phonegraph import (
    OTHER_WORDS,
    GraphCosts,
    build_graph,
    builtin_phones,
    with_other_words,
)

_LEXICON = builtin_lexicon()
_PHONES = builtin_phones()
_COSTS = GraphCosts(blank=2.0, word=0.5, loop_phone=0.25, other_words=3.0)
_WORDS = ("oh", "ohms", "ohm", "six", "seven", "two", "to", "eight", "volts", "amp", "beep")


@st.composite
def _word_graphs(draw: st.DrawFn) -> WordGraph:
    """Acceptors without cycles in which every state can be reached and can end."""
    count = draw(st.integers(2, 5))
    arcs = [
        WordArc(source=k, target=k + 1, word=draw(st.sampled_from(_WORDS)))
        for k in range(count - 1)
    ]
    for _ in range(draw(st.integers(0, 6))):
        source = draw(st.integers(0, count - 2))
        target = draw(st.integers(source + 1, count - 1))
        cost = draw(st.sampled_from((0.0, 0.25, 1.0)))
        arcs.append(
            WordArc(source=source, target=target, word=draw(st.sampled_from(_WORDS)), cost=cost)
        )
    return WordGraph(start=0, finals=frozenset({count - 1}), arcs=tuple(arcs))


def _frames(words: tuple[str, ...], chance: random.Random) -> list[int]:
    """What a network would write for ``words``: phones for some frames, blanks where needed."""
    frames: list[int] = []
    last = ""
    for number, word in enumerate(words):
        said = chance.choice(_LEXICON[word])
        if number and (said[0] == last or chance.random() < 0.4):
            frames += _stay("SIL", chance)
        places = "S" if len(said) == 1 else "B" + "I" * (len(said) - 2) + "E"
        for k, (base, place) in enumerate(zip(said, places, strict=True)):
            if k and (base == last or chance.random() < 0.3):
                frames += _stay("BLK_I", chance)
            frames += _stay(f"{base}_{place}", chance)
            last = base
    return frames


def _stay(name: str, chance: random.Random) -> list[int]:
    return [_PHONES.forward(name)] + [_PHONES.again(name)] * chance.randint(0, 3)


@settings(max_examples=60, deadline=None)
@given(_word_graphs(), st.randoms(use_true_random=False))
def test_every_phrase_is_accepted_and_costs_what_the_costs_say(
    words: WordGraph, chance: random.Random
) -> None:
    graph = build_graph(words, _LEXICON, _PHONES, _COSTS)
    for phrase in phrases(words, 12):
        frames = _frames(phrase, chance)
        found = best_words(graph.fst, frames)
        label = tuple(graph.words.index(word) for word in phrase)
        assert label in found
        blanks = sum(phone_of(f, _PHONES) in {"SIL", "BLK_I"} for f in frames)
        cheapest = blanks * _COSTS.blank + len(phrase) * _COSTS.word + _arc_costs(words, phrase)
        assert found[label] == pytest.approx(cheapest)


def _arc_costs(words: WordGraph, phrase: tuple[str, ...]) -> float:
    alive = {words.start: 0.0}
    for word in phrase:
        after: dict[int, float] = {}
        for arc in words.arcs:
            if arc.source in alive and arc.word == word:
                cost = alive[arc.source] + arc.cost
                after[arc.target] = min(after.get(arc.target, cost), cost)
        alive = after
    return min(cost for state, cost in alive.items() if state in words.finals)


@settings(max_examples=60, deadline=None)
@given(_word_graphs(), st.randoms(use_true_random=False))
def test_every_way_through_says_a_phrase_and_collapses_to_its_phones(
    words: WordGraph, chance: random.Random
) -> None:
    """Nothing but phrases comes out, and CTC's own reading of the frames is the words' phones."""
    graph = build_graph(words, _LEXICON, _PHONES, _COSTS)
    for _ in range(15):
        frames, labels, _ = walk(graph.fst, chance)
        said = tuple(graph.words[label] for label in labels)
        heard = collapse(frames, _PHONES)
        if not said:
            assert heard == []
            continue
        assert accepts(words, said)
        assert _can_be_said(said, heard)


def _can_be_said(words: tuple[str, ...], phones: list[str]) -> bool:
    if not words:
        return not phones
    return any(
        tuple(phones[: len(said)]) == said and _can_be_said(words[1:], phones[len(said) :])
        for said in _LEXICON[words[0]]
    )


@pytest.mark.parametrize("name", ["volts", "ohms", "continuity", "light", "commands"])
def test_real_grammars_give_only_their_phrases(name: str) -> None:
    words = spoken_graph(name)
    graph = build_graph(words, _LEXICON, _PHONES, _COSTS)
    chance = random.Random(7)  # noqa: S311
    for _ in range(40):
        _, labels, _ = walk(graph.fst, chance, longest=40)
        said = tuple(graph.words[label] for label in labels)
        assert not said or accepts(words, said)
    for phrase in phrases(words, 25):
        label = tuple(graph.words.index(word) for word in phrase)
        assert label in best_words(graph.fst, _frames(phrase, chance))


def _two_words(first: str, second: str) -> WordGraph:
    arcs = (
        WordArc(source=0, target=1, word=first),
        WordArc(source=1, target=2, word=second),
    )
    return WordGraph(start=0, finals=frozenset({2}), arcs=arcs)


def test_one_sound_is_not_two_words() -> None:
    """The oh of "ohms" must not be heard as "oh ohms"; with a silence between, it is."""
    graph = build_graph(_two_words("oh", "ohms"), _LEXICON, _PHONES, _COSTS)
    rest = [f for base in ("M_I", "Z_E") for f in (_PHONES.forward(base), _PHONES.again(base))]
    one = [_PHONES.forward("OW_S"), _PHONES.again("OW_S"), _PHONES.forward("OW_B"), *rest]
    assert best_words(graph.fst, one) == {}
    two = [_PHONES.forward("OW_S"), _PHONES.forward("SIL"), _PHONES.forward("OW_B"), *rest]
    assert len(best_words(graph.fst, two)) == 1


@pytest.mark.parametrize("frames", [0, 1, 5])
def test_silence_says_nothing_and_is_paid_for_by_the_frame(frames: int) -> None:
    graph = build_graph(_two_words("two", "volts"), _LEXICON, _PHONES, _COSTS)
    quiet = [_PHONES.forward("SIL"), *[_PHONES.again("SIL")] * (frames - 1)] if frames else []
    assert best_words(graph.fst, quiet) == {(): pytest.approx(frames * _COSTS.blank)}


def test_the_same_grammar_gives_the_same_bytes() -> None:
    words = spoken_graph("volts")
    shuffled = list(words.arcs)
    random.Random(1).shuffle(shuffled)  # noqa: S311
    again = WordGraph(start=words.start, finals=words.finals, arcs=tuple(shuffled))
    first, second = (
        write_fst(build_graph(one, _LEXICON, _PHONES, _COSTS).fst) for one in (words, again)
    )
    assert first == second
    assert read_fst(first).start == 0


@settings(max_examples=40, deadline=None)
@given(_word_graphs(), st.randoms(use_true_random=False))
def test_other_words_change_no_phrase(words: WordGraph, chance: random.Random) -> None:
    graph = build_graph(words, _LEXICON, _PHONES, _COSTS)
    both = with_other_words(graph, _PHONES, _COSTS)
    assert both.words == (*graph.words, OTHER_WORDS)
    for phrase in phrases(words, 4):
        frames = _frames(phrase, chance)
        found = best_words(both.fst, frames)
        found.pop((len(graph.words),), None)
        assert found == pytest.approx(best_words(graph.fst, frames))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.sampled_from(_PHONES.bases), min_size=1, max_size=6),
    st.randoms(use_true_random=False),
)
def test_any_phones_are_other_words_at_the_cost_of_the_loop(
    bases: list[str], chance: random.Random
) -> None:
    """One label for the whole, however it is reached; each phone and each blank frame is paid."""
    graph = with_other_words(
        build_graph(_two_words("two", "volts"), _LEXICON, _PHONES, _COSTS), _PHONES, _COSTS
    )
    frames = _stay("SIL", chance) if chance.random() < 0.5 else []
    for before, base in itertools.pairwise(["", *bases]):
        if base == before or (before and chance.random() < 0.3):
            frames += _stay("SIL", chance)
        frames += _stay(f"{base}_S", chance)
    frames += _stay("SIL", chance) if chance.random() < 0.5 else []
    silent = sum(phone_of(frame, _PHONES) == "SIL" for frame in frames)
    cost = _COSTS.other_words + len(bases) * _COSTS.loop_phone + silent * _COSTS.blank
    assert best_words(graph.fst, frames)[(len(graph.words) - 1,)] == pytest.approx(cost)


def test_every_way_through_is_a_phrase_or_other_words_alone() -> None:
    words = _two_words("two", "volts")
    graph = with_other_words(build_graph(words, _LEXICON, _PHONES, _COSTS), _PHONES, _COSTS)
    chance = random.Random(5)  # noqa: S311
    told = set()
    for _ in range(200):
        frames, labels, _ = walk(graph.fst, chance)
        said = tuple(graph.words[label] for label in labels)
        told.add(said)
        if said == (OTHER_WORDS,):
            assert collapse(frames, _PHONES)
    assert told <= {(), ("two", "volts"), (OTHER_WORDS,)}
    assert (OTHER_WORDS,) in told


def test_silence_is_not_other_words() -> None:
    graph = with_other_words(
        build_graph(_two_words("two", "volts"), _LEXICON, _PHONES, _COSTS), _PHONES, _COSTS
    )
    quiet = [_PHONES.forward("SIL"), _PHONES.again("SIL")]
    assert best_words(graph.fst, quiet) == {(): pytest.approx(2 * _COSTS.blank)}


def test_a_word_without_phones_and_an_empty_grammar_are_refused() -> None:
    with pytest.raises(GivenError, match="xyzzy"):
        build_graph(_two_words("two", "xyzzy"), _LEXICON, _PHONES, _COSTS)
    with pytest.raises(GivenError, match="no words"):
        build_graph(WordGraph(start=0, finals=frozenset({0}), arcs=()), _LEXICON, _PHONES, _COSTS)
