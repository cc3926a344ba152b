"""From a sound file to what was said in it: the contract of ``probetell hear``."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from assistant.errors import GivenError
from assistant.readings import (
    Ambiguous,
    CommandFound,
    ReadingFound,
    grammar_for,
    interpret_spoken,
)
from assistant.readings.reading import Quantity, Reading, reading_to_json
from assistant.speech.audio import read_sound
from assistant.speech.ear import open_ear
from assistant.speech.events import ANY, Heard, Recogniser

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator
    from pathlib import Path

__all__ = [
    "Candidate",
    "FailedFile",
    "HeardFile",
    "grammar_of",
    "hear_file",
    "hear_files",
    "meant",
    "understand",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One thing that may have been said; ``weight`` in [0, 1], all of a file at most 1."""

    text: str
    reading: Reading | None
    weight: float

    def to_json(self) -> dict[str, Any]:
        """Give the form of the machine interface."""
        reading = None if self.reading is None else reading_to_json(self.reading)
        return {"text": self.text, "reading": reading, "weight": round(self.weight, 4)}


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardFile:
    """What was heard in one file.

    ``reading`` and ``command`` are those of the best phrase, None where it holds none or leaves
    the reading open ("twelve six"): then ``candidates`` name each reading that it may be.
    ``text`` is empty for silence, noise and words outside the grammar. ``seconds`` is the time
    that reading and hearing the file took.
    """

    file: str
    text: str
    reading: Reading | None
    command: str | None
    candidates: tuple[Candidate, ...]
    seconds: float

    def to_json(self) -> dict[str, Any]:
        """Give the form of the machine interface."""
        return {
            "file": self.file,
            "text": self.text,
            "reading": None if self.reading is None else reading_to_json(self.reading),
            "command": self.command,
            "candidates": [candidate.to_json() for candidate in self.candidates],
            "seconds": round(self.seconds, 3),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class FailedFile:
    """A file that could not be heard, and the error that says why."""

    file: str
    error: GivenError


def grammar_of(expect: Quantity | None) -> str:
    """Give the name of the grammar for ``expect``; of all grammars where nothing is expected."""
    return ANY if expect is None else grammar_for(expect)


def hear_file(
    path: str | Path,
    *,
    expect: Quantity | None = None,
    ear: Recogniser | None = None,
    clock: Callable[[], float] = time.perf_counter,
) -> HeardFile:
    """Hear one file; with ``expect`` only its readings and the commands may come.

    Raises ``GivenError`` when the file cannot be read as sound. The ear is the one that
    ``open_ear`` gives when none is passed.
    """
    listening = ear or open_ear()
    begun = clock()
    sound = read_sound(path)
    stream = listening.begin(grammar_of(expect))
    stream.feed(sound.samples)
    heard = stream.finish()
    reading, command, candidates = understand(heard, expect)
    return HeardFile(
        file=str(path),
        text="" if heard.outweighed else heard.text,
        reading=reading,
        command=command,
        candidates=candidates,
        seconds=clock() - begun,
    )


def hear_files(
    paths: Iterable[str | Path],
    *,
    expect: Quantity | None = None,
    ear: Recogniser | None = None,
) -> Iterator[HeardFile | FailedFile]:
    """Hear file after file; one that cannot be read gives a ``FailedFile`` and the next follows.

    A ``MissingPartError`` is raised: then no file can be heard.
    """
    listening = ear or open_ear()
    for path in paths:
        try:
            yield hear_file(path, expect=expect, ear=listening)
        except GivenError as error:
            yield FailedFile(file=str(path), error=error)


def understand(
    heard: Heard, expect: Quantity | None
) -> tuple[Reading | None, str | None, tuple[Candidate, ...]]:
    """Give reading and command of the best phrase, and every candidate with its weight.

    A phrase that is behind words outside the grammar is a candidate only.
    """
    best: tuple[Reading | None, str | None] = (None, None)
    candidates: list[Candidate] = []
    for number, (one, weight) in enumerate(zip(heard.hypotheses, heard.weights, strict=True)):
        readings, command = meant(one.text, expect)
        if number == 0 and not heard.outweighed:
            best = (readings[0] if len(readings) == 1 else None, command)
        candidates += [
            Candidate(text=one.text, reading=reading, weight=weight / max(1, len(readings)))
            for reading in readings or (None,)
        ]
    return *best, tuple(candidates)


def meant(text: str, expect: Quantity | None) -> tuple[tuple[Reading, ...], str | None]:
    """Give the readings that ``text`` may be, and its command; several where it is open."""
    found = interpret_spoken(text, quantity=expect).findings
    readings: tuple[Reading, ...] = ()
    command: str | None = None
    for finding in found:
        match finding:
            case ReadingFound(reading=reading) if not readings:
                readings = (reading,)
            case Ambiguous(candidates=several) if not readings:
                readings = several
            case CommandFound(command=name) if command is None:
                command = name
            case _:
                pass
    return readings, command
