"""Benchmarks: each prints a table with its machine and seed, and compares within one run.

``python -m assistant.benchmarks NAME [options]`` runs one of ``BENCHMARKS``; without a name all.
A benchmark is a module with ``main(arguments: list[str]) -> int``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["BENCHMARKS"]

BENCHMARKS: Final[Mapping[str, tuple[str, str]]] = {
    "outside": (
        "assistant.benchmarks.outside",
        "cars that the program has never seen, driven through the machine contract",
    ),
    "fleet": (
        "assistant.benchmarks.fleet",
        "orders of checks compared on unseen cars: the program's, the trade's and others",
    ),
    "optimum": (
        "assistant.benchmarks.optimum",
        "the choice of checks beside the exact optimum on small models",
    ),
    "peers": (
        "assistant.benchmarks.peers",
        "the belief beside two Bayesian network packages on one slice",
    ),
    "choice": (
        "assistant.benchmarks.choice",
        "the time to choose the next check, beside counting every world",
    ),
    "pace": (
        "assistant.benchmarks.pace",
        "what a person waits for: a new installation, and the next check after an answer",
    ),
    "ear": (
        "assistant.benchmarks.ear",
        "spoken readings through the recogniser",
    ),
    "webhook": (
        "assistant.benchmarks.webhook",
        "texts at a steady rate over many open cases, or while everything is killed",
    ),
}
"""By name: the module, and what it shows in a few words. A new benchmark is one more row."""
