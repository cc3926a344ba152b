"""Voices of programs that say lines: a model of the vocal tract, and two people of CMU ARCTIC.

Such a program reads a line (a sound file to write, the text, settings, apart by tabs) and answers
with a line, "ok" or what went wrong. Two come with the recipe: ``gnuspeech_lines.mjs`` and
``rhvoice_lines.c``; their heads say how they are run. The engines are packages of their own.
"""

from __future__ import annotations

import subprocess
import tempfile
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.speech.acoustic.voices import said_as, wav_at_rate

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

__all__ = ["LINE_ENGINES", "RHVOICE", "LineMaker", "gnuspeech_manner", "rhvoice_manner"]

RHVOICE: Final = ("Bdl", "Clb")
"""Two people of the CMU ARCTIC recordings; the third of the package, Slt, speaks flite too."""


def gnuspeech_manner(rng: np.random.Generator) -> tuple[str, list[str]]:
    """Draw a throat and a way of speaking; give the voice's name and the settings.

    Lengths of the vocal tract in cm, from a large child's to a long one of a man; the pitch in
    semitones (0 is about 260 Hz) falls with the length; the rest varies around the package's own
    voices.
    """
    tract = float(rng.uniform(12.8, 18.5))
    pitch = float(np.interp(tract, [12.8, 15.0, 17.5, 18.5], [1.5, -1.0, -12.0, -13.0]))
    closing = float(rng.uniform(20.0, 34.0))
    settings = {
        "vocal_tract_length": tract,
        "reference_glottal_pitch": pitch + float(rng.normal(0.0, 2.0)),
        "glottal_pulse_tp": float(rng.uniform(33.0, 45.0)),
        "glottal_pulse_tn_min": closing,
        "glottal_pulse_tn_max": closing,
        "breathiness": float(rng.choice([0.3, 0.8, 1.5, 3.0])),
        "aperture_radius": float(rng.uniform(2.8, 3.3)),
        "global_nose_radius_coef": float(rng.uniform(0.8, 1.2)),
        "tempo": float(rng.uniform(0.8, 1.3)),
        "pretonic_range": float(rng.uniform(-4.0, 0.0)),
        "tonic_range": float(rng.uniform(-10.0, -4.0)),
        **{f"radius_{k}_coef": float(rng.uniform(0.92, 1.08)) for k in range(1, 9)},
    }
    return f"tract {tract:.1f} cm", [f"{name}={value:.3f}" for name, value in settings.items()]


def rhvoice_manner(rng: np.random.Generator) -> tuple[str, list[str]]:
    """Draw a voice, its rate and its pitch (1 is the usual); give its name and the settings."""
    voice = str(rng.choice(RHVOICE))
    return voice, [voice, f"{rng.uniform(0.8, 1.35):.2f}", f"{rng.uniform(0.85, 1.15):.2f}"]


LINE_ENGINES: Final = {"gnuspeech": gnuspeech_manner, "rhvoice": rhvoice_manner}
"""What draws voice and settings, by engine."""


@dataclass(slots=True)
class LineMaker:
    """Says phrases with the program ``command``, which is started again when it has ended.

    ``manner`` draws the voice's name and the settings behind the text. Raises ``ValueError`` with
    the program's answer when it does not say a phrase.
    """

    engine: str
    command: Sequence[str]
    manner: Callable[[np.random.Generator], tuple[str, list[str]]]
    _program: subprocess.Popen[str] | None = field(default=None, init=False)

    def __call__(self, phrase: str, rng: np.random.Generator) -> tuple[str, NDArray[np.float64]]:
        """Say ``phrase`` with a drawn voice; give the voice's name and samples at 16 kHz."""
        voice, settings = self.manner(rng)
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder) / "said.wav"
            answer = self._ask("\t".join([str(out), said_as(phrase), *settings]))
            if answer != "ok":
                raise ValueError(answer or "the program has ended")
            return f"{self.engine} {voice}", wav_at_rate(out)

    def close(self) -> None:
        """End the program."""
        if self._program is not None:
            for pipe in (self._program.stdin, self._program.stdout):
                if pipe is not None:
                    with suppress(BrokenPipeError):
                        pipe.close()
            self._program.wait()
            self._program = None

    def _ask(self, line: str) -> str:
        """Give the program's answer to ``line``, nothing when it has ended."""
        if self._program is None:
            pipe = subprocess.PIPE
            self._program = subprocess.Popen(  # noqa: S603 - the user's own command, no shell
                list(self.command), stdin=pipe, stdout=pipe, text=True, encoding="utf-8"
            )
        told, heard = self._program.stdin, self._program.stdout
        answer = ""
        if told is not None and heard is not None:
            with suppress(BrokenPipeError):
                told.write(line + "\n")
                told.flush()
                answer = heard.readline().strip()
        if not answer:
            self.close()
        return answer
