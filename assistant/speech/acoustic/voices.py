"""Synthetic clips to train on: Kokoro's voices and blends, flite, festival, pico, espeak-ng.

No voice that is kept for testing is used, alone or in a blend. Clips are written as 16 kHz mono
WAV files beside a list ``clips.jsonl`` of their file, words, voice and set.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import tempfile
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.io import wavfile

from assistant.speech.acoustic.clips import at_rate

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

__all__ = [
    "ESPEAK_ACCENTS",
    "FLITE_TRAINING",
    "KOKORO_FOREIGN",
    "KOKORO_TRAINING",
    "MAKERS",
    "HtsMaker",
    "KokoroMaker",
    "espeak_clip",
    "festival_clip",
    "flite_clip",
    "pico_clip",
    "render",
    "said_as",
    "wav_at_rate",
]

RATE: Final = 16_000
_STYLE: Final = 256
KOKORO_TRAINING: Final = (
    *("af_alloy", "af_aoede", "af_heart", "af_jessica", "af_kore", "af_nova", "af_river"),
    *("af_sarah", "am_adam", "am_echo", "am_eric", "am_fenrir", "am_liam", "am_santa"),
    *("bf_alice", "bf_isabella", "bf_lily", "bm_daniel", "bm_fable", "bm_lewis"),
)
"""English voices of Kokoro-82M that are not kept for testing."""
KOKORO_FOREIGN: Final = (
    *("ef_dora", "em_alex", "ff_siwis", "hf_alpha", "hm_omega", "hm_psi", "if_sara"),
    *("im_nicola", "jf_alpha", "jf_nezumi", "jm_kumo", "pf_dora", "pm_alex", "zf_xiaobei"),
    *("zf_xiaoxiao", "zm_yunjian", "zm_yunxi", "zm_yunyang"),
)
"""Voices of other languages, made to speak English sounds."""
FLITE_TRAINING: Final = ("slt", "awb")
ESPEAK_ACCENTS: Final = (
    *("en-us", "en-us", "en-us", "en-gb", "en-gb", "en-gb-x-rp", "en-gb-scotland"),
    *("en-gb-x-gbclan", "en-gb-x-gbcwmd", "en-029", "en-us-nyc"),
)
_VARIANTS: Final = (
    *("", "", "+m1", "+m2", "+m3", "+m4", "+m5", "+m6", "+m7", "+m8"),
    *("+f1", "+f2", "+f3", "+f4", "+f5"),
    *("+Alex", "+Alicia", "+Andrea", "+Denis", "+Diogo", "+Gene", "+Henrique", "+Hugo"),
    *("+Jacky", "+Lee", "+Marco", "+Michael", "+Mike", "+Nguyen", "+Storm", "+adam", "+anika"),
    *("+announcer", "+antonio", "+aunty", "+belinda", "+benjamin", "+boris", "+caleb", "+david"),
    *("+ed", "+grandma", "+grandpa", "+iven", "+john", "+kaukovalta", "+klatt", "+klatt2"),
    *("+klatt3", "+klatt4", "+linda", "+marcelo", "+max", "+miguel", "+norbert", "+pablo"),
    *("+paul", "+pedro", "+quincy", "+rob", "+robert", "+sandro", "+shelby", "+travis"),
    *("+victor", "+zac"),
)
"""Throats of espeak-ng; Andy, Annie, edward and steph are kept for the benchmark of the ear."""
_HTS_LABELS: Final = "(voice_cmu_us_slt_arctic_hts)"
_SPELLED: Final = {"ol": "o l", "k": "kay", "i": "i", "oh": "oh", "lit": "lit", "sub": "sub"}


def said_as(phrase: str) -> str:
    """Give the phrase as an engine must be given it, spelled words as letters."""
    return " ".join(_SPELLED.get(word, word) for word in phrase.split())


def wav_at_rate(path: Path) -> NDArray[np.float64]:
    """Read a mono WAV of 16 bits; give samples from -1 to 1 at 16 kHz."""
    rate, samples = wavfile.read(path)
    return at_rate(samples / 32768.0, rate)


def espeak_clip(phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
    """Say ``phrase`` with a drawn accent, variant, speed and pitch; give voice and samples."""
    voice = str(rng.choice(ESPEAK_ACCENTS)) + str(rng.choice(_VARIANTS))
    speed, pitch = int(rng.integers(115, 190)), int(rng.integers(25, 75))
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "said.wav"
        options = ["-v", voice, "-s", str(speed), "-p", str(pitch), "-a", "40", "-w", str(out)]
        _run("espeak-ng", *options, said_as(phrase))
        return f"espeak-ng {voice} {speed} {pitch}", wav_at_rate(out)


def flite_clip(phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
    """Say ``phrase`` with flite's slt or awb at a drawn speed; give voice and samples."""
    voice, stretch = str(rng.choice(FLITE_TRAINING)), float(rng.uniform(0.85, 1.2))
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "said.wav"
        setting = f"duration_stretch={stretch:.3f}"
        _run("flite", "-voice", voice, "--setf", setting, "-t", said_as(phrase), "-o", str(out))
        return f"flite {voice}", wav_at_rate(out)


def festival_clip(phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
    """Say ``phrase`` with festival's ked or slt at a drawn speed; give voice and samples."""
    voice = str(rng.choice(["ked_diphone", "ked_diphone", "cmu_us_slt_arctic_hts"]))
    stretch = f"(Parameter.set 'Duration_Stretch {rng.uniform(0.8, 1.25):.2f})"
    mean, spread = rng.uniform(88, 135), rng.uniform(9, 20)
    target = f"(target_f0_mean {mean:.0f}) (target_f0_std {spread:.0f})"
    pitch = f"(set! int_lr_params '({target} (model_f0_mean 170) (model_f0_std 34)))"
    chosen = [f"(voice_{voice})", stretch, *([pitch] if voice == "ked_diphone" else [])]
    return f"festival {voice}", _festival(phrase, chosen)


def _festival(phrase: str, commands: Sequence[str]) -> NDArray[np.float64]:
    with tempfile.TemporaryDirectory() as folder:
        text, out = Path(folder) / "said.txt", Path(folder) / "said.wav"
        text.write_text(said_as(phrase), encoding="ascii")
        settings = [part for one in commands for part in ("-eval", one)]
        _run("text2wave", *settings, "-o", str(out), str(text))
        return wav_at_rate(out)


def pico_clip(phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
    """Say ``phrase`` with SVOX Pico's British voice (py-nanotts) at a drawn speed and pitch."""
    speed, pitch = float(rng.uniform(0.8, 1.3)), float(rng.uniform(0.7, 1.4))
    engine: Any = import_module("py_nanotts").NanoTTS()
    said = engine.speak(said_as(phrase), voice="en-GB", speed=speed, pitch=pitch)
    return f"pico en-GB {speed:.2f} {pitch:.2f}", np.frombuffer(said, np.int16) / 32768.0


@dataclass(frozen=True, slots=True)
class HtsMaker:
    """An HTS voice for festival in the file ``voice``, with labels as for its slt voice.

    For development: CSTR's British voice, which the flight simulator's data package carries.
    """

    voice: Path

    def __call__(self, phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
        """Say ``phrase`` at a drawn speed and pitch; give the voice's name and samples."""
        stretch = f"(Parameter.set 'Duration_Stretch {rng.uniform(0.8, 1.25):.2f})"
        given = f'(list "-m" "{self.voice}") (list "-fm" {rng.uniform(-2.5, 2.5):.2f})'
        chosen = (_HTS_LABELS, stretch, f"(set! hts_engine_params (list {given}))")
        return f"hts {self.voice.stem}", _festival(phrase, chosen)


MAKERS: Final = {
    "espeak": espeak_clip,
    "flite": flite_clip,
    "festival": festival_clip,
    "pico": pico_clip,
}
"""What says a phrase, by the name of its engine; Kokoro needs a folder of voices."""


def _run(program: str, *arguments: str) -> None:
    found = shutil.which(program)
    if found is None:
        raise FileNotFoundError(f"{program} is not installed.")
    subprocess.run([found, *arguments], check=True, capture_output=True)  # noqa: S603 - no shell


@dataclass(slots=True)
class KokoroMaker:
    """Kokoro's training voices; ``speaker`` is the fixtures' speaker over ``folder``.

    Of ten clips about three are plain English voices; the rest take the sound of one voice and
    the way of speaking of another, mix three voices, are voices of other languages, or lie a
    little beyond a voice, away from another one.
    """

    speaker: Any
    folder: Path
    _blends: Path = field(default_factory=lambda: Path(tempfile.mkdtemp(prefix="blends-")))

    def __call__(self, phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
        """Say ``phrase`` with a drawn voice and speed; give voice and samples."""
        names, style = self._style(rng)
        # The first letter picks the accent of the sounds.
        accents = [name[0] for name in reversed(names) if name[0] in "ab"]
        accent = accents[0] if accents else str(rng.choice(["a", "b"]))
        style.astype(np.float32).tofile(self._blends / f"{accent}.bin")
        self.speaker.kokoro_voices = self._blends
        speed = float(rng.uniform(0.78, 1.28))
        samples = self.speaker._kokoro(said_as(phrase), accent, speed)  # noqa: SLF001
        return f"kokoro {'+'.join(names)}", samples

    def _style(self, rng: np.random.Generator) -> tuple[list[str], NDArray[np.float32]]:
        """Draw voices and what they make together: a style of 256 for each length of text."""

        def some(names: Sequence[str], count: int) -> list[str]:
            return [str(one) for one in rng.choice(names, count, replace=False)]

        def read(name: str) -> NDArray[np.float32]:
            return np.fromfile(self.folder / f"{name}.bin", np.float32).reshape(-1, _STYLE)

        kind = rng.random()
        if kind < 0.3:
            names = some(KOKORO_TRAINING, 1)
            return names, read(names[0])
        if kind < 0.55:
            names = some(KOKORO_TRAINING + KOKORO_FOREIGN, 1) + some(KOKORO_TRAINING, 1)
            sound = read(names[0]).copy()
            sound[:, _STYLE // 2 :] = read(names[1])[:, _STYLE // 2 :]
            return names, sound
        if kind < 0.75:
            names = some(KOKORO_TRAINING, 2) + some(KOKORO_FOREIGN, 1)
            parts = rng.dirichlet([1.0, 1.0, 0.7]).astype(np.float32)
            return names, sum(part * read(name) for part, name in zip(parts, names, strict=True))
        if kind < 0.87:
            names = some(KOKORO_FOREIGN, 1)
            return names, read(names[0])
        names = some(KOKORO_TRAINING, 2)
        away = np.float32(rng.uniform(0.15, 0.4))
        return names, read(names[0]) + away * (read(names[0]) - read(names[1]))


def render(
    phrases: Iterable[str],
    folder: Path,
    maker: Any,
    *,
    kind: str,
    seed: int,
    split: str = "train",
) -> None:
    """Write a clip of each phrase to ``folder``; one that its engine cannot say is left out."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(seed)
    with (folder / "clips.jsonl").open("a", encoding="utf-8") as listed:
        for number, phrase in enumerate(phrases):
            try:
                voice, samples = maker(phrase, rng)
            except Exception as error:  # noqa: BLE001 - engines raise what they like
                print(f"{phrase!r}: {error}")  # noqa: T201 - told to whoever renders
                continue
            path = folder / f"{seed}_{number:05d}.wav"
            peak = max(1e-3, float(np.abs(samples).max()))
            wavfile.write(path, RATE, np.round(samples / peak * 16_000).astype(np.int16))
            row = {"file": str(path), "words": phrase, "speaker": voice, "set": kind}
            row["split"] = split
            listed.write(json.dumps(row) + "\n")
            listed.flush()
