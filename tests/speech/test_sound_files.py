from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import GivenError
from assistant.speech.audio import EAR_RATE, decode_sound, read_sound, resample, to_mono

if TYPE_CHECKING:
    from pathlib import Path

_TONE_HZ = 440.0


def _tone(rate: int, channels: int, seconds: float = 0.5) -> np.ndarray:
    wave = 0.5 * np.sin(2 * math.pi * _TONE_HZ * np.arange(int(rate * seconds)) / rate)
    return np.stack([wave] * channels, axis=1)


def _encoded(rate: int, channels: int, kind: str, subtype: str) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, _tone(rate, channels), rate, format=kind, subtype=subtype)
    return out.getvalue()


def _pitch(samples: np.ndarray) -> float:
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), 1 << 17))
    return float(np.argmax(spectrum) * EAR_RATE / (1 << 17))


@pytest.mark.parametrize(
    ("rate", "channels", "kind", "subtype"),
    [
        (8000, 1, "WAV", "PCM_16"),
        (8000, 1, "WAV", "ULAW"),
        (16000, 1, "WAV", "PCM_16"),
        (22050, 2, "WAV", "PCM_24"),
        (44100, 1, "WAV", "FLOAT"),
        (44100, 2, "WAV", "PCM_U8"),
        (48000, 2, "WAVEX", "PCM_32"),
        (96000, 2, "FLAC", "PCM_24"),
        (11025, 1, "FLAC", "PCM_16"),
        (44100, 2, "OGG", "VORBIS"),
        (32000, 1, "OGG", "VORBIS"),
        (44100, 2, "MP3", "MPEG_LAYER_III"),
        (22050, 1, "MP3", "MPEG_LAYER_III"),
    ],
)
def test_every_format_rate_and_channel_count_gives_the_same_tone(
    rate: int, channels: int, kind: str, subtype: str
) -> None:
    """Written by libsndfile, an independent library."""
    sound = decode_sound(_encoded(rate, channels, kind, subtype), "tone")
    assert sound.rate == EAR_RATE
    assert sound.seconds == pytest.approx(0.5, abs=0.08)  # MP3 pads its ends
    middle = sound.samples[2000:6000].astype(float)
    assert _pitch(middle) == pytest.approx(_TONE_HZ, abs=1.5)
    assert np.sqrt(np.mean(middle**2)) == pytest.approx(0.5 * 32768 / math.sqrt(2), rel=0.03)


def test_channels_are_averaged() -> None:
    mixed = to_mono(np.array([100, 300, -50, 50, 7], dtype=np.int16), 2)
    assert mixed.tolist() == [200, 0]


def test_resampling_keeps_the_time() -> None:
    samples = np.zeros(44_100, dtype=np.int16)
    assert len(resample(samples, 44_100, EAR_RATE)) == EAR_RATE


def test_opus_in_ogg_is_named() -> None:
    with pytest.raises(GivenError, match="Opus"):
        decode_sound(_encoded(48000, 1, "OGG", "OPUS"), "talk.ogg")


@pytest.mark.parametrize(
    ("raw", "what"),
    [
        (b"", "not a sound file"),
        (b"installation: {}\n", "not a sound file"),
        (b"RIFF\x24\0\0\0WAVEfmt ", "cannot be decoded"),
        (b"fLaC" + b"\0" * 60, "cannot be decoded"),
        (b"ID3" + b"\0" * 60, "cannot be decoded"),
        (b"OggS" + b"\0" * 30 + b"\x01vorbis" + b"\0" * 40, "cannot be decoded"),
    ],
)
def test_what_is_no_sound_is_refused_by_name(raw: bytes, what: str) -> None:
    with pytest.raises(GivenError, match=what) as caught:
        decode_sound(raw, "clip.wav")
    assert "clip.wav" in str(caught.value)
    assert caught.value.next_step


@given(st.binary(max_size=200), st.sampled_from([b"", b"RIFF0000WAVE", b"fLaC", b"ID3", b"OggS"]))
def test_no_bytes_bring_it_down(raw: bytes, head: bytes) -> None:
    try:
        decode_sound(head + raw, "noise")
    except GivenError:
        return


def test_an_empty_and_an_endless_file_are_refused() -> None:
    empty = io.BytesIO()
    soundfile.write(empty, np.zeros((0, 1)), 16000, format="WAV", subtype="PCM_16")
    with pytest.raises(GivenError):
        decode_sound(empty.getvalue(), "empty.wav")
    long = io.BytesIO()
    soundfile.write(long, np.zeros(8000 * 601, dtype=np.int16), 8000, format="FLAC")
    with pytest.raises(GivenError, match="ten minutes"):
        decode_sound(long.getvalue(), "long.flac")


def test_a_missing_file_and_a_directory_are_refused(tmp_path: Path) -> None:
    with pytest.raises(GivenError, match="no such file"):
        read_sound(tmp_path / "none.wav")
    with pytest.raises(GivenError):
        read_sound(tmp_path)
