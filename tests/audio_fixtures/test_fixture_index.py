"""The listed fixtures against the files themselves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from audio_fixtures.listing import HERE, Entry, load_index, load_phrases
from audio_fixtures.room import LEAD_S, RATE, TAIL_S, active_level
from audio_fixtures.voices import HELD_OUT

if TYPE_CHECKING:
    from numpy.typing import NDArray

miniaudio = pytest.importorskip("miniaudio", reason="reading FLAC needs probetell[voice]")

INDEX = load_index()
FILES = [pytest.param(entry, id=entry.file) for entry in INDEX]


def samples_of(entry: Entry) -> NDArray[np.float64]:
    info: Any = miniaudio.get_file_info(str(HERE / entry.file))
    assert (info.sample_rate, info.nchannels) == (RATE, 1)
    assert info.sample_format == miniaudio.SampleFormat.SIGNED16
    decoded = miniaudio.decode_file(str(HERE / entry.file), nchannels=1, sample_rate=RATE)
    return np.asarray(decoded.samples, dtype=np.float64) / 32768.0


def noise_power(samples: NDArray[np.float64]) -> float:
    """Power in the lead-in, where nobody speaks; its last 10 ms are left out."""
    return float(np.mean(samples[: int((LEAD_S - 0.01) * RATE)] ** 2))


def measured_noise_db(samples: NDArray[np.float64]) -> float:
    noise = noise_power(samples)
    both = 10.0 ** (active_level(samples) / 10.0)
    return float(10.0 * np.log10((both - noise) / noise))


@pytest.mark.parametrize("entry", FILES)
def test_file_is_as_listed(entry: Entry) -> None:
    samples = samples_of(entry)
    seconds = len(samples) / RATE - LEAD_S - TAIL_S
    assert np.max(np.abs(samples)) < 0.98, "clips, or nearly"
    assert np.max(np.abs(samples)) > 0.05, "hardly anything to hear"
    assert abs(np.mean(samples)) < 1e-3, "direct current"
    # Talk runs at some 2 to 5 words a second (common practice, no source).
    words = len(entry.words.split())
    assert 0.15 * words < seconds < 0.7 * words + 0.7
    assert active_level(samples) == pytest.approx(entry.level_db, abs=1.5)
    assert entry.noise_db is not None
    assert measured_noise_db(samples) == pytest.approx(entry.noise_db, abs=3.0)


def test_noise_is_right_on_the_whole() -> None:
    off = [measured_noise_db(samples_of(e)) - (e.noise_db or 0.0) for e in INDEX]
    assert abs(float(np.mean(off))) < 1.0


def test_index_mirrors_the_phrases_and_every_file_is_listed() -> None:
    wanted = [phrase for phrases in load_phrases().values() for phrase in phrases]
    assert [Entry.of(phrase) for phrase in wanted] == [
        entry.model_copy(update={"hard": False, "heard": None}) for entry in INDEX
    ]
    lying = {
        path.relative_to(HERE).as_posix()
        for ending in ("*.wav", "*.flac")
        for path in HERE.rglob(ending)
    }
    assert lying == {entry.file for entry in INDEX}


def test_hard_ones_say_what_was_heard_and_only_they() -> None:
    assert all((entry.heard is not None) == entry.hard for entry in INDEX)


def test_readings_cover_what_they_must() -> None:
    readings = load_phrases()["readings"]
    voices = {phrase.voice for phrase in readings}
    assert len(voices) >= 10
    assert {voice[:2] for voice in voices if voice[2:3] == "_"} == {"af", "am", "bf", "bm"}
    assert voices >= {voice for voice in HELD_OUT if voice[2:3] == "_"}
    assert {phrase.noise_db for phrase in readings} == {25.0, 20.0, 15.0}
    assert len({phrase.seed for phrase in readings}) == len(readings)
    said = {phrase.words for phrase in readings}
    assert said >= {
        *("twelve point six volts", "fourteen point four", "oh point two", "point eight ohms"),
        *("three and a half ohms", "a hundred and twenty millivolts", "minus two point five"),
        *("eleven point nine", "fifteen", "fifty", "open line", "beep", "no beep"),
        *("jumping around between two and nine", "lit", "blinking", "off", "yes", "no"),
        *("distorted", "repeat", "undo", "why", "skip", "i can't"),
    }
    assert {phrase.expect for phrase in readings} == {
        *("dc_voltage", "ac_voltage", "resistance", "continuity", "dc_current"),
        *("light", "sound", "noise", "warmth", "command"),
    }


def test_fixtures_stay_small() -> None:
    assert sum((HERE / entry.file).stat().st_size for entry in INDEX) < 8_000_000
