"""What customers tell in sentences of their own. The texts are ours; common practice, no source."""

from __future__ import annotations

import pytest

from assistant.messaging.telling import is_afraid, outcome_of, sound_of


@pytest.mark.parametrize(
    ("text", "outcome"),
    [
        ("new bolt in, plays fine now!!", "fixed"),
        ("its fixed thanks man", "fixed"),
        ("same as before", "not_fixed"),
        ("swapped it and it still doesnt turn on", "not_fixed"),
        ("didn't help", "not_fixed"),
        ("ill text when its fixed", None),
        ("havent fixed it yet", None),
        ("will do saturday", None),
        ("is it fixed now?", None),
        ("works now but still cuts out", None),
    ],
)
def test_outcome(text: str, outcome: str | None) -> None:
    assert outcome_of(text) == outcome


@pytest.mark.parametrize(
    ("text", "state"),
    [
        ("silent too. all of em are silent bro", "no"),
        ("nope its not playing", "no"),
        ("yes it plays", "yes"),
        ("all play", "yes"),
        ("really scratchy", "distorted"),
        ("plays but distorted", None),
        ("does it play?", None),
        ("why so many questions", None),
    ],
)
def test_sound(text: str, state: str | None) -> None:
    assert sound_of(text) == state


@pytest.mark.parametrize("text", ["is that dangerous??", "im scared of the battery", "is it safe?"])
def test_afraid(text: str) -> None:
    assert is_afraid(text)


@pytest.mark.parametrize("text", ["12.6", "safe mode light is on", "cant reach it"])
def test_not_afraid(text: str) -> None:
    assert not is_afraid(text)
