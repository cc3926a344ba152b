"""Phrases to train on: they are phrases of the grammars, and no word is left out."""

from assistant.readings.grammarfile import grammar_names
from assistant.readings.graphs import any_graph, combined_graph, words_of_all_grammars
from assistant.speech.acoustic.phrases import (
    SHARES,
    PhraseSource,
    draw_drills,
    draw_phrases,
    draw_readings,
)
from assistant.speech.acoustic.sentences import draw_sentences, everyday_words
from assistant.speech.events import accepts


def test_every_word_of_every_grammar_comes() -> None:
    said = " ".join(draw_phrases(600, seed=3)).split()
    assert words_of_all_grammars() <= set(said)


def test_words_with_a_larger_share_come_more_often() -> None:
    source = PhraseSource(4)
    drawn = iter(source)
    for _ in range(1500):
        next(drawn)
    rare = sorted(n for word, n in source.counts.items() if word not in SHARES)
    usual = rare[len(rare) // 2]
    assert source.counts["fourteen"] > 2 * usual
    assert source.counts["millivolts"] > 3 * usual


def test_every_phrase_is_one_of_a_grammar() -> None:
    graphs = [combined_graph(name) for name in grammar_names()]
    for phrase in draw_phrases(150, seed=5):
        assert any(accepts(graph, tuple(phrase.split())) for graph in graphs), phrase


def test_the_same_seed_draws_the_same() -> None:
    assert draw_phrases(40, seed=6) == draw_phrases(40, seed=6)
    assert draw_phrases(40, seed=6) != draw_phrases(40, seed=7)


def test_readings_are_of_known_words_and_mostly_phrases_of_a_grammar() -> None:
    graphs = [any_graph(), *(combined_graph(name) for name in grammar_names())]
    drawn = draw_readings(200, seed=8)
    assert {word for phrase in drawn for word in phrase.split()} <= words_of_all_grammars()
    taken = [any(accepts(graph, tuple(phrase.split())) for graph in graphs) for phrase in drawn]
    assert sum(taken) > 150
    assert {"fifteen", "fifty"} <= {word for phrase in drawn for word in phrase.split()}


def test_drills_are_of_known_words_and_dwell_on_teens_and_tens() -> None:
    drawn = draw_drills(2000, seed=9)
    assert draw_drills(2000, seed=9) == drawn
    assert draw_drills(2000, seed=10) != drawn
    said = [word for phrase in drawn for word in phrase.split()]
    assert set(said) <= words_of_all_grammars() | {"thousand"}
    for stem in ("thir", "fif", "six", "seven", "eigh", "nine"):
        assert said.count(f"{stem}teen") > 40
        assert said.count({"eigh": "eighty", "nine": "ninety"}.get(stem, f"{stem}ty")) > 40
    assert sum(len(phrase.split()) == 1 for phrase in drawn) > 700


def test_other_sentences_hold_no_word_of_a_grammar_but_little_ones() -> None:
    grammar = words_of_all_grammars()
    drawn = draw_sentences(1500, seed=10, without=grammar, others=("aardvark", "volts"))
    little = {word for phrase in drawn for word in phrase.split() if word in grammar}
    assert "volts" not in little
    assert not little & {"one", "two", "ohms", "beep", "yes", "no", "warm", "open"}
    graphs = [any_graph(), *(combined_graph(name) for name in grammar_names())]
    assert not any(accepts(graph, tuple(one.split())) for one in drawn[:300] for graph in graphs)
    assert any("aardvark" in one for one in drawn)
    assert len({one.split()[0] for one in drawn}) > 100
    assert len(everyday_words()) > 400
