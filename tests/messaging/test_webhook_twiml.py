"""The webhook's markup is well-formed for any text, by lxml."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from text_kit import messages_in

from assistant.messaging.practice_phone import bodies_of
from assistant.messaging.twiml import printable, twiml

ANY = st.text(alphabet=st.characters(codec=None))


def test_the_published_form() -> None:
    # Row 7.16: output of the carrier's own builder.
    assert twiml(["Check fuse & ground < 0.1 V"]) == (
        '<?xml version="1.0" encoding="UTF-8"?><Response><Message>Check fuse &amp; ground &lt; '
        "0.1 V</Message></Response>"
    )


def test_nothing_to_say_is_an_empty_response() -> None:
    assert etree.fromstring(twiml().encode()).tag == "Response"
    assert messages_in(twiml(["", " \n", "\x00\x07"])) == []


@given(st.lists(ANY, max_size=4))
def test_any_text_makes_well_formed_markup(bodies: list[str]) -> None:
    said = [printable(body) for body in bodies if printable(body).strip()]
    assert list(messages_in(twiml(bodies))) == said
    assert list(bodies_of(twiml(bodies))) == said


@given(ANY)
def test_what_is_printable_stays_so(text: str) -> None:
    once = printable(text)
    assert printable(once) == once
    assert all(char in "\n\t" or char.isprintable() or ord(char) > 0x9F for char in once)


@pytest.mark.parametrize(
    "char", ["\x00", "\x08", "\x0b", "\x1b", "\x7f", "\x85", "\ud800", "\uffff"]
)
def test_control_characters_are_left_out(char: str) -> None:
    assert printable(f"a{char}b") == "ab"
