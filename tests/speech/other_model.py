"""Another vosk model directory for the tests: the built-in network with a graph of bare words.

It takes runtime grammars, as the small models that are to be had do: ``HCLr.fst`` is a loop over
all words, sorted by output label, and ``Gr.fst`` a grammar that vosk replaces.
"""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

from assistant.readings.wordgraph import WordArc, WordGraph
from assistant.speech.fstfile import Arc, Fst, write_fst
from assistant.speech.lexicon import builtin_lexicon
from assistant.speech.modeldir import write_model
from assistant.speech.phonegraph import GraphCosts, build_graph, builtin_phones

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path


def write_other_model(folder: Path, words: Iterable[str]) -> Path:
    """Make a model directory that knows ``words`` and give its path."""
    arcs = tuple(WordArc(source=0, target=0, word=word) for word in sorted(words))
    loop = WordGraph(start=0, finals=frozenset({0}), arcs=arcs)
    costs = GraphCosts(blank=2.5, word=0.0, loop_phone=0.5, other_words=0.0)
    graph = build_graph(loop, builtin_lexicon(), builtin_phones(), costs)
    made = write_model("other", graph, folder=folder)
    for leaf in [path for path in made.rglob("*") if path.is_symlink()]:
        source = leaf.resolve()
        leaf.unlink()
        shutil.copyfile(source, leaf)
    for arcs_of in graph.fst.arcs:
        arcs_of.sort(key=lambda arc: arc.olabel)
    inside = made / "graph"
    (inside / "HCLG.fst").unlink()
    (inside / "HCLr.fst").write_bytes(write_fst(graph.fst))
    every = [Arc(k, k, 0.0, 0) for k in range(1, len(graph.words))]
    (inside / "Gr.fst").write_bytes(write_fst(Fst(start=0, arcs=[every], finals={0: 0.0})))
    (inside / "disambig_tid.int").write_text("", encoding="ascii")
    return made
