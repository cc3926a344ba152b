"""The template notation and the validation of grammar files."""

from __future__ import annotations

import pytest

from assistant.errors import GivenError, MisuseError
from assistant.readings.grammarfile import load_file, load_grammar, validate_file
from assistant.readings.language import phrases_of
from assistant.readings.template import parse_template, references, words_in


def test_words_references_and_text_only_parts() -> None:
    node = parse_template("(it's / ~its)? low=$number ~(volts / v)?")
    assert words_in(node) == {"it's", "its", "volts", "v"}
    assert words_in(node, text_only=False) == {"it's"}
    assert references(node) == {"number"}


@pytest.mark.parametrize(
    ("text", "what"),
    [("(a", "not closed"), ("a)", "closes nothing"), ("a / / b", "empty"), ("a / ", "empty"),
     ("()", "empty"), ("?", "a word is needed"), ("a {b}", "notation"), ("A", "notation"),
     ("x=", "a word is needed"), ("~", "a word is needed"), ("", "empty")],
)  # fmt: skip
def test_a_malformed_template_is_named(text: str, what: str) -> None:
    with pytest.raises(GivenError, match=what):
        parse_template(text)


GOOD = {
    "name": "x", "kind": "grammar", "about": "A test.",
    "sentences": [{"say": "a / b", "gives": "beep"}],
}  # fmt: skip


def test_a_good_file_is_taken() -> None:
    assert validate_file(GOOD, where="x.yaml").sentences[0].gives == "beep"


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"sentences": []}, "a grammar has sentences"),
        ({"kind": "parts"}, "a file of parts has none"),
        ({"sentences": [{"say": "(a", "gives": "beep"}]}, "not closed"),
        ({"sentences": [{"say": "a", "gives": "song"}]}, "sentences.0.gives"),
        ({"colour": "red"}, "colour"),
        ({"rules": {"r": "a"}, "lists": {"r": {"e": "b"}}}, "both as lists and as rules"),
    ],
)
def test_a_bad_file_says_where(change: dict[str, object], what: str) -> None:
    with pytest.raises(GivenError, match=what) as caught:
        validate_file({**GOOD, **change}, where="x.yaml")
    assert "x.yaml" in str(caught.value)
    assert caught.value.next_step


def test_unknown_names_are_refused() -> None:
    with pytest.raises(MisuseError, match="no grammar named 'colours'"):
        load_file("colours")
    with pytest.raises(MisuseError, match="holds parts"):
        load_grammar("numbers")
    with pytest.raises(GivenError, match=r"\$nothing"):
        phrases_of("volts", "nothing")


def test_a_rule_that_refers_to_nothing_is_named() -> None:
    file = validate_file({**GOOD, "rules": {"r": "$nowhere"}}, where="x.yaml")
    with pytest.raises(GivenError, match=r"\$nowhere"):
        file.find("nowhere")


def test_phrases_of_a_list_by_entry() -> None:
    listed = phrases_of("commands", "command")
    assert "say again" in listed["repeat"]
    assert "dont have a meter" in listed["cannot"]
