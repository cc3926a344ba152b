"""Every spoken fixture through the real recogniser."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assistant.readings.reading import reading_to_json
from assistant.speech.ear import open_ear
from assistant.speech.hearing import hear_file
from audio_fixtures.listing import HERE, load_index

if TYPE_CHECKING:
    from assistant.speech.events import Recogniser
    from audio_fixtures.listing import Entry

_INDEX = load_index(HERE / "index.yaml")


@pytest.fixture(scope="module")
def ear() -> Recogniser:
    return open_ear()


@pytest.mark.parametrize("entry", _INDEX, ids=lambda entry: entry.file)
def test_what_is_said_is_understood(ear: Recogniser, entry: Entry) -> None:
    """A fixture that is marked ``hard`` may be misheard; it must still be heard without error."""
    heard = hear_file(
        HERE / entry.file, expect=None if entry.expect == "command" else entry.expect, ear=ear
    )
    if entry.hard:
        assert heard.seconds > 0.0
        return
    if entry.command is not None:
        assert heard.command == entry.command, heard.text
    else:
        assert heard.reading is not None, heard.text
        assert reading_to_json(heard.reading) == entry.reading, heard.text


def test_most_fixtures_are_not_marked_hard() -> None:
    assert sum(entry.hard for entry in _INDEX) < len(_INDEX) / 2
