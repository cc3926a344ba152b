"""The same tests over every recogniser, with speech of the program's own voice."""

from __future__ import annotations

import itertools
import weakref
from typing import TYPE_CHECKING

import numpy as np
import pytest
from other_model import write_other_model

from assistant.errors import GivenError, MisuseError
from assistant.readings.wordgraph import WordArc, WordGraph
from assistant.speech.audio import EAR_RATE, Samples
from assistant.speech.ear_both import BothEars, agreed
from assistant.speech.ear_sphinx import SphinxEar
from assistant.speech.ear_vosk import BuiltinEar, VoskModelEar, phrase_cover
from assistant.speech.events import Heard, Hypothesis, Recogniser, accepts, spoken_graph

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def _small(name: str) -> WordGraph:
    """Numbers with a unit, yes, no, repeat; any other name is a real grammar."""
    if name != "small":
        return spoken_graph(name)
    digits = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "twelve")
    pairs = [(0, 1, word) for word in digits]
    pairs += [(1, 2, "point"), *((2, 3, word) for word in digits), (1, 4, "volts")]
    pairs += [(3, 4, "volts"), (3, 4, "ohms"), (0, 4, "yes"), (0, 4, "no"), (0, 4, "repeat")]
    arcs = tuple(WordArc(source=a, target=b, word=word) for a, b, word in pairs)
    return WordGraph(start=0, finals=frozenset({1, 3, 4}), arcs=arcs)


@pytest.fixture(scope="session")
def ears(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Recogniser]:
    words = _small("small").words | {"zero", "stop"}
    other = write_other_model(tmp_path_factory.mktemp("model"), words)
    first, sphinx = BuiltinEar(_small), SphinxEar(_small)
    return {
        "built-in": first,
        "other model": VoskModelEar(other, _small("small").words, _small),
        "pocketsphinx": sphinx,
        "both": BothEars(first, sphinx),
    }


EARS = ("built-in", "other model", "pocketsphinx", "both")
STEADY_EARS = ("built-in", "other model")
"""Ears whose words are tried on the voice at hand. Pocketsphinx hears the same words of it now
right, now wrong; how often is the benchmark's business (``python -m assistant.benchmarks ear``)."""


def hear(ear: Recogniser, sound: Samples, grammar: str = "small", block: int = 4000) -> Heard:
    stream = ear.begin(grammar)
    for start in range(0, len(sound), block):
        stream.feed(sound[start : start + block])
    return stream.finish()


@pytest.mark.parametrize("name", STEADY_EARS)
@pytest.mark.parametrize("text", ["twelve point six volts", "five volts", "repeat", "yes"])
def test_phrases_are_heard(
    ears: dict[str, Recogniser], say: Callable[[str], Samples], name: str, text: str
) -> None:
    heard = hear(ears[name], say(text))
    assert (heard.kind, heard.text) == ("phrase", text)
    assert heard.seconds == pytest.approx(len(say(text)) / EAR_RATE)


@pytest.mark.parametrize("name", STEADY_EARS)
@pytest.mark.parametrize("text", ["twelve point six volts", "repeat"])
def test_faint_speech_is_heard_too(
    ears: dict[str, Recogniser], say: Callable[[str], Samples], name: str, text: str
) -> None:
    """As through a microphone whose gain is far too low: the peak is 52 dB under full scale."""
    sound = say(text)
    faint = (sound * (80.0 / np.abs(sound).max())).round().astype(np.int16)
    heard = hear(ears[name], faint)
    assert (heard.kind, heard.text) == ("phrase", text)
    assert heard.seconds == pytest.approx(len(sound) / EAR_RATE)


@pytest.mark.parametrize("name", STEADY_EARS)
@pytest.mark.parametrize("text", ["two point eight volts", "nine point five ohms", "yes"])
def test_every_hypothesis_is_a_phrase_and_scores_fall(
    ears: dict[str, Recogniser], say: Callable[[str], Samples], name: str, text: str
) -> None:
    heard = hear(ears[name], say(text))
    assert heard.hypotheses
    graph = _small("small")
    assert all(accepts(graph, tuple(one.text.split())) for one in heard.hypotheses)
    assert all(a.score >= b.score for a, b in itertools.pairwise(heard.hypotheses))
    assert len({one.text for one in heard.hypotheses}) == len(heard.hypotheses)
    assert 0.0 < sum(heard.weights) <= 1.0 + 1e-9
    assert text in [one.text for one in heard.hypotheses]


@pytest.mark.parametrize("name", STEADY_EARS)
@pytest.mark.parametrize(
    "text",
    ["hand me the torch please", "where did I put my coffee this morning", "happy birthday"],
)
def test_other_words_are_no_reading(
    ears: dict[str, Recogniser], say: Callable[[str], Samples], name: str, text: str
) -> None:
    heard = hear(ears[name], say(text))
    if name == "other model":
        # It has no model of other words; all that is asked of it is whole phrases.
        assert all(accepts(_small("small"), tuple(one.text.split())) for one in heard.hypotheses)
    else:
        assert (heard.kind, heard.hypotheses) == ("other_words", ())


@pytest.mark.parametrize("name", EARS)
@pytest.mark.parametrize("seconds", [0.0, 0.01, 2.0])
def test_silence_is_silence(ears: dict[str, Recogniser], name: str, seconds: float) -> None:
    heard = hear(ears[name], np.zeros(int(seconds * EAR_RATE), dtype=np.int16))
    assert (heard.kind, heard.text) == ("silence", "")


@pytest.mark.parametrize("name", ["built-in", "both"])
@pytest.mark.parametrize("level", [30, 300, 3000])
def test_noise_is_no_reading(ears: dict[str, Recogniser], name: str, level: int) -> None:
    hiss = np.random.default_rng(3).normal(0, level, 2 * EAR_RATE)
    heard = hear(ears[name], np.clip(hiss, -32768, 32767).astype(np.int16))
    assert (heard.text, heard.hypotheses) == ("", ())


@pytest.mark.parametrize("name", EARS)
def test_blocks_and_earlier_speech_change_nothing(
    ears: dict[str, Recogniser], say: Callable[[str], Samples], name: str
) -> None:
    sound = say("five point two ohms")
    alone = hear(ears[name], sound)
    hear(ears[name], say("twelve point six volts"))
    again = hear(ears[name], sound, block=777)
    assert [one.text for one in again.hypotheses] == [one.text for one in alone.hypotheses]
    assert [one.score for one in again.hypotheses] == pytest.approx(
        [one.score for one in alone.hypotheses], abs=0.05
    )


@pytest.mark.parametrize("name", EARS)
def test_two_streams_do_not_hear_each_other(
    ears: dict[str, Recogniser], say: Callable[[str], Samples], name: str
) -> None:
    first, second = ears[name].begin("small"), ears[name].begin("small")
    one, two = say("twelve point six volts"), say("repeat")
    for start in range(0, max(len(one), len(two)), 1600):
        first.feed(one[start : start + 1600])
        second.feed(two[start : start + 1600])
    assert (first.finish().text, second.finish().text) == ("twelve point six volts", "repeat")


@pytest.mark.parametrize("name", ["built-in", "both"])
def test_a_stream_outlives_that_the_ear_turns_to_another_grammar(
    ears: dict[str, Recogniser], say: Callable[[str], Samples], name: str
) -> None:
    first = ears[name].begin("small")
    assert hear(ears[name], np.zeros(800, dtype=np.int16), "light").kind == "silence"
    first.feed(say("twelve point six volts"))
    assert first.finish().text == "twelve point six volts"
    assert hear(ears[name], say("five volts")).text == "five volts"


def test_a_finished_stream_keeps_no_model_in_memory() -> None:
    """Every model holds the network anew, and one is what memory allows."""
    ear = BuiltinEar(_small)
    stream = ear.begin("small")
    kept = ear._kept
    assert kept is not None
    model = weakref.ref(kept[1])
    del kept
    stream.feed(np.zeros(800, dtype=np.int16))
    assert stream.finish().kind == "silence"
    ear.begin("light")
    assert model() is None


@pytest.mark.parametrize("name", EARS)
def test_a_finished_stream_takes_no_more(ears: dict[str, Recogniser], name: str) -> None:
    stream = ears[name].begin("small")
    stream.finish()
    with pytest.raises(MisuseError):
        stream.feed(np.zeros(100, dtype=np.int16))
    with pytest.raises(MisuseError):
        stream.finish()


@pytest.mark.parametrize("grammar", ["volts", "ohms", "continuity", "light", "any"])
def test_real_grammars_load(ears: dict[str, Recogniser], grammar: str) -> None:
    for name in ("built-in", "pocketsphinx"):
        assert hear(ears[name], np.zeros(800, dtype=np.int16), grammar).kind == "silence"


# --- another model -------------------------------------------------------------------------


def test_words_that_a_model_lacks_are_named(tmp_path: Path) -> None:
    other = write_other_model(tmp_path, {"one", "two", "volts"})
    ear = VoskModelEar(other, {"one", "two", "volts", "millivolts", "beep"}, _small)
    assert ear.missing == ("beep", "millivolts")
    with pytest.raises(GivenError, match="none of the words"):
        VoskModelEar(other, {"beep", "millivolts"}, _small)


def test_a_directory_that_only_looks_like_a_model_is_refused(tmp_path: Path) -> None:
    (tmp_path / "am").mkdir()
    (tmp_path / "am" / "final.mdl").write_bytes(b"nonsense")
    with pytest.raises(GivenError):
        VoskModelEar(tmp_path, {"one"}, _small)


@pytest.mark.parametrize("name", ["volts", "light", "small"])
def test_the_phrases_for_a_runtime_grammar_use_every_arc(name: str) -> None:
    graph = _small(name)
    cover = phrase_cover(graph)
    assert all(accepts(graph, tuple(phrase.split())) for phrase in cover)
    assert {word for phrase in cover for word in phrase.split()} == graph.words
    assert list(cover) == sorted(set(cover))


# --- two ears ------------------------------------------------------------------------------


def _phrase(*pairs: tuple[str, float]) -> Heard:
    return Heard(
        kind="phrase",
        hypotheses=tuple(Hypothesis(text=text, score=score) for text, score in pairs),
        recogniser="first",
    )


def test_what_the_first_refuses_stays_refused() -> None:
    refused = Heard(kind="other_words")
    assert agreed(refused, _phrase(("undo", -3.0))) is refused
    assert agreed(refused, Heard(kind="silence")) is refused


def test_what_both_hear_gains_and_what_they_do_not_is_close() -> None:
    first = _phrase(("fifteen", -10.0), ("fifty", -11.0))
    both = agreed(first, _phrase(("fifty", -2.0)))
    assert both.text == "fifty"
    assert both.margin == pytest.approx(3.0)
    apart = agreed(first, _phrase(("sixty", -2.0)))
    assert apart.text == "fifteen"
    assert apart.margin == 0.0
    assert agreed(first, Heard(kind="other_words")) is first


def test_a_sure_first_ear_is_not_gone_behind() -> None:
    class Fixed:
        name = "fixed"

        def __init__(self, heard: Heard) -> None:
            self.heard, self.begun = heard, 0

        def begin(self, _: str) -> Fixed:
            self.begun += 1
            return self

        def feed(self, pcm: Samples) -> None: ...

        def finish(self) -> Heard:
            return self.heard

    second = Fixed(_phrase(("no", 0.0)))
    for heard, asked in (
        (_phrase(("yes", -1.0), ("no", -9.0)), 0),
        (Heard(kind="silence"), 0),
        (_phrase(("yes", -1.0), ("no", -2.0)), 1),
        (Heard(kind="other_words"), 1),
    ):
        BothEars(Fixed(heard), second).begin("small").finish()
        assert second.begun == asked
