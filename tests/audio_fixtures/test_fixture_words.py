"""What is listed as spoken must mean, by the project's own grammar, what is listed as its reading.

The readings of the lists were written by hand, those of the benchmark set by its own generator.
"""

from __future__ import annotations

from typing import get_args

import pytest

from assistant.readings import CommandFound, ReadingFound, interpret_spoken
from assistant.readings.reading import Quantity, reading_to_json
from audio_fixtures.heldout import Spoken, draw
from audio_fixtures.listing import Phrase, load_phrases

SAID = [
    pytest.param(phrase, id=phrase.file)
    for phrases in load_phrases().values()
    for phrase in phrases
]


def understood(said: Phrase | Spoken, quantity: Quantity | None) -> object:
    """Give the command's name, or the reading in the form of the lists."""
    findings = interpret_spoken(said.words, quantity=quantity).findings
    assert len(findings) == 1, findings
    found = findings[0]
    if isinstance(found, CommandFound):
        return found.command
    assert isinstance(found, ReadingFound), found
    return reading_to_json(found.reading)


@pytest.mark.parametrize("phrase", SAID)
def test_words_mean_what_the_list_says(phrase: Phrase) -> None:
    if phrase.expect == "command":
        # A bare yes is an answer where a check asks for yes or no.
        others = () if phrase.words == "yes" else get_args(Quantity)
        for quantity in (None, *others):
            assert understood(phrase, quantity) == phrase.command
    else:
        assert understood(phrase, phrase.expect) == phrase.reading


def test_words_of_a_benchmark_set_mean_what_its_manifest_says() -> None:
    for said in draw(300, 7):
        quantity = None if said.expect == "command" else said.expect
        assert understood(said, quantity) == (said.command or said.reading), said.words  # type: ignore[arg-type]
