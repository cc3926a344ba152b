"""Spoken or typed words to quantities with unit and certainty."""

from __future__ import annotations

from assistant.readings.graphs import (
    any_graph,
    combined_graph,
    grammar_graph,
    words_of_all_grammars,
)

__all__ = ["any_graph", "combined_graph", "grammar_graph", "words_of_all_grammars"]
