"""Recorded sound: any WAV, FLAC, OGG (Vorbis) or MP3 as 16 kHz mono samples.

miniaudio decodes, soxr resamples; both are imported when first used.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from assistant.errors import GivenError
from assistant.speech.parts import need

if TYPE_CHECKING:
    from miniaudio import DecodedSoundFile

__all__ = ["EAR_RATE", "Samples", "Sound", "decode_sound", "read_sound", "resample", "to_mono"]

EAR_RATE: Final = 16_000
"""Samples a second that every recogniser gets."""

Samples = npt.NDArray[np.int16]
"""Mono samples of 16 bits, shape (frames,)."""

_LONGEST_S: Final = 600.0
_LARGEST_BYTES: Final = 200_000_000
_FORMATS: Final = "Give a WAV, FLAC, OGG (Vorbis) or MP3 file."


@dataclass(frozen=True, slots=True)
class Sound:
    """Mono samples and their rate in hertz."""

    samples: Samples
    rate: int

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return len(self.samples) / self.rate


def read_sound(path: str | Path) -> Sound:
    """Read a sound file as 16 kHz mono; raise ``GivenError`` when that cannot be done."""
    try:
        if Path(path).stat().st_size > _LARGEST_BYTES:
            raise GivenError(f"{path} is too large.", next_step="Give a shorter recording.")
        raw = Path(path).read_bytes()
    except OSError as error:
        raise GivenError(
            f"{path} cannot be read: {(error.strerror or str(error)).lower()}.",
            next_step="Check the file's name and your right to read it.",
        ) from error
    return decode_sound(raw, str(path))


def decode_sound(raw: bytes, name: str) -> Sound:
    """Decode the bytes of a sound file to 16 kHz mono; ``name`` is for messages.

    Raises ``GivenError`` when the bytes are no sound that is known, when they are damaged, and
    when the sound is empty or longer than ten minutes.
    """
    decoded = _decode(raw, name)
    if decoded.nchannels < 1 or decoded.sample_rate < 1 or decoded.num_frames < 1:
        raise GivenError(f"{name} holds no sound.", next_step="Record it again.")
    if decoded.num_frames / decoded.sample_rate > _LONGEST_S:
        raise GivenError(
            f"{name} is longer than ten minutes.", next_step="Cut it to the words that were said."
        )
    samples = np.frombuffer(decoded.samples.tobytes(), dtype=np.int16)
    mono = to_mono(samples, decoded.nchannels)
    return Sound(resample(mono, decoded.sample_rate, EAR_RATE), EAR_RATE)


def to_mono(samples: Samples, channels: int) -> Samples:
    """Take the mean of interleaved channels; a file with one channel is left as it is."""
    if channels == 1:
        return samples
    whole = len(samples) // channels * channels
    mixed: Samples = samples[:whole].reshape(-1, channels).mean(axis=1).round().astype(np.int16)
    return mixed


def resample(samples: Samples, rate: int, target: int) -> Samples:
    """Change the rate of mono samples from ``rate`` to ``target`` hertz."""
    if rate == target:
        return samples
    soxr = need("soxr")
    changed: Samples = np.asarray(soxr.resample(samples, rate, target), dtype=np.int16)
    return changed


def _decode(raw: bytes, name: str) -> DecodedSoundFile:
    miniaudio = need("miniaudio")
    kind = _kind(raw)
    if kind is None:
        raise GivenError(f"{name} is not a sound file that is known.", next_step=_FORMATS)
    if kind == "opus":
        raise GivenError(
            f"{name} is OGG with Opus inside, which is not read.",
            next_step="Convert it to WAV, FLAC, OGG Vorbis or MP3.",
        )
    readers = {
        "wav": miniaudio.wav_read_s16,
        "flac": miniaudio.flac_read_s16,
        "vorbis": miniaudio.vorbis_read,
        "mp3": miniaudio.mp3_read_s16,
    }
    try:
        decoded: DecodedSoundFile = readers[kind](raw)
    except (miniaudio.MiniaudioError, ValueError, MemoryError, OverflowError) as error:
        raise GivenError(
            f"{name} looks like {kind.upper()} but cannot be decoded.",
            next_step="The file may be damaged: record or convert it again.",
        ) from error
    return decoded


def _kind(raw: bytes) -> str | None:
    """Tell the format by the first bytes; names of files are not trusted."""
    if raw[:4] in {b"RIFF", b"RF64"} and raw[8:12] == b"WAVE":
        return "wav"
    if raw[:4] == b"fLaC":
        return "flac"
    if raw[:4] == b"OggS":
        if b"OpusHead" in raw[:512]:
            return "opus"
        return "vorbis" if b"vorbis" in raw[:512] else None
    # An MP3 starts with an ID3 tag or with eleven set bits, then a layer that is not reserved.
    if raw[:3] == b"ID3" or (
        len(raw) > 3 and raw[0] == 0xFF and raw[1] & 0xE0 == 0xE0 and raw[1] & 0x06
    ):
        return "mp3"
    return None
