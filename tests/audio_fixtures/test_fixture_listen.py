"""What the index says of the recogniser, against the recogniser."""

from __future__ import annotations

from typing import Any

import pytest

from assistant.readings.reading import reading_from_json
from assistant.speech.hearing import HeardFile
from audio_fixtures.listen import listen, right
from audio_fixtures.listing import Entry, load_index

INDEX = load_index()


def heard(text: str, **what: Any) -> HeardFile:
    told = {"reading": None, "command": None, **what}
    return HeardFile(file="x.wav", text=text, candidates=(), seconds=0.1, **told)


def entry(words: str) -> Entry:
    return next(one for one in INDEX if one.words == words)


def test_right_means_the_listed_reading_or_command_and_nothing_else() -> None:
    volts = entry("twelve point six volts")
    assert right(volts, heard("x", reading=reading_from_json({"value": 12.6, "unit": "V"})))
    assert not right(volts, heard("x", reading=reading_from_json({"value": 12.6, "unit": "mV"})))
    assert not right(volts, heard(""))
    assert right(entry("undo"), heard("undo", command="undo"))
    assert not right(entry("undo"), heard("no", command="no"))


def test_what_is_not_marked_hard_is_heard_right() -> None:
    pytest.importorskip("vosk", reason="the built-in recogniser needs probetell[voice]")
    easy = tuple(one for one in INDEX if not one.hard)
    misheard = [one for one in listen(easy) if one.hard]
    # Arithmetic differs a little between processors, and one close call may fall the other way.
    assert len(misheard) <= 1, [(one.file, one.heard) for one in misheard]
