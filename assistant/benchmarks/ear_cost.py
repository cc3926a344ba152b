"""What the ear costs: processor time, the wait after speech ends, memory of a fresh process.

The wait is taken from ``Talk`` itself, which listens to a tape instead of a microphone: from the
block with which it finds that speech is over to the answer. Before that block comes, everything
earlier has been heard, as it would be at a microphone, because the ear is faster than the sound.
How long a pause it takes to find that speech is over is a setting (``EdgeSettings``), no cost of
the ear, and told apart.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.benchmarks.ear_clips import hear
from assistant.speech.audio import EAR_RATE, Samples, Sound
from assistant.speech.edges import FRAME
from assistant.speech.modeldir import builtin_directory
from assistant.speech.parts import MissingPartError
from assistant.speech.talk import Talk
from assistant.speech.voice import SilentVoice

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from assistant.benchmarks.ear_sets import Said
    from assistant.speech.events import Recogniser

__all__ = ["Wait", "cost_rows", "memory_of_fresh_process", "pace", "waits"]

_NO_DATA: Final = "no data here"
_QUIET_BEHIND: Final = 2 * EAR_RATE
_LOUD: Final = 0.02  # of the loudest sample: where speech ends


@dataclass(frozen=True, slots=True)
class Wait:
    """Seconds: ``wall`` and ``work`` (processor time) from the last block to the answer.

    ``pause`` is the sound's own time from its last loud sample to the end of that block.
    """

    wall: float
    work: float
    pause: float


class _Tape:
    """A microphone that gives a sound, block by block, as fast as it is read."""

    def __init__(self, sound: Samples) -> None:
        self._sound = sound
        self.place = 0
        self.given = 0.0
        self.given_work = 0.0

    def read(self, timeout_s: float | None = None) -> Samples | None:
        del timeout_s
        block = self._sound[self.place : self.place + FRAME]
        self.place += FRAME
        self.given, self.given_work = time.perf_counter(), time.process_time()
        return block if len(block) else None

    def seconds(self) -> float:
        """Give the time of the sound itself: the clock of the conversation."""
        return self.place / EAR_RATE


class _Mute:
    """A loudspeaker that is never heard."""

    playing = False

    def play(self, sound: Sound) -> None:
        del sound

    def stop(self) -> None: ...


def waits(ear: Recogniser, said: Sequence[Said]) -> list[Wait]:
    """Hear every sound as a conversation does; those in which no speech was found give nothing."""
    found = []
    faint = np.random.default_rng(1).normal(0, 5, _QUIET_BEHIND).round().astype(np.int16)
    for one in said:
        loud = np.flatnonzero(np.abs(one.sound.astype(np.int32)) > _LOUD * np.abs(one.sound).max())
        if not len(loud):
            continue
        tape = _Tape(np.concatenate([one.sound, faint]))
        talk = Talk(
            ear=ear, voice=SilentVoice(), microphone=tape, loudspeaker=_Mute(), clock=tape.seconds
        )
        heard = talk.listen(one.grammar, patience_s=60.0)
        wall, work = time.perf_counter() - tape.given, time.process_time() - tape.given_work
        if heard is not None:
            found.append(Wait(wall, work, (tape.place - int(loud[-1])) / EAR_RATE))
    return found


def pace(ear: Recogniser, said: Sequence[Said]) -> float:
    """Give processor time for a second of sound, all of the ear, graphs already built."""
    for one in said:
        ear.begin(one.grammar).finish()
    begun = time.process_time()
    for one in said:
        hear(ear, one.sound, one.grammar)
    return (time.process_time() - begun) / (sum(len(one.sound) for one in said) / EAR_RATE)


def memory_of_fresh_process() -> tuple[float, float] | None:
    """Give MB that the ear adds to a fresh process: with one grammar, at most with five in turn."""
    asked = [sys.executable, "-m", "assistant.benchmarks.ear_memory"]
    done = subprocess.run(asked, check=True, capture_output=True, text=True)  # noqa: S603 - no shell
    added = json.loads(done.stdout)
    return None if added is None else (added[0] / 1e6, added[1] / 1e6)


def _ms(seconds: Sequence[float]) -> str:
    """Half of all are below the first figure, 95 % below the second; milliseconds."""
    half, most = np.percentile(seconds, [50, 95])
    return f"{1000 * half:10.0f}{1000 * most:6.0f}"


def _wait_rows(name: str, ear: Recogniser, said: Sequence[Said], bar: str) -> Iterator[str]:
    title = f"{name}: ms after speech ends, half, 95 %"
    try:
        found = waits(ear, said)
    except MissingPartError:
        found = []
    if not found:
        yield f"{title:46}{bar:>8}  {_NO_DATA}"
        return
    yield f"{title:46}{bar:>8}{_ms([one.wall for one in found])}"
    yield f"{'  processor time of it':46}{'':8}{_ms([one.work for one in found])}"
    yield f"{'  and before it, the pause that ends speech':46}{'':8}{_ms([w.pause for w in found])}"


def cost_rows(ear: Recogniser, both: Recogniser | None, clean: Sequence[Said]) -> Iterator[str]:
    """Give the rows of the table: memory, size, pace and waits; ``both`` is the pair of ears."""
    memory = memory_of_fresh_process()
    told = "not told by this system" if memory is None else f"{memory[0]:10.0f}{memory[1]:6.0f}"
    yield f"{'memory added, MB: one grammar, five in turn':46}{'<= 60':>8}{told}"
    size = sum(path.stat().st_size for path in (builtin_directory() / "am").iterdir())
    yield f"{'weights, MB':46}{'< 8':>8}{size / 1e6:10.1f}"
    same = [one for one in clean if one.grammar == "volts"][:40] or list(clean[:40])
    if not same:
        yield f"{'processor time for a second of sound':46}{'<= 0.02':>8}  {_NO_DATA}"
    else:
        yield f"{'processor time for a second of sound':46}{'<= 0.02':>8}{pace(ear, same):10.4f}"
    yield from _wait_rows("one ear", ear, same, "<= 100")
    if both is not None:
        yield from _wait_rows("both ears", both, same, "<= 100")
