"""The ear's table: its sets are unseen, its conditions are what they say, its counts add up."""

from __future__ import annotations

import math
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from assistant.benchmarks import ear_cost, ear_sets, ear_table
from assistant.benchmarks.ear_clips import Clip, degraded, grammar_graph, read_clips
from assistant.benchmarks.ear_sets import Said
from assistant.errors import GivenError
from assistant.speech.acoustic import voices
from assistant.speech.audio import EAR_RATE, Samples, read_sound
from assistant.speech.events import Heard, Hypothesis, accepts
from assistant.speech.parts import MissingPartError
from audio_fixtures.listing import HERE

_RNG = np.random.default_rng(8)
_TONE: Samples = (8000 * np.sin(np.arange(EAR_RATE) * (2 * math.pi * 1000 / EAR_RATE))).astype(
    np.int16
)
_HISS: Samples = (_RNG.standard_normal(EAR_RATE) * 500).astype(np.int16)


class TellingEar:
    """Hears, one after the other, what it was given."""

    name = "telling"

    def __init__(self, told: list[Heard]) -> None:
        self._told = iter(told)

    def begin(self, grammar: str) -> TellingEar:
        del grammar
        return self

    def feed(self, pcm: Samples) -> None:
        assert len(pcm)

    def finish(self) -> Heard:
        return next(self._told)


def _phrase(*found: tuple[str, float]) -> Heard:
    listed = tuple(Hypothesis(text=text, score=score) for text, score in found)
    return Heard(kind="phrase", hypotheses=listed)


def test_no_voice_of_the_table_is_one_of_training() -> None:
    assert set(ear_sets.FLITE).isdisjoint(voices.FLITE_TRAINING)
    trained = {variant.lstrip("+") for variant in voices._VARIANTS}
    assert trained.isdisjoint(voice.partition("+")[2] for voice in ear_sets.ESPEAK)


@given(st.floats(min_value=0, max_value=20))
def test_noise_lies_so_many_decibels_under_the_speech(decibels: float) -> None:
    """Of powers, as SNR is defined; the speech is soft enough that nothing is scaled."""
    heard = degraded(_TONE, noise=_HISS, snr_db=decibels, telephone=False, seed=1)
    added = heard.astype(float) - _TONE
    if np.abs(heard).max() < 32767:
        power = np.mean(_TONE.astype(float) ** 2) / np.mean(added**2)
        assert 10 * math.log10(power) == pytest.approx(decibels, abs=0.1)


def test_a_telephone_line_passes_the_band_and_nothing_above() -> None:
    """300 to 3400 Hz is the band of ITU-T G.712; white noise goes in."""
    heard = degraded(_HISS, noise=None, snr_db=0.0, telephone=True, seed=1)
    power = np.abs(np.fft.rfft(heard.astype(float))) ** 2
    hertz = np.fft.rfftfreq(len(heard), 1 / EAR_RATE)
    inside = power[(hertz > 500) & (hertz < 3000)].mean()
    assert power[hertz > 4300].mean() < inside / 300
    assert power[hertz < 100].mean() < inside / 30


def test_counts_tell_right_wrong_asked_and_refused() -> None:
    clip = Clip(Path(), "twelve volts", {"expect": "dc_voltage"})
    told = [
        _phrase(("twelve volts", 0.0), ("twelve volt", -1.0)),
        _phrase(("twelve volts", 0.0), ("eleven volts", -1.0)),
        _phrase(("eleven volts", 0.0), ("twelve volts", -9.0)),
        Heard(kind="other_words"),
    ]
    counts = ear_table.counted(TellingEar(told), [Said(clip, _TONE, "volts")] * 4)
    assert dict(counts) == {
        "clips": 4,
        "value": 2,
        "wrong": 1,
        "asked": 1,
        "asked_right": 1,
        "refused": 1,
    }


def test_connected_numbers_must_be_exact() -> None:
    said = [Said(Clip(Path(), "one oh two", {}), _TONE, "numbers")]
    told = [_phrase(("one zero two", 0.0))]
    assert ear_table.counted(TellingEar(told), said)["value"] == 0
    told = [_phrase(("one oh two", 0.0))]
    assert ear_table.counted(TellingEar(told), said)["value"] == 1


def test_what_is_taken_for_a_phrase_among_other_words_is_wrong() -> None:
    said = [Said(Clip(Path(), "put the kettle on", {}), _TONE, "any")]
    counts = ear_table.counted(TellingEar([_phrase(("stop", 0.0))]), said, others=True)
    assert (counts["value"], counts["wrong"]) == (0, 1)


def test_the_grammars_of_people() -> None:
    digits, numbers = grammar_graph("digits"), grammar_graph("numbers")
    assert accepts(digits, ("seven",))
    assert not accepts(digits, ("seven", "one"))
    assert accepts(numbers, ("seven", "oh", "twenty", "one"))
    assert not accepts(numbers, ("seven", "volts"))


def test_only_people_that_were_split_off_are_in_the_table(tmp_path: Path) -> None:
    lines = ["file\twords\tspeaker\tsplit\tset\tlicence\trate"]
    for number in range(40):
        soundfile.write(tmp_path / f"{number}.wav", np.zeros(800), EAR_RATE)
        lines.append(f"{number}.wav\tseven\tp:{number}\ttrain\tan4\tBSD\t16000")
    soundfile.write(tmp_path / "f.wav", np.zeros(800), EAR_RATE)
    lines.append("f.wav\tseven\tfsdd:g\tdev\tfsdd\tCC\t8000")
    (tmp_path / "manifest.tsv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = {said.clip.row["speaker"] for said in ear_sets.people(tmp_path, "digits")}
    assert 0 < len(found) < 20
    assert "fsdd:g" not in found
    assert len(ear_sets.people(tmp_path, "fsdd")) == 1
    assert ear_sets.people(tmp_path, "words") == []


def test_a_set_without_data_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def absent(*_: object) -> None:
        raise MissingPartError("pocketsphinx", next_step="Install it.")

    monkeypatch.setattr(ear_sets, "speakers", tuple)
    monkeypatch.setattr(ear_sets, "noises", lambda folder: [])  # noqa: ARG005 - the same shape
    monkeypatch.setattr(ear_table, "SphinxEar", absent)
    ear_table.show(3, people=None, voices=None, noise=None)
    told = capsys.readouterr().out
    rows = [line for line in told.splitlines() if line.endswith("no data here")]
    assert len(rows) == 13 + 4 + 2
    assert "weights, MB" in told


class SlowEar:
    """Takes a while over everything; tells how much sound it was given."""

    name = "slow"

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self.samples = 0

    def begin(self, grammar: str) -> SlowEar:
        del grammar
        return self

    def feed(self, pcm: Samples) -> None:
        self.samples += len(pcm)

    def finish(self) -> Heard:
        time.sleep(self._seconds)
        return Heard(kind="silence")


@pytest.mark.parametrize("seconds", [0.0, 0.2])
def test_the_wait_is_that_after_the_last_block_and_no_pause(seconds: float) -> None:
    pytest.importorskip("webrtcvad")
    whole = read_sound(HERE / "readings" / "r01_twelve_point_six_volts.flac").samples
    sound = whole[: int(1.2 * EAR_RATE)]  # ends in the middle of a word
    ear = SlowEar(seconds)
    (found,) = ear_cost.waits(ear, [Said(Clip(Path(), "", {}), sound, "volts")])
    assert found.wall >= seconds
    assert found.pause >= 0.7  # hangover_ms of EdgeSettings
    assert ear.samples > EAR_RATE


def test_silence_has_no_end_of_speech_to_wait_for() -> None:
    quiet = Said(Clip(Path(), "", {}), np.zeros(EAR_RATE, np.int16), "volts")
    assert ear_cost.waits(SlowEar(0.0), [quiet]) == []


def test_the_ear_adds_at_most_60_megabytes() -> None:
    """The bar for the built-in ear; a fresh process tells what it holds."""
    pytest.importorskip("vosk", reason="vosk has no wheel for this machine")
    memory = ear_cost.memory_of_fresh_process()
    if memory is None:
        pytest.skip("this system tells no memory")
    assert 5 < memory[0] <= memory[1] <= 60


def test_a_folder_without_a_list_is_refused(tmp_path: Path) -> None:
    with pytest.raises(GivenError):
        read_clips(tmp_path)
