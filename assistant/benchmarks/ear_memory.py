"""Prints what memory the built-in ear adds to the process that this module runs in.

A process of its own is started for it (``python -m assistant.benchmarks.ear_memory``) that has
loaded the grammars and nothing else, so that no memory is at hand that something else has freed.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Final

import numpy as np

from assistant.readings import words_of_all_grammars
from assistant.speech.audio import EAR_RATE
from assistant.speech.ear_vosk import BuiltinEar
from assistant.speech.events import spoken_graph

__all__ = ["resident"]

_GRAMMARS: Final = ("volts", "ohms", "continuity", "light", "any")


def resident(line: str = "VmRSS") -> int | None:
    """Bytes that this process holds (``VmRSS``) or held at most (``VmHWM``), where it is told."""
    try:
        rows = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    except OSError:
        return None
    found = next((row.split()[1] for row in rows if row.startswith(f"{line}:")), None)
    return None if found is None else int(found) * 1024


def _added() -> tuple[int, int] | None:
    """Give bytes added by hearing with one grammar, and at most with five in turn."""
    words_of_all_grammars()
    for name in _GRAMMARS:
        spoken_graph(name)
    before = resident()
    ear = BuiltinEar()
    noise = np.random.default_rng(1).normal(0, 300, 2 * EAR_RATE).astype(np.int16)
    one: int | None = None
    for name in _GRAMMARS:
        stream = ear.begin(name)
        stream.feed(noise)
        stream.finish()
        one = one if one is not None else resident()
    most = resident("VmHWM")
    return None if before is None or one is None or most is None else (one - before, most - before)


if __name__ == "__main__":
    sys.stdout.write(json.dumps(_added()))
