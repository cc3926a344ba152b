"""The second network's opinion: its features, its scores and its file."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.speech.acoustic.export import posteriors, read_model
from assistant.speech.audio import EAR_RATE, Samples
from assistant.speech.calibration import builtin_calibration
from assistant.speech.filterbank import filter_bank
from assistant.speech.lexicon import network_lexicon
from assistant.speech.modeldir import builtin_directory
from assistant.speech.opinion import Opinion
from assistant.speech.phonegraph import OTHER_WORDS, GraphCosts
from assistant.speech.secondnet import SecondNet, builtin_second, turns, write_second

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

_COSTS = GraphCosts(blank=2.25, word=0.9, loop_phone=0.75, other_words=1.8)


def _noise(seed: int, seconds: float, level: float = 800.0) -> Samples:
    rng = np.random.default_rng(seed)
    return (rng.standard_normal(round(seconds * EAR_RATE)) * level).astype(np.int16)


def test_features_are_those_of_kaldi() -> None:
    """Reference library: kaldi-native-fbank, 40 bands from 20 to 7600 Hz, no dither."""
    pytest.importorskip("kaldi_native_fbank", reason="kaldi-native-fbank is not installed")
    from assistant.speech.acoustic.proof import kaldi_features

    times = np.arange(EAR_RATE) / EAR_RATE
    swept = (6000 * np.sin(2 * np.pi * (100 + 1400 * times) * times)).astype(np.int16)
    for sound in (swept + _noise(1, 1.0, 30.0), _noise(2, 0.56)):
        wanted = kaldi_features(sound)
        got = filter_bank(sound)
        assert got.shape == wanted.shape
        # A band far under the loudest one loses digits of its logarithm in single precision.
        assert np.abs(got - wanted).max() < 3e-3


def test_a_sound_shorter_than_a_frame_has_no_features() -> None:
    assert filter_bank(_noise(3, 0.02)).shape == (0, 40)
    assert filter_bank(_noise(3, 0.025)).shape == (1, 40)


def test_a_tone_is_loudest_in_the_band_whose_middle_is_nearest() -> None:
    """Middles lie evenly on 1127 ln(1 + f/700) from 20 to 7600 Hz (Kaldi's documentation)."""
    ends = 1127 * np.log(1 + np.array([20.0, 7600.0]) / 700)
    middles = 700 * (np.exp(np.linspace(*ends, 42)[1:-1] / 1127) - 1)
    times = np.arange(8000) / EAR_RATE
    for hertz in (300.0, 1000.0, 3000.0, 6000.0):
        tone = (5000 * np.sin(2 * np.pi * hertz * times)).astype(np.int16)
        loudest = filter_bank(tone).mean(0).argmax()
        assert abs(loudest - np.abs(middles - hertz).argmin()) <= 1


@pytest.mark.parametrize("text", ["twelve point six volts", "nine ohms", "yes"])
def test_scores_are_those_that_vosk_gives_with_the_same_network(
    say: Callable[[str], Samples], text: str
) -> None:
    """Reference: vosk 0.3.45 decoding the program's own graph with the first network."""
    pytest.importorskip("vosk", reason="vosk has no wheel for this machine")
    from assistant.speech.ear_vosk import BuiltinEar

    figures = builtin_calibration().model_copy(
        update={"second": False, "unusual": 0.0, "expected": 0.0, "sharpness": 1.0}
    )
    ear = BuiltinEar(figures=figures, refuses=False)
    stream = ear.begin("any")
    fed: list[Samples] = []
    accept = stream._accept

    def kept(pcm: Samples) -> None:
        fed.append(pcm)
        accept(pcm)

    stream._accept = kept  # type: ignore[method-assign]
    stream.feed(say(text))
    heard = stream.finish()
    assert heard.text == text
    layers = read_model(builtin_directory() / "am" / "final.mdl")
    scores = posteriors(layers, filter_bank(np.concatenate(fed))).astype(np.float32)
    opinion = Opinion(lambda _: scores, network_lexicon(), _COSTS)
    texts = [one.text for one in heard.hypotheses]
    ours = {one.text: one.score for one in opinion.scored(scores, texts)}
    for one in heard.hypotheses:
        assert ours[one.text] == pytest.approx(one.score, abs=0.3)
    # What is common to all, such as how vosk computes the last outputs, takes no part in a choice
    best = heard.hypotheses[0]
    for one in heard.hypotheses[1:]:
        assert ours[best.text] - ours[one.text] == pytest.approx(best.score - one.score, abs=0.02)


def test_a_phrase_counts_by_the_best_of_its_ways_and_pays_for_its_words() -> None:
    scores = np.log(np.random.default_rng(5).dirichlet(np.ones(40), 30)).astype(np.float32)
    lexicon = {"either": (("IY", "DH", "ER"), ("AY", "DH", "ER")), "one": (("W", "AH", "N"),)}
    both = Opinion(lambda _: scores, lexicon, _COSTS).scored(scores, ["either one"])
    ways = []
    for way in lexicon["either"]:
        single = {**lexicon, "either": (way,)}
        found = Opinion(lambda _: scores, single, _COSTS).scored(scores, ["either one"])
        ways += [one.score for one in found if one.text == "either one"]
    told = {one.text: one.score for one in both}
    assert told["either one"] == max(ways)
    assert set(told) == {"either one", "", OTHER_WORDS}
    dear = GraphCosts(blank=2.25, word=1.9, loop_phone=0.75, other_words=2.8)
    again = {
        one.text: one.score
        for one in Opinion(lambda _: scores, lexicon, dear).scored(scores, ["either one"])
    }
    assert told["either one"] - again["either one"] == pytest.approx(2.0, abs=1e-4)
    assert told[OTHER_WORDS] - again[OTHER_WORDS] == pytest.approx(1.0, abs=1e-4)
    assert told[""] == again[""]


def test_a_word_with_many_ways_in_a_long_phrase_is_still_scored() -> None:
    scores = np.log(np.random.default_rng(6).dirichlet(np.ones(40), 60)).astype(np.float32)
    lexicon = {"a": (("AH",), ("EY",), ("AE",))}
    found = Opinion(lambda _: scores, lexicon, _COSTS).scored(scores, [" ".join("a" * 9)])
    assert all(np.isfinite(one.score) for one in found)


# --- the network ---------------------------------------------------------------------------


def test_posteriors_are_shares_of_one_for_each_third_frame() -> None:
    net = builtin_second()
    for frames in (1, 3, 4, 60):
        features = np.random.default_rng(frames).normal(9, 3, (frames, 40)).astype(np.float32)
        shares = np.exp(net.posteriors(features))
        assert shares.shape == (-(-frames // 3), 40)
        assert shares.sum(1) == pytest.approx(1.0, abs=1e-4)


def test_the_second_network_hears_the_programs_own_voice(say: Callable[[str], Samples]) -> None:
    opinion = Opinion(builtin_second().posteriors, network_lexicon(), _COSTS)
    texts = ["fifteen volts", "fifty volts", "sixteen volts", "sixty volts", "five point five ohms"]
    for text in texts:
        found = opinion.of(say(text), texts)
        assert max(found, key=lambda one: one.score).text == text


def test_all_weights_together_stay_below_8_megabytes() -> None:
    assert sum(path.stat().st_size for path in (builtin_directory() / "am").iterdir()) < 8e6


def _random(width: int, blocks: int) -> dict[str, NDArray[np.float32]]:
    rng = np.random.default_rng(7)
    made = {"mu": rng.normal(size=40), "sd": rng.uniform(1, 2, 40)}
    sizes = {"in": (width, 360), "out": (40, width)}
    for block in range(blocks):
        sizes |= {f"{block}.gate": (2 * width, width), f"{block}.conv": (width, width)}
        sizes |= {f"{block}.ask": (3 * width, width), f"{block}.attend": (width, width)}
        sizes |= {f"{block}.wider": (3 * width, width), f"{block}.wide": (width, 3 * width)}
        made[f"{block}.deep.weight"] = rng.normal(size=(width, 11)) / 3
    for name, (rows, columns) in sizes.items():
        made[f"{name}.weight"] = rng.normal(size=(rows, columns)) * columns**-0.5
        made[f"{name}.bias"] = rng.normal(size=rows) / 10
    norms = [
        "out",
        *(f"{b}.{p}" for b in range(blocks) for p in ("conv", "deep", "attend", "wide")),
    ]
    for name, kind in itertools.product(norms, ("scale", "shift")):
        made[f"{name}.{kind}"] = rng.normal(1 if kind == "scale" else 0, 0.1, width)
    return {name: np.asarray(one, np.float32) for name, one in made.items()}


def test_what_is_written_is_read_back_within_half_a_step(tmp_path: Path) -> None:
    weights = _random(16, 1)
    write_second(weights, tmp_path / "net.npz")
    with np.load(tmp_path / "net.npz") as held:
        step, steps = held["0.gate.step"], held["0.gate.steps"]
        assert held["0.deep.weight"] == pytest.approx(weights["0.deep.weight"])
    assert steps.dtype == np.int8
    away = np.abs(steps.T * step[:, None] - weights["0.gate.weight"])
    assert np.all(away <= step[:, None] / 2 * 1.001)
    net = SecondNet(tmp_path / "net.npz")
    assert np.isfinite(net.posteriors(np.zeros((30, 40), np.float32))).all()


def test_rotation_keeps_likeness_to_how_far_places_are_apart() -> None:
    """Rotated by their places, two vectors meet by the difference of these (Su et al., 2021)."""
    cos, sin = turns(30, 8)
    rng = np.random.default_rng(8)
    one, other = rng.normal(size=(2, 2, 8))

    def turned(vector: NDArray[np.float64], place: int) -> NDArray[np.float64]:
        low, high = vector
        c, s = cos[place], sin[place]
        return np.concatenate([low * c - high * s, low * s + high * c])

    for gap in (0, 3, 11):
        met = [turned(one, at + gap) @ turned(other, at) for at in (0, 5, 17)]
        assert met == pytest.approx([met[0]] * 3, abs=1e-4)
