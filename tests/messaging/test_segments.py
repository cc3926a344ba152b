"""Septets, segments and plain text.

Outside: the packages smsutil and gsm0338, which implement 3GPP TS 23.038 and 23.040 of their own.
"""

from __future__ import annotations

import unicodedata

import gsm0338
import pytest
import smsutil
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.messaging.segments import (
    BASIC,
    EXTENDED,
    bodies,
    is_gsm,
    plain,
    segments,
    septets,
)

_GSM = st.text(alphabet=BASIC + EXTENDED, max_size=700)
_ANY = st.text(max_size=700)
_WORDS = st.text(alphabet="abc .!?\n1€é-", max_size=1200)


def test_alphabet_is_that_of_gsm0338() -> None:
    # 3GPP TS 23.038, as the package gsm0338 has it: 128 codes, one of them the escape
    known = {chr(c) for c in range(0x10000) if _encodes(chr(c))}
    assert set(BASIC) | set(EXTENDED) | {"\x1b"} == known
    assert len(BASIC) == 127
    assert len(set(BASIC) & set(EXTENDED)) == 0


def _encodes(char: str) -> bool:
    try:
        gsm0338.Codec().encode(char)
    except UnicodeError:
        return False
    return True


@pytest.mark.parametrize("char", BASIC + EXTENDED)
def test_septets_of_each_character_are_those_of_gsm0338(char: str) -> None:
    coded, _ = gsm0338.Codec().encode(char)
    assert septets(char) == len(coded)


@pytest.mark.parametrize(
    ("text", "count"),
    [
        # counted with smsutil
        ("a" * 160, 1),
        ("a" * 161, 2),
        ("a" * 306, 2),
        ("a" * 307, 3),
        ("€" * 80, 1),
        ("€" * 81, 2),
        ("µ" * 71, 2),
        ("\u03a9" * 71, 1),
        ("\U0001f600" * 36, 2),
        ("\u2019" + "a" * 160, 3),
        ("a" * 159 + "€", 2),
        ("a" * 158 + "€", 1),
        ("a" * 152 + "€" + "a" * 10, 2),
        # the example that Twilio publishes for one character outside the alphabet
        ("a" * 152 + "\u2019", 3),
        ("", 1),
    ],
)
def test_published_counts(text: str, count: int) -> None:
    assert segments(text) == count
    assert len(smsutil.split(text).parts) == count


@given(st.one_of(_GSM, _ANY.map(lambda t: t.encode("utf-16", "ignore").decode("utf-16"))))
@settings(max_examples=400, deadline=None)
def test_segments_are_those_of_smsutil(text: str) -> None:
    # smsutil takes a bare escape for text, though by 3GPP TS 23.038 it only announces the next code
    text = text.replace("\x1b", "")
    assert segments(text) == max(1, len(smsutil.split(text).parts))
    assert is_gsm(text) == smsutil.is_valid_gsm(text or " ")


def test_a_bare_escape_is_no_character() -> None:
    # 3GPP TS 23.038, 6.2.1: code 0x1B is the escape to the extension table
    assert not is_gsm("\x1b")


@pytest.mark.parametrize("char", "°±µ\u2019\u2013`\tç\u2126")
def test_characters_outside_the_alphabet(char: str) -> None:
    # counted with smsutil and gsm0338: none of these is in the alphabet
    assert not is_gsm(char)
    assert not smsutil.is_valid_gsm(char)
    with pytest.raises(ValueError, match="alphabet"):
        septets(char)


@pytest.mark.parametrize(
    ("text", "made"),
    [
        ("it\u2019s 3.6\u2126", "it's 3.6\u03a9"),
        ("\u201cno\u201d \u2013 25\u00b0C", '"no" - 25 deg C'),
        ("5\u00b5F \u00b1 1", "5uF +/- 1"),
        ("a\x00\x07\x1b\u202eb\ufeff", "ab"),
        ("gar\u00e7on \u0160", "garcon S"),
        ("\uff11\uff12.\uff16", "12.6"),
        ("\u0663", "3"),
        ("ok \U0001f44d", "ok"),
        ("\u0448\u0443\u043c", "???"),
        ("a\r\nb\rc\n\n d", "a\nb\nc\nd"),
        ("[x] {y}", "[x] {y}"),
    ],
)
def test_plain(text: str, made: str) -> None:
    assert plain(text) == made


@given(_ANY)
@settings(max_examples=600, deadline=None)
def test_plain_is_gsm_without_control_characters(text: str) -> None:
    made = plain(text)
    assert smsutil.is_valid_gsm(made or " ")
    assert not any(unicodedata.category(c) == "Cc" and c != "\n" for c in made)
    assert plain(made) == made


@given(_GSM)
@settings(max_examples=200, deadline=None)
def test_plain_keeps_what_is_plain(text: str) -> None:
    words = " ".join(text.split())
    kept = "".join(c for c in words if c.isprintable())
    assert plain(kept) == " ".join(kept.split(" ")).strip()


@given(st.one_of(_ANY, _GSM, _WORDS), st.integers(1, 2))
@settings(max_examples=600, deadline=None)
def test_bodies_hold_all_that_is_said(text: str, most: int) -> None:
    made = bodies(text, most)
    assert all(body and segments(body) <= most for body in made)
    assert "".join("".join(made).split()) == "".join(plain(text).split())
    if segments(plain(text)) <= most and plain(text):
        assert made == (plain(text),)


def test_bodies_are_cut_at_sentence_edges() -> None:
    first, second = "a" * 200 + " 12.6 V.", "Then " + "b" * 200 + "?"
    assert bodies(f"{first} {second}") == (first, second)
    assert bodies(f"{first}\n{second}") == (first, second)
    assert bodies("One. Two.\nThree.") == ("One. Two.\nThree.",)


def test_bodies_cut_long_sentences_between_words() -> None:
    made = bodies("word " * 100)
    assert len(made) == 2
    assert all(set(body.split()) == {"word"} for body in made)


def test_bodies_cut_endless_words_too() -> None:
    made = bodies("€" * 400)
    assert [segments(body) for body in made] == [2, 2, 2]
    assert "".join(made) == "€" * 400
