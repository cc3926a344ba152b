from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np
import pytest
import yaml
from pydantic import ValidationError
from scipy.io import wavfile

from assistant.errors import GivenError
from audio_fixtures import render
from audio_fixtures.heldout import draw
from audio_fixtures.listing import HERE, Phrase, load_index, load_phrases, save_index
from audio_fixtures.render import main, render_benchmark, render_sets
from audio_fixtures.room import RATE
from audio_fixtures.voices import DEVELOPMENT, NATURAL, Speaker, engine_of

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

PHRASE = {
    "file": "demo/one.wav",
    "words": "twelve point six volts",
    "expect": "dc_voltage",
    "reading": {"value": 12.6, "unit": "V"},
    "voice": "am_michael",
    "room": "cabin",
    "noise": "pink",
    "noise_db": 20,
    "seed": 1,
}


class Humming(Speaker):
    """Speaks by humming, so that the recipe is tested where no voice is installed."""

    said: list[str]

    def say(self, words: str, voice: str, *, speed: float = 1.0) -> NDArray[np.float64]:
        self.said.append(words)
        seconds = 0.25 * len(words.split()) / speed
        hum = sum(np.sin(2 * np.pi * 140 * k * np.arange(int(seconds * RATE)) / RATE) / k
                  for k in range(1, 9))  # fmt: skip
        return np.asarray(hum * (1.0 if voice[0] == "a" else 0.5))


@pytest.fixture
def humming() -> Humming:
    speaker = Humming()
    speaker.said = []
    return speaker


def folder_with(tmp_path: Path, **sets: list[dict[str, object]]) -> Path:
    (tmp_path / "phrases.yaml").write_text(yaml.safe_dump(sets), "utf-8")
    return tmp_path


def test_renders_what_is_missing_and_keeps_what_was_heard(tmp_path: Path, humming: Humming) -> None:
    second = {**PHRASE, "file": "demo/two.wav", "words": "beep", "expect": "continuity"}
    second["reading"] = {"beep": True}
    folder = folder_with(tmp_path, demo=[PHRASE], readings=[second])
    assert render_sets(["demo"], humming, folder=folder) == ["demo/one.wav"]
    rate, samples = wavfile.read(folder / "demo/one.wav")
    assert (rate, samples.dtype, samples.ndim) == (RATE, np.dtype(np.int16), 1)
    assert [entry.file for entry in load_index(folder / "index.yaml")] == ["demo/one.wav"]

    marked = load_index(folder / "index.yaml")[0].model_copy(
        update={"hard": True, "heard": "twelve point six"}
    )
    save_index((marked,), folder / "index.yaml")
    assert render_sets([], humming, folder=folder) == ["demo/two.wav"]
    first = load_index(folder / "index.yaml")[0]
    assert (first.hard, first.heard) == (True, "twelve point six")

    assert render_sets([], humming, anew=True, folder=folder) == ["demo/one.wav", "demo/two.wav"]
    assert not load_index(folder / "index.yaml")[0].hard, "a new file has not been heard yet"
    assert humming.said == [PHRASE["words"], "beep", PHRASE["words"], "beep"]


def test_the_same_seed_gives_the_same_file(tmp_path: Path, humming: Humming) -> None:
    folder = folder_with(tmp_path, demo=[PHRASE])
    render_sets([], humming, folder=folder)
    once = (folder / "demo/one.wav").read_bytes()
    render_sets([], humming, anew=True, folder=folder)
    assert (folder / "demo/one.wav").read_bytes() == once


@pytest.mark.parametrize(
    "change",
    [
        {"expect": "command"},
        {"command": "repeat"},
        {"reading": None},
        {"reading": {"value": 1.0, "unit": "furlong"}},
        {"room": "cathedral"},
        {"voice": "af_nobody"},
        {"words": "12.6 volts"},
        {"file": "../outside.wav"},
        {"loudness": 3},
    ],
)
def test_phrases_that_make_no_sense_are_refused(change: dict[str, object]) -> None:
    Phrase.model_validate(PHRASE)
    with pytest.raises(ValidationError):
        Phrase.model_validate({**PHRASE, **change})


def test_lists_that_cannot_be_used_say_so(tmp_path: Path, humming: Humming) -> None:
    with pytest.raises(GivenError, match="twice"):
        render_sets([], humming, folder=folder_with(tmp_path, demo=[PHRASE, PHRASE]))
    with pytest.raises(GivenError, match="no set 'opera'"):
        render_sets(["opera"], humming, folder=folder_with(tmp_path, demo=[PHRASE]))
    with pytest.raises(GivenError, match="not valid"):
        load_phrases(folder_with(tmp_path, demo=[{"file": "x"}]) / "phrases.yaml")
    (tmp_path / "phrases.yaml").write_text("[", "utf-8")
    with pytest.raises(GivenError, match="cannot be read"):
        load_phrases(tmp_path / "phrases.yaml")


def test_without_the_voices_the_command_says_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--benchmark", str(tmp_path / "set"), "--count", "1"]) == 2
    assert "--kokoro-voices" in capsys.readouterr().err
    with pytest.raises(GivenError, match="no voice"):
        engine_of("am_nobody")
    with pytest.raises(GivenError, match="HTS voice") as told:
        Speaker(hts_voice=tmp_path / "absent").say("one", "cstr_uk_female")
    assert "--hts-voice" in told.value.next_step


def test_benchmark_set_has_a_manifest_of_its_files(tmp_path: Path, humming: Humming) -> None:
    assert render_benchmark(tmp_path / "set", humming, draw(12, 2)) == 12
    head, *rows = (tmp_path / "set/manifest.tsv").read_text("utf-8").splitlines()
    assert head.split("\t")[:3] == ["file", "words", "voice"]
    assert [row.split("\t")[1] for row in rows] == humming.said
    assert {row.split("\t")[0] for row in rows} == {
        path.name for path in (tmp_path / "set").glob("*.wav")
    }
    with pytest.raises(GivenError, match="inside the project"):
        render_benchmark(HERE / "set", humming, draw(1, 2))


def test_a_set_goes_on_where_it_stopped(tmp_path: Path, humming: Humming) -> None:
    render_benchmark(tmp_path, humming, draw(3, 2))
    render_benchmark(tmp_path, humming, draw(5, 2))
    assert humming.said == [spoken.words for spoken in draw(5, 2)]


def test_clean_speech_has_no_noise_before_it(tmp_path: Path, humming: Humming) -> None:
    """Before the speech lies dither of one bit alone: at most one step."""
    render_benchmark(tmp_path, humming, draw(12, 2, clean=True))
    for path in tmp_path.glob("*.wav"):
        before = wavfile.read(path)[1][: int(0.2 * RATE)]
        assert np.abs(before.astype(int)).max() <= 1


class Peaked(Humming):
    """A voice with one sharp peak, which would clip at the usual level."""

    def say(self, words: str, voice: str, *, speed: float = 1.0) -> NDArray[np.float64]:
        said = Humming.say(self, words, voice, speed=speed)
        said[len(said) // 2] = 40 * np.abs(said).max()
        return said


def test_a_peaked_voice_is_rendered_softer(tmp_path: Path) -> None:
    speaker = Peaked()
    speaker.said = []
    render_benchmark(tmp_path, speaker, draw(2, 2, clean=True))
    for path in tmp_path.glob("*.wav"):
        peak = np.abs(wavfile.read(path)[1].astype(int)).max()
        assert 10_000 < peak < 32_767


@pytest.mark.parametrize(
    ("voices", "speakers"), [("natural", NATURAL), ("development", DEVELOPMENT)]
)
def test_the_command_draws_the_voices_and_teens_asked_for(
    tmp_path: Path,
    humming: Humming,
    monkeypatch: pytest.MonkeyPatch,
    voices: str,
    speakers: frozenset[str],
) -> None:
    monkeypatch.setattr(render, "Speaker", lambda **_: humming)
    asked = ["--benchmark", str(tmp_path), "--count", "39", "--teens", "39", "--seed", "3"]
    assert main([*asked, "--voices", voices, "--clean"]) == 0
    rows = [line.split("\t") for line in (tmp_path / "manifest.tsv").read_text().splitlines()]
    table = [dict(zip(rows[0], row, strict=True)) for row in rows[1:]]
    assert Counter(row["set"] for row in table) == {"phrases": 39, "teens": 39}
    assert set(Counter(row["voice"] for row in table).values()) == {78 // len(speakers)}
    assert {row["voice"] for row in table} == speakers
    assert {row["noise_db"] for row in table} == {"clean"}
