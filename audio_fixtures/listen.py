"""Play every fixture to the recogniser of the project, and mark what it mishears.

    python audio_fixtures/listen.py [--write] [--open]

Readings are heard as answers to the quantity that the index expects, commands while anything may
come; with --open all are heard while anything may come. --write notes in index.yaml what is
misheard (``hard: true`` and ``heard``); no fixture is ever taken out for it.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

if not __package__:  # run as a script: let the repository's root be importable
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from assistant.errors import ProbetellError
from assistant.readings.reading import reading_to_json
from assistant.speech.ear import open_ear
from assistant.speech.hearing import HeardFile, hear_file
from audio_fixtures.listing import HERE, Entry, load_index, save_index
from audio_fixtures.voices import HELD_OUT

__all__ = ["listen", "main", "right"]


def right(entry: Entry, heard: HeardFile) -> bool:
    """Tell whether what was understood is what the index lists."""
    reading = None if heard.reading is None else reading_to_json(heard.reading)
    if entry.command is not None:
        return heard.command == entry.command
    return reading == entry.reading


def listen(entries: tuple[Entry, ...], *, anything: bool = False) -> tuple[Entry, ...]:
    """Hear every file; give the entries with ``hard`` and ``heard`` as they came out."""
    ear = open_ear()
    marked = []
    for entry in entries:
        expect = None if anything or entry.expect == "command" else entry.expect
        heard = hear_file(HERE / entry.file, expect=expect, ear=ear)
        good = right(entry, heard)
        marked.append(
            entry.model_copy(update={"hard": not good, "heard": None if good else heard.text})
        )
    return tuple(marked)


def _shares(entries: tuple[Entry, ...]) -> list[str]:
    """Give one line for each group: voices kept from training, the others, each noise level."""
    good: Counter[str] = Counter()
    every: Counter[str] = Counter()
    for entry in entries:
        kept = "voices kept from training" if entry.voice in HELD_OUT else "other voices"
        for group in ("all", kept, f"noise {entry.noise_db} dB under"):
            every[group] += 1
            good[group] += not entry.hard
    return [f"{good[group]:4d} of {every[group]:3d}  {group}" for group in sorted(every)]


def main(arguments: list[str] | None = None) -> int:
    """Run as a command; give the exit code."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--write", action="store_true", help="note the results in index.yaml")
    parser.add_argument("--open", action="store_true", help="hear all while anything may come")
    given = parser.parse_args(arguments)
    if given.write and given.open:
        parser.error("--write notes what is heard when it is expected, so not with --open")
    try:
        marked = listen(load_index(), anything=given.open)
    except ProbetellError as problem:
        print(problem, file=sys.stderr)  # noqa: T201 - a command prints
        return 2
    for entry in marked:
        if entry.hard:
            print(f"{entry.file}: {entry.words!r} was heard as {entry.heard!r}")  # noqa: T201
    print("\n".join(_shares(marked)))  # noqa: T201
    if given.write:
        save_index(marked)
    return 0


if __name__ == "__main__":
    sys.exit(main())
