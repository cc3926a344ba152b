"""The carriers' words, and that the dialogue needs none of them.

Outside: the words of the CTIA Messaging Principles and of 47 CFR 64.1200(a)(10); STOPALL, START
and UNSTOP as carriers document them.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.messaging.reserved import load_reserved, reserved

_CTIA_LEAVE = ("STOP", "END", "CANCEL", "UNSUBSCRIBE", "QUIT")
_CTIA_HELP = ("HELP", "INFO")
_FCC = ("stop", "quit", "end", "revoke", "opt out", "cancel", "unsubscribe")
_CARRIERS = ("STOPALL", "OPTOUT", "REVOKE")


@pytest.mark.parametrize("word", [*_CTIA_LEAVE, *_FCC, *_CARRIERS])
@pytest.mark.parametrize("around", ["{}", " {} ", "{}.", "{}!!", "'{}'", "please {}", "{} please"])
def test_words_that_end_the_messages(word: str, around: str) -> None:
    assert reserved(around.format(word)) == "leave"
    assert reserved(around.format(word.lower())) == "leave"
    assert reserved(around.format(word.title())) == "leave"


@pytest.mark.parametrize("word", _CTIA_HELP)
def test_words_for_help(word: str) -> None:
    assert reserved(word) == "help"
    assert reserved(f"{word.lower()}?") == "help"


@pytest.mark.parametrize("word", ["START", "Unstop", "YES", "yes."])
def test_words_for_coming_back(word: str) -> None:
    assert reserved(word) == "back"


@pytest.mark.parametrize(
    "text",
    [
        # any reasonable wording counts (47 CFR 64.1200(a)(10)); these wordings are our own
        "Please stop texting me",
        "stop sending me messages",
        "Don't text me anymore!",
        "do not contact this number",
        "take me off your list",
        "remove my number please",
        "no more texts",
        "opt me out",
        "Opt-Out",
        "I want to opt out of this",
        "i'd like to unsubscribe",
        "leave me alone",
        "I revoke my consent",
        "wrong number, sorry",
        "cancel this",
    ],
)
def test_reasonable_wordings(text: str) -> None:
    assert reserved(text) == "leave"


@pytest.mark.parametrize(
    "text",
    [
        "it stops when i brake",
        "amp stops after a minute",
        "music cuts out at the end of a song",
        "help my amp keeps cutting out",
        "can you help me with the remote wire",
        "yes it does",
        "start the truck and it dies",
        "when i start it",
        "the sound will quit and come back",
        "it quit working",
        "12.6",
        "stop light fuse is ok",
        "i cannot cancel the alarm chime",
        "rear end of the car",
        "",
        "\U0001f44d",
    ],
)
def test_sentences_that_only_hold_such_a_word(text: str) -> None:
    assert reserved(text) is None


@given(st.text(max_size=300))
@settings(max_examples=300, deadline=None)
def test_any_text_is_looked_at(text: str) -> None:
    assert reserved(text) in {None, "leave", "back", "help"}


def test_data_file_holds_the_published_words() -> None:
    file = load_reserved()
    for word in (*_CTIA_LEAVE, *_FCC, *_CARRIERS):
        assert word.lower() in file.leave
    assert {word.lower() for word in _CTIA_HELP} <= set(file.help)
    assert {"start", "unstop", "yes"} == set(file.back)
