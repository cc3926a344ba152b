from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.readings.reading import reading_from_json
from assistant.speech.acoustic import voices as trained
from audio_fixtures.heldout import MANIFEST_HEAD, draw, draw_teens, whole_in_words
from audio_fixtures.voices import DEVELOPMENT, HELD_OUT, NATURAL

num2words = pytest.importorskip("num2words").num2words


@given(st.integers(0, 999))
def test_whole_numbers_are_said_as_num2words_says_them(number: int) -> None:
    # Source: the library num2words (English), but for its hyphens and "one hundred".
    told = num2words(number).replace("-", " ").replace("one hundred", "a hundred")
    assert whole_in_words(number) == told


def test_drawing_is_repeatable_and_balanced() -> None:
    drawn = draw(400, 7)
    assert drawn == draw(400, 7)
    assert drawn != draw(400, 8)
    assert set(Counter(spoken.voice for spoken in drawn).values()) == {40}
    assert {spoken.voice for spoken in drawn} == HELD_OUT
    assert set(Counter(spoken.noise_db for spoken in drawn).values()) == {100}
    pairs = {(spoken.voice, spoken.noise_db) for spoken in drawn}
    assert len(pairs) == 4 * len(HELD_OUT)
    assert len({spoken.seed for spoken in drawn}) == len(drawn)


def test_each_has_a_reading_or_a_command_and_a_full_row() -> None:
    for spoken in draw(400, 9):
        assert (spoken.reading is None) != (spoken.command is None)
        if spoken.reading is not None:
            reading_from_json(spoken.reading)
        row = spoken.row("x.wav").split("\t")
        assert len(row) == len(MANIFEST_HEAD.split("\t"))
        assert row[:3] == ["x.wav", spoken.words, spoken.voice]


def test_a_clean_set_is_spread_over_its_voices() -> None:
    drawn = draw(130, 7, voices=NATURAL, clean=True)
    assert set(Counter(spoken.voice for spoken in drawn).values()) == {10}
    assert {(spoken.room, spoken.noise_db) for spoken in drawn} == {("none", None)}


def test_at_least_twelve_natural_voices_were_never_trained_on() -> None:
    assert len(NATURAL) >= 12
    used = {*trained.KOKORO_TRAINING, *trained.KOKORO_FOREIGN, *trained.FLITE_TRAINING}
    assert NATURAL.isdisjoint(used)
    assert HELD_OUT.isdisjoint(DEVELOPMENT)


def test_each_voice_says_every_teen_and_ten_with_and_without_unit() -> None:
    drawn = draw_teens(42 * len(NATURAL), 5, voices=NATURAL)
    for voice in NATURAL:
        said = [spoken.words for spoken in drawn if spoken.voice == voice]
        assert len(said) == len(set(said)) == 42
    numbers = {spoken.reading["value"] for spoken in drawn if spoken.reading}
    assert numbers == {13, 14, 15, 16, 17, 18, 19, 30, 40, 50, 60, 70, 80, 90}
    for spoken in drawn:
        assert spoken.reading is not None
        reading_from_json(spoken.reading)
        assert spoken.words.startswith(whole_in_words(spoken.reading["value"]))
        assert spoken.set == spoken.row("x.wav").split("\t")[-1] == "teens"
