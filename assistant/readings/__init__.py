"""Spoken or typed words to quantities with unit and certainty."""

from __future__ import annotations

from assistant.readings.findings import (
    Ambiguous,
    CommandFound,
    Finding,
    Interpretation,
    NothingFound,
    ReadingFound,
    VehicleState,
    WrongUnit,
)
from assistant.readings.graphs import (
    any_graph,
    combined_graph,
    grammar_graph,
    words_of_all_grammars,
)
from assistant.readings.interpret import grammar_for, interpret_spoken, interpret_typed
from assistant.readings.readback import contrast, contrast_typed, read_back, read_back_typed
from assistant.readings.wordgraph import WordArc, WordGraph

__all__ = [
    "Ambiguous",
    "CommandFound",
    "Finding",
    "Interpretation",
    "NothingFound",
    "ReadingFound",
    "VehicleState",
    "WordArc",
    "WordGraph",
    "WrongUnit",
    "any_graph",
    "combined_graph",
    "contrast",
    "contrast_typed",
    "grammar_for",
    "grammar_graph",
    "interpret_spoken",
    "interpret_typed",
    "read_back",
    "read_back_typed",
    "words_of_all_grammars",
]
