"""Grammars as word graphs for the ear: compiled once a process, kept small.

What a template marks as text only is left out here.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING

from assistant.readings.acceptor import Acceptor, Builder, minimal, union, word_graph
from assistant.readings.grammarfile import GrammarFile, grammar_names, load_file, load_grammar
from assistant.readings.template import Choice, Keep, Node, Refer, Sequence, TextOnly, Word

if TYPE_CHECKING:
    from assistant.readings.wordgraph import WordGraph

__all__ = [
    "any_graph",
    "combined_graph",
    "grammar_graph",
    "graph_of_file",
    "words_of_all_grammars",
]

_COMMANDS = "commands"


def _draw(builder: Builder, file: GrammarFile, node: Node, source: int, target: int) -> None:
    """Draw ``node`` between two states of ``builder``, as the ear gets it."""
    match node:
        case Word(text=text):
            builder.words[source].append((text, target))
        case Sequence(parts=parts):
            at = source
            for part in parts:
                after = builder.state()
                _draw(builder, file, part, at, after)
                at = after
            builder.empties[at].append(target)
        case Choice(options=options):
            for option in options:
                _draw(builder, file, option, source, target)
        case Keep(part=part):
            _draw(builder, file, part, source, target)
        case TextOnly():
            pass
        case Refer(name=name):
            _draw_named(builder, file, name, source, target)


def _draw_named(builder: Builder, file: GrammarFile, name: str, source: int, target: int) -> None:
    owner, found = file.find(name)
    if owner is load_file(owner.name):
        builder.splice(_rule(owner.name, name), source, target)
        return
    # of a grammar that was made at run time nothing is kept
    for node in found.values() if isinstance(found, Mapping) else [found]:
        _draw(builder, owner, node, source, target)


@cache
def _rule(file_name: str, name: str) -> Acceptor:
    file, found = load_file(file_name).find(name)
    builder = Builder()
    for node in found.values() if isinstance(found, Mapping) else [found]:
        _draw(builder, file, node, 0, 1)
    return minimal(builder)


@cache
def _grammar(name: str) -> Acceptor:
    return _sentences(load_grammar(name))


def _sentences(file: GrammarFile) -> Acceptor:
    builder = Builder()
    for sentence in file.sentences:
        _draw(builder, file, sentence.node, 0, 1)
    return minimal(builder)


def graph_of_file(file: GrammarFile) -> WordGraph:
    """Give the word graph of a grammar that was made at run time from a file of parts."""
    return word_graph(_sentences(file))


@cache
def grammar_graph(name: str) -> WordGraph:
    """Give the word graph of one grammar; raise ``MisuseError`` when there is none."""
    return word_graph(_grammar(name))


@cache
def combined_graph(grammar_name: str, *, commands: bool = True) -> WordGraph:
    """Give the graph of the open check's grammar and, unless told not to, of all commands.

    With commands, a reading may also follow "no" or "correction", as people put one right.
    """
    if not commands or grammar_name == _COMMANDS:
        return grammar_graph(grammar_name)
    reading = _grammar(grammar_name)
    builder = Builder()
    builder.splice(reading, 0, 1)
    builder.splice(_grammar(_COMMANDS), 0, 1)
    if load_grammar(grammar_name).measure is not None:
        after = builder.state()
        builder.splice(_rule(_COMMANDS, "correcting"), 0, after)
        builder.splice(reading, after, 1)
    return word_graph(minimal(builder))


@cache
def any_graph() -> WordGraph:
    """Give the graph of all grammars, for when nothing is expected."""
    return word_graph(union(_grammar(name) for name in grammar_names()))


@cache
def words_of_all_grammars() -> frozenset[str]:
    """Every word that some graph may hold, for the ear's lexicon."""
    found = frozenset[str]()
    for name in grammar_names():
        found |= combined_graph(name).words
    return found
