"""The process that owns the speech engine: texts in on standard input, WAV files out.

Its argument is the rate in words a minute. One JSON object a line in,
``{"text": .., "path": ..}``; one a line out, ``{"ok": true}`` or ``{"ok": false, "why": ..}``.
The first line out tells whether there is an engine. It is kept in a process of its own because it
may hang or bring its process down.

With ``PROBETELL_PACKAGED_VOICE`` set in the environment an espeak-ng of the system is passed
over, which serves to test the packaged one.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import json
import os
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

__all__ = ["main", "make_engine", "save"]

_TRIES = 3
_HEADER = 44
"""Bytes of a WAV file that come before its sound."""


def make_engine() -> Any:
    """Start pyttsx3; without an espeak-ng of the system, on the one that comes as a package.

    pyttsx3 finds the library by its soname, so the packaged one is loaded into the process
    first, and told where its data lie. Raises whatever pyttsx3 raises where there is no voice.
    """
    if sys.platform.startswith("linux") and not _system_has_espeak():
        espeakng_loader = import_module("espeakng_loader")
        ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)
        os.environ["ESPEAK_DATA_PATH"] = espeakng_loader.get_data_path()
    engine = import_module("pyttsx3").init()
    _choose_english(engine)
    return engine


def _system_has_espeak() -> bool:
    if os.environ.get("PROBETELL_PACKAGED_VOICE"):
        return False
    return any(ctypes.util.find_library(name) for name in ("espeak-ng", "espeak"))


def _choose_english(engine: Any) -> None:
    """Take an English voice where the default may be another; US English where there is one."""
    voices = engine.getProperty("voices") or []
    for wanted in ("en-us", "en_us", "en-gb", "en"):
        for voice in voices:
            if str(voice.id).lower().rsplit("/", 1)[-1].replace("_", "-") == wanted.replace(
                "_", "-"
            ):
                engine.setProperty("voice", voice.id)
                return


def _answer(out: Any, **fields: object) -> None:
    out.write(json.dumps(fields) + "\n")
    out.flush()


def save(engine: Any, rate: int, text: str, path: str) -> None:
    """Write ``text`` as a WAV file at ``rate``.

    A busy machine was seen to lose the rate that had just been set, and to write a file without a
    sound: the rate is set for every text, and the text is said anew where either happened.
    """
    for _ in range(_TRIES):
        engine.setProperty("rate", rate)
        engine.save_to_file(text, path)
        engine.runAndWait()
        if engine.getProperty("rate") == rate and _holds_sound(path):
            return


def _holds_sound(path: str) -> bool:
    return Path(path).exists() and Path(path).stat().st_size > _HEADER


def main() -> int:
    """Serve until standard input ends."""
    # pyttsx3 prints; what it prints must not get between our answers.
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    try:
        rate = int(sys.argv[1])
        engine = make_engine()
        engine.setProperty("rate", rate)
    except Exception as error:  # noqa: BLE001 - whatever is wrong, there is no voice
        _answer(out, ok=False, why=f"{type(error).__name__}: {error}")
        return 1
    _answer(out, ok=True)
    for line in sys.stdin:
        asked = json.loads(line)
        try:
            save(engine, rate, asked["text"], asked["path"])
        except Exception as error:  # noqa: BLE001 - told to the owner, who starts anew
            _answer(out, ok=False, why=f"{type(error).__name__}: {error}")
            return 1
        _answer(out, ok=_holds_sound(asked["path"]), why="no sound was written")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
