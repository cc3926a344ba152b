"""Quiet at the ends of a stream is held back, and nothing else."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from assistant.speech.audio import EAR_RATE, Samples
from assistant.speech.quietends import FRAME, KEPT, QuietEnds

_AROUND = KEPT * FRAME


def _through(sound: Samples, block: int) -> tuple[Samples, QuietEnds]:
    ends = QuietEnds()
    parts = [ends.take(sound[at : at + block]) for at in range(0, len(sound), block)]
    return np.concatenate([*parts, ends.rest(), sound[:0]]), ends


def _level(level: int, seconds: float) -> Samples:
    return np.full(round(seconds * EAR_RATE), level, dtype=np.int16)


def test_a_second_of_quiet_on_either_side_is_cut_to_what_is_kept() -> None:
    sound = np.concatenate([_level(30, 1.0), _level(3000, 0.5), _level(30, 1.0)])
    left, ends = _through(sound, 1000)
    assert np.array_equal(left, sound[EAR_RATE - _AROUND : EAR_RATE * 3 // 2 + _AROUND])
    assert (ends.begins_in_quiet, ends.ends_in_quiet) == (True, True)


def test_speech_cut_tightly_and_noise_lose_nothing() -> None:
    for sound in (_level(3000, 0.5), _level(3000, 0.103), np.concatenate([_level(200, 0.9)] * 2)):
        left, ends = _through(sound, 700)
        assert np.array_equal(left, sound)
        assert not ends.begins_in_quiet
        assert not ends.ends_in_quiet


def test_quiet_between_words_goes_on() -> None:
    word, pause = _level(3000, 0.3), _level(20, 2.0)
    sound = np.concatenate([word, pause, word])
    assert np.array_equal(_through(sound, 1600)[0], sound)
    ends = QuietEnds()
    assert len(ends.take(word)) == len(word)
    assert not len(ends.take(pause))
    assert len(ends.take(word)) == len(pause) + len(word)


def test_of_what_is_never_loud_nothing_goes_on() -> None:
    left, ends = _through(_level(30, 1.0), 512)
    assert not len(left)
    assert not ends.ends_in_quiet


_SOUNDS = st.lists(
    st.tuples(st.sampled_from([0, 30, 60, 3000, 20000]), st.integers(1, 5000)), max_size=6
).map(
    lambda runs: np.concatenate(
        [np.zeros(0, np.int16), *(_level(a, n / EAR_RATE) for a, n in runs)]
    )
)


@given(_SOUNDS, st.integers(100, 4000), st.integers(100, 4000))
def test_the_size_of_blocks_changes_nothing(sound: Samples, one: int, other: int) -> None:
    assert np.array_equal(_through(sound, one)[0], _through(sound, other)[0])


@given(_SOUNDS)
def test_what_is_left_is_one_piece_with_the_loudest_in_it(sound: Samples) -> None:
    left, _ = _through(sound, 1600)
    whole = sound[: len(sound) // FRAME * FRAME].reshape(-1, FRAME).astype(float)
    loudest = float(np.sqrt(np.mean(whole**2, axis=1)).max(initial=0.0))
    assert bool(len(left)) == (loudest > 40.0)
    if not len(left):
        return
    windows = np.lib.stride_tricks.sliding_window_view(sound, len(left))
    assert bool((windows == left).all(1).any())
    assert left.max() >= loudest
