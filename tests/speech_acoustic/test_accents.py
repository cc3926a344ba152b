"""Accents: every English phone has sounds, and the clip is what the spelling says."""

from __future__ import annotations

import importlib.util

import numpy as np
import pytest

from assistant.readings.graphs import words_of_all_grammars
from assistant.speech.acoustic.accents import ACCENTS, accent_clip, spelled
from assistant.speech.lexicon import PHONES


def test_every_phone_has_sounds_in_every_accent() -> None:
    for voice, table in ACCENTS.items():
        assert set(table) == set(PHONES), voice


def test_every_word_of_the_grammars_is_spelled() -> None:
    rng = np.random.default_rng(1)
    for voice in ACCENTS:
        for word in words_of_all_grammars():
            assert spelled(word, voice, rng).count("<phoneme") == 1, (voice, word)
            assert '""' not in spelled(word, voice, rng), (voice, word)


def test_a_german_and_a_spaniard_say_volts_otherwise() -> None:
    # German spells the sound of English v with w (DIN 5009: W wie Wilhelm); Spanish v is a b
    # (Real Academia Espanola, Ortografia: b and v are one sound).
    rng = np.random.default_rng(1)
    assert spelled("volts", "de-DE", rng).startswith('<phoneme ph="v ')
    assert spelled("volts", "es-ES", rng).startswith('<phoneme ph="b ')


def test_an_unknown_word_is_refused() -> None:
    with pytest.raises(KeyError):
        spelled("qqqq", "de-DE", np.random.default_rng(1))


@pytest.mark.skipif(importlib.util.find_spec("py_nanotts") is None, reason="needs py-nanotts")
def test_the_voices_of_four_languages_speak() -> None:
    rng = np.random.default_rng(1)
    clips = [accent_clip("twelve point six volts", rng) for _ in range(12)]
    assert len({name.split()[1] for name, _ in clips}) >= 3
    for _, samples in clips:
        assert 16_000 < len(samples) < 5 * 16_000
        assert 0.01 < np.abs(samples).max() <= 1.0
