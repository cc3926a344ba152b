"""Licences by Debian's machine-readable copyright format 1.0, whose sections are named below."""

from __future__ import annotations

from fnmatch import fnmatchcase

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.speech.acoustic.debian_copyright import (
    FilesParagraph,
    allowed,
    fits,
    paragraph_of,
    read_paragraphs,
)

# "Files paragraph": patterns over several lines, fields that go on in lines with a space before
# them. The licence of the third stands below its field, as some packages have it.
_COPYRIGHT = """\
Format: https://www.debian.org/doc/packaging-manuals/copyright-format/1.0/
Upstream-Name: invented

Files: *
Copyright: 2001 First Maker
License: GPL-2+
 .
 Files: none of this is a field.

Files: sounds/a.ogg
 sounds/b.ogg
Copyright: 2002 Second Maker
           2003 Third Maker
License: CC0-1.0
Comment: found somewhere

Files:
 sounds/bell?low*
 ./music/*
copyright: somebody
License:
 Public Domain

License: GPL-2+
 Text of the licence.
"""


def test_paragraphs_have_patterns_licence_and_holders() -> None:
    assert read_paragraphs(_COPYRIGHT) == (
        FilesParagraph(("*",), "GPL-2+", "2001 First Maker"),
        FilesParagraph(
            ("sounds/a.ogg", "sounds/b.ogg"), "CC0-1.0", "2002 Second Maker 2003 Third Maker"
        ),
        FilesParagraph(("sounds/bell?low*", "music/*"), "Public Domain", "somebody"),
    )


@pytest.mark.parametrize(
    ("path", "licence"),
    [
        ("sounds/a.ogg", "CC0-1.0"),
        ("sounds/c.ogg", "GPL-2+"),
        ("more/sounds/a.ogg", "GPL-2+"),  # patterns begin at the root of the source
        ("sounds/bell low 2.ogg", "Public Domain"),  # "?" is how a space is written
        ("music/deep/in.ogg", "Public Domain"),  # "*" goes over slashes
    ],
)
def test_the_last_paragraph_that_fits_counts(path: str, licence: str) -> None:
    # Section "Files": of several paragraphs that match a file the last applies to it.
    paragraph = paragraph_of(path, read_paragraphs(_COPYRIGHT))
    assert paragraph is not None
    assert paragraph.licence == licence


def test_a_path_that_nothing_fits_has_no_licence() -> None:
    assert paragraph_of("b", [FilesParagraph(("a",), "CC0", "x")]) is None


def test_a_backslash_takes_the_meaning_away_and_brackets_have_none() -> None:
    # Section "Files": \*, \? and \\ stand for the characters; only * and ? are wild.
    assert fits("a*b", [r"a\*b"])
    assert not fits("axb", [r"a\*b"])
    assert fits("what?", [r"what\?"])
    assert fits("a\\b", [r"a\\b"])
    assert fits("[ab]", ["[ab]"])
    assert not fits("a", ["[ab]"])


@given(st.text("ab./*?", max_size=8), st.text("ab./", max_size=8))
def test_wild_characters_are_those_of_the_shell(pattern: str, path: str) -> None:
    # Python's fnmatch agrees with the standard where there are neither brackets nor backslashes.
    assert fits(path, [pattern]) == fnmatchcase(path, pattern)


@pytest.mark.parametrize(
    ("licence", "yes"),
    [
        ("CC0", True),
        ("CC0 and CC-BY-4.0", True),
        ("CC0 and GPL-2", False),
        ("GPL-2 or CC-BY-4.0", True),
        ("GPL-2 or CC0 and GPL-3", False),  # "and" binds closer: GPL-2, or both of the others
        ("GPL-2 or CC0, and CC-BY-4.0", True),  # a comma before "and" turns that round
        ("CC0 or CC-BY-4.0, and GPL-2", False),
        ("CC-BY-SA-4.0", False),
        ("", False),
    ],
)
def test_a_licence_is_allowed_when_the_simple_ones_meet_it(licence: str, *, yes: bool) -> None:
    # Section "License specification, Syntax": "and", "or", and the comma before "and".
    assert allowed(licence, {"CC0", "CC-BY-4.0"}) is yes
