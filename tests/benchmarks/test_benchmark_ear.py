"""The ear's table: its sets are unseen, its conditions are what they say, its counts add up."""

from __future__ import annotations

import math
import time
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from assistant.benchmarks import ear, ear_cost, ear_sets, ear_table
from assistant.benchmarks.ear_clips import Clip, degraded, grammar_graph, read_clips
from assistant.benchmarks.ear_sets import Said
from assistant.benchmarks.ear_table import Recordings
from assistant.errors import GivenError
from assistant.speech.acoustic import voices
from assistant.speech.audio import EAR_RATE, Samples, read_sound
from assistant.speech.events import Heard, Hypothesis, accepts
from assistant.speech.parts import MissingPartError
from audio_fixtures import voices as fixtures
from audio_fixtures.heldout import MANIFEST_HEAD, draw, draw_teens
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
    assert ear_sets.DEVELOPMENT == fixtures.DEVELOPMENT
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
    counts = ear_table.judged(TellingEar(told), [Said(clip, _TONE, "volts")] * 4)
    assert dict(sum(counts, Counter())) == {
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
    assert ear_table.judged(TellingEar(told), said)[0]["value"] == 0
    told = [_phrase(("one oh two", 0.0))]
    assert ear_table.judged(TellingEar(told), said)[0]["value"] == 1


def test_what_is_taken_for_a_phrase_among_other_words_is_wrong() -> None:
    said = [Said(Clip(Path(), "put the kettle on", {}), _TONE, "any")]
    (counts,) = ear_table.judged(TellingEar([_phrase(("stop", 0.0))]), said, others=True)
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


def _set_of_voices(folder: Path, count: int) -> Path:
    """A set as ``audio_fixtures/render.py`` writes it, every clip the same tone."""
    some = ("af_bella", "joe", "rms")
    drawn = (*draw(count, 4, voices=some, clean=True), *draw_teens(count, 4, voices=some))
    rows = [MANIFEST_HEAD, *(one.row(f"{number}.wav") for number, one in enumerate(drawn))]
    for number in range(len(drawn)):
        soundfile.write(folder / f"{number}.wav", _TONE, EAR_RATE, subtype="PCM_16")
    (folder / "manifest.tsv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


def test_the_clips_of_a_set_are_those_of_its_rows(tmp_path: Path) -> None:
    folder = _set_of_voices(tmp_path, 12)
    said = ear_sets.natural(None, folder)
    wanted = draw(12, 4, voices=("af_bella", "joe", "rms"), clean=True)
    assert [one.clip.words for one in said] == [one.words for one in wanted]
    assert all((one.sound == _TONE).all() for one in said)
    few = ear_sets.natural(4, folder)
    assert [one.clip.words for one in few] == [wanted[k].words for k in (0, 3, 6, 9)]
    teens = ear_sets.teens(None, folder)
    assert len(teens) == 12
    assert all(one.clip.row["set"] == "teens" for one in teens)


def test_a_set_of_before_has_phrases_alone(tmp_path: Path) -> None:
    """Its rows have no column for the set; noisy ones are not of the first row."""
    soundfile.write(tmp_path / "a.wav", _TONE, EAR_RATE)
    lines = ["file\twords\tnoise_db", "a.wav\tten volts\tclean", "a.wav\tsix volts\t10"]
    (tmp_path / "manifest.tsv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert [one.clip.words for one in ear_sets.natural(None, tmp_path)] == ["ten volts"]
    assert ear_sets.teens(None, tmp_path) == []


def test_speech_is_louder_than_its_clip_by_the_share_of_quiet() -> None:
    """A tone for half of the clip: its power is twice that of the clip, 3.0 dB.

    The envelope of P.56 runs on for 0.2 s and counts as speech what it covers, so a little less.
    """
    half = np.concatenate([np.zeros(4 * EAR_RATE, np.int16), *[_TONE] * 4])
    said = [Said(Clip(Path(), "", {}), half, "volts")]
    assert ear_sets.speech_over_clip(said) == pytest.approx(3.01, abs=0.25)
    assert ear_sets.speech_over_clip([]) is None


def test_voices_speak_in_turn_and_the_rows_name_them(monkeypatch: pytest.MonkeyPatch) -> None:
    spoken = []

    def speak(words: str, engine: str, voice: str) -> Samples:
        spoken.append((words, engine, voice))
        return _TONE

    monkeypatch.setattr(ear_sets, "_spoken", speak)
    monkeypatch.setattr(ear_sets.shutil, "which", str)
    said = ear_sets.natural(4)
    assert [one.clip.row["voice"] for one in said] == ["rms", "kal16", "rms", "kal16"]
    assert [one.clip.words for one in said] == [words for words, _, _ in spoken]
    assert {engine for _, engine, _ in spoken} == {"flite"}
    assert {one.clip.row["voice"] for one in ear_sets.formant(8)} == set(ear_sets.ESPEAK)
    assert {one.clip.row["voice"] for one in ear_sets.teens(4)} == {"rms", "kal16"}


def test_people_of_packages_are_sorted_by_their_sets(tmp_path: Path) -> None:
    lines = ["file\twords\tspeaker\tsplit\tset\tlicence\trate\texpect"]
    for number, name in enumerate(["a_numbers", "b_numbers", "a_joined", "c_others", "c_words"]):
        soundfile.write(tmp_path / f"{number}.wav", np.zeros(800), EAR_RATE)
        words = "oh" if name == "b_numbers" else "seven"  # "oh" alone is no reading
        lines.append(f"{number}.wav\t{words}\tp:{number}\tdev\t{name}\tGPL\t16000\tresistance")
    (tmp_path / "manifest.tsv").write_text("\n".join(lines) + "\n", encoding="utf-8")

    def found(which: str) -> list[tuple[str, str]]:
        said = ear_sets.packaged(tmp_path, which)
        return [(one.clip.row["speaker"], one.grammar) for one in said]

    assert found("numbers") == [("p:0", "ohms")]
    assert found("joined") == [("p:2", "ohms")]
    assert found("others") == [("p:3", "ohms")]


class RepeatingEar:
    """Always hears the same."""

    def __init__(self, name: str, heard: Heard) -> None:
        self.name = name
        self._heard = heard

    def begin(self, grammar: str) -> RepeatingEar:
        del grammar
        return self

    def feed(self, pcm: Samples) -> None:
        assert len(pcm)

    def finish(self) -> Heard:
        return self._heard


def _table(monkeypatch: pytest.MonkeyPatch, peer: RepeatingEar | None = None) -> None:
    """Let the table be made by ears that are told what they hear, without its costs."""

    def sphinx(*_: object) -> RepeatingEar:
        if peer is None:
            raise MissingPartError("pocketsphinx", next_step="Install it.")
        return peer

    first = RepeatingEar("first", _phrase(("twelve volts", 0.0)))
    monkeypatch.setattr(ear_table, "BuiltinEar", lambda *_: first)
    monkeypatch.setattr(ear_table, "SphinxEar", sphinx)
    monkeypatch.setattr(ear_table, "cost_rows", lambda *_: iter(["costs"]))
    monkeypatch.setattr(ear_sets, "speakers", lambda *_: ())


def test_a_set_without_data_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _table(monkeypatch)
    monkeypatch.setattr(ear_sets, "noises", lambda folder: [])  # noqa: ARG005 - the same shape
    ear_table.show(3, Recordings(), peer_every=5)
    told = capsys.readouterr().out
    rows = [line for line in told.splitlines() if line.endswith("no data here")]
    assert len(rows) == 17 + 4 + 1 + 1  # sets, what is made of them, by voice, level
    assert "pocketsphinx is not installed" in told


@pytest.mark.parametrize(("small", "heard"), [(10, (3, 1, 2)), (12, (12, 4, 8))])
def test_the_peer_hears_some_of_a_large_set_and_the_first_row_comes_by_voice(
    small: int,
    heard: tuple[int, int, int],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    """Twelve clips of three voices, a step of four; ``heard``: all, one voice, held out."""
    _table(monkeypatch, RepeatingEar("second", Heard(kind="other_words")))
    monkeypatch.setattr(ear_sets, "noises", lambda folder: [_HISS])  # noqa: ARG005 - the same shape
    monkeypatch.setattr(ear_table, "_SMALL", small)
    ear_table.show(None, Recordings(voices=_set_of_voices(tmp_path, 12)), peer_every=4)
    told = capsys.readouterr()
    lines = {line[:46].strip(): line[54:].split() for line in told.out.splitlines()}
    every, voice, held_out = map(str, heard)
    refused = ["0.0", "0.0", "0.0", "100.0"]
    assert lines["unseen natural voices, clean"][1] == "12"
    assert lines["unseen natural voices, clean"][6:] == ["|", every, *refused]
    assert lines["af_bella"][1::6] == ["4", voice]
    assert lines["joe *"][1::6] == lines["all of development *"][1::6] == ["4", voice]
    assert lines["all held out"][1::6] == ["8", held_out]
    assert f"second hears one clip in 4, or all of up to {small}" in told.out
    assert "unseen natural voices, clean, first: 0 of 12" in told.err


def test_without_a_peer_the_table_is_of_one_ear(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    _table(monkeypatch, RepeatingEar("second", Heard(kind="other_words")))
    monkeypatch.setattr(ear_sets, "noises", lambda folder: [])  # noqa: ARG005 - the same shape
    ear_table.show(None, Recordings(), peer_every=0)
    assert "second" not in capsys.readouterr().out
    assert ear.main(["--peer-every", "-1"]) == 2


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
    slow = SlowEar(seconds)
    (found,) = ear_cost.waits(slow, [Said(Clip(Path(), "", {}), sound, "volts")])
    assert found.wall >= seconds
    assert found.pause >= 0.7  # hangover_ms of EdgeSettings
    assert slow.samples > EAR_RATE


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
