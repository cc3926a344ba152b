"""The voice: text to sound in a process of its own, played by us so that it can be cut off.

``EngineVoice`` renders through pyttsx3; ``SilentVoice`` prints what it would say. Neither plays:
``assistant.speech.talk`` does.
"""

from __future__ import annotations

import contextlib
import json
import queue
import subprocess
import sys
import tempfile
import threading
from pathlib import Path
from typing import IO, Final, Protocol

import numpy as np

from assistant.errors import GivenError
from assistant.speech.audio import EAR_RATE, Sound, read_sound
from assistant.speech.spoken import spoken

__all__ = ["EngineVoice", "NoVoiceError", "SilentVoice", "Voice", "open_voice"]

_START_S: Final = 20.0
_RENDER_S: Final = 20.0
_TRIES: Final = 2
_SLOWEST: Final = 0.75


class NoVoiceError(GivenError):
    """There is no speech engine, or it does not answer."""


class Voice(Protocol):
    """Turns text into sound."""

    @property
    def name(self) -> str:
        """What it is, in words for a person."""
        ...

    def render(self, text: str, *, slow: bool = False) -> Sound:
        """Give ``text`` as sound; raise ``NoVoiceError`` when that cannot be done."""
        ...

    def close(self) -> None:
        """Let go of the engine."""
        ...


class EngineVoice:
    """pyttsx3 in worker processes, started anew once when one fails or hangs.

    ``rate`` is in words a minute; slower speech has a worker of its own, because an engine takes
    a change of rate late. ``command`` starts a worker; left out, ours. Raises ``NoVoiceError``.
    """

    def __init__(self, rate: int = 165, command: tuple[str, ...] | None = None) -> None:
        self._rates = {False: rate, True: round(rate * _SLOWEST)}
        self._command = command or (sys.executable, "-m", "assistant.speech.voice_worker")
        self._folder = tempfile.TemporaryDirectory(prefix="probetell-voice-")
        self._count = 0
        self._workers: dict[bool, _Worker] = {}
        self._worker(slow=False)

    @property
    def name(self) -> str:
        """What it is, in words for a person."""
        return "pyttsx3"

    def render(self, text: str, *, slow: bool = False) -> Sound:
        """Give ``text``, put in words that can be spoken, as sound."""
        said = spoken(text)
        if not said:
            return Sound(np.zeros(0, dtype=np.int16), EAR_RATE)
        why = ""
        for _ in range(_TRIES):
            self._count += 1
            path = Path(self._folder.name) / f"{self._count}.wav"
            try:
                return self._worker(slow=slow).render(said, path)
            except NoVoiceError as error:
                why = error.message
                self._drop(slow=slow)
            finally:
                path.unlink(missing_ok=True)
        raise NoVoiceError(why, next_step="Check that pyttsx3 works, or switch the voice off.")

    def close(self) -> None:
        """End the workers and remove their files."""
        for slow in tuple(self._workers):
            self._drop(slow=slow)
        self._folder.cleanup()

    def _worker(self, *, slow: bool) -> _Worker:
        if slow not in self._workers:
            self._workers[slow] = _Worker((*self._command, str(self._rates[slow])))
        return self._workers[slow]

    def _drop(self, *, slow: bool) -> None:
        if slow in self._workers:
            self._workers.pop(slow).end()


class _Worker:
    """One process with a speech engine of a fixed rate."""

    def __init__(self, command: tuple[str, ...]) -> None:
        self._answers: queue.Queue[str] = queue.Queue()
        try:
            self.process = subprocess.Popen(  # noqa: S603 - our own module
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
                encoding="utf-8",
            )
        except OSError as error:
            raise NoVoiceError("The voice cannot be started.", next_step="") from error
        passing = (self.process.stdout, self._answers)
        threading.Thread(target=_pass_on, args=passing, daemon=True).start()
        try:
            self._await(_START_S)
        except NoVoiceError:
            self.end()
            raise

    def render(self, said: str, path: Path) -> Sound:
        asked = json.dumps({"text": said, "path": str(path)})
        try:
            assert self.process.stdin is not None  # noqa: S101 - it was opened as a pipe
            self.process.stdin.write(asked + "\n")
            self.process.stdin.flush()
        except (OSError, ValueError) as error:
            raise NoVoiceError("The speech engine has ended.", next_step="") from error
        self._await(_RENDER_S)
        try:
            return read_sound(path)
        except GivenError as error:
            raise NoVoiceError(
                f"The speech engine gave no sound: {error.message}", next_step=""
            ) from error

    def end(self) -> None:
        with contextlib.suppress(OSError):
            self.process.kill()
        self.process.wait()
        for stream in (self.process.stdin, self.process.stdout):
            if stream is not None:
                with contextlib.suppress(OSError):
                    stream.close()

    def _await(self, seconds: float) -> None:
        try:
            answer = json.loads(self._answers.get(timeout=seconds))
        except queue.Empty as error:
            raise NoVoiceError(
                f"The speech engine did not answer within {seconds:g} s.",
                next_step="Install espeak-ng, or switch the voice off.",
            ) from error
        except ValueError as error:
            raise NoVoiceError(
                "The speech engine ended without an answer.",
                next_step="Install espeak-ng, or switch the voice off.",
            ) from error
        if not isinstance(answer, dict) or not answer.get("ok"):
            why = answer.get("why", "no reason given") if isinstance(answer, dict) else answer
            raise NoVoiceError(
                f"There is no speech engine ({why}).",
                next_step="Install it: pip install 'probetell[voice]', or espeak-ng.",
            )


class SilentVoice:
    """No engine: writes what would be said as a line, and gives no sound."""

    def __init__(self, out: IO[str] | None = None) -> None:
        self._out = out

    @property
    def name(self) -> str:
        """What it is, in words for a person."""
        return "printed words"

    def render(self, text: str, *, slow: bool = False) -> Sound:
        """Write ``text``; the sound is empty. Slower speech reads the same."""
        del slow
        out = self._out or sys.stdout
        out.write(text + "\n")
        out.flush()
        return Sound(np.zeros(0, dtype=np.int16), EAR_RATE)

    def close(self) -> None:
        """Nothing to let go of."""


def open_voice(*, wanted: bool = True, rate: int = 165, out: IO[str] | None = None) -> Voice:
    """Give the engine's voice, or the silent one where none is wanted.

    Raises ``NoVoiceError`` where one is wanted and there is none; the caller may then take
    ``SilentVoice``.
    """
    return EngineVoice(rate) if wanted else SilentVoice(out)


def _pass_on(stream: IO[str] | None, answers: queue.Queue[str]) -> None:
    """Pass the worker's lines on; an empty line tells that it has ended."""
    if stream is not None:
        with contextlib.suppress(OSError, ValueError):
            for line in stream:
                answers.put(line)
    answers.put("")
