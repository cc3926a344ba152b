"""A circuit as text for a SPICE simulator, and the simulator's answer read back.

Pure text in and out: running the simulator is somebody else's business. Written for ngspice's
batch mode; a constant-power load becomes a behavioural current source.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.electrics.circuit import (
    Circuit,
    ConstantPowerLoad,
    CurrentSource,
    Element,
    LimitedSource,
    Resistor,
    VoltageSource,
)
from assistant.errors import GivenError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import ArrayLike

__all__ = ["parse_output", "spice_nodes", "write_deck"]

_OPEN_OHM: Final = 1e15
_PRINTED: Final = re.compile(
    r"^\s*([vi])\((\w+)\)\s*=\s*([-+]?[\d.]+(?:e[-+]?\d+)?)\s*$", re.IGNORECASE | re.MULTILINE
)
_OPTIONS: Final = ".options reltol=1e-10 vntol=1e-12 abstol=1e-13 gmin=1e-14 itl1=1000"


def _word(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "_", name.lower())


def spice_nodes(circuit: Circuit) -> dict[str, str]:
    """Give each node its SPICE name: ground is 0, other signs become underscores.

    Raises ``GivenError`` when two nodes would share a name.
    """
    names = {circuit.ground: "0"} | {node: _word(node) for node in circuit.nodes}
    if len(set(names.values())) < len(names):
        raise GivenError(
            "Two nodes have one name once dots and capitals are gone.", next_step="Rename one."
        )
    return names


def _number(value: ArrayLike, world: int) -> str:
    array = np.asarray(value, dtype=np.float64)
    return format(float(array[world] if array.ndim else array), ".17g")


def _line(element: Element, nodes: Mapping[str, str], world: int) -> str:
    name, a, b = _word(element.name), nodes[element.a], nodes[element.b]
    match element:
        case Resistor(ohms=ohms):
            number = _number(ohms, world)
            return f"R{name} {a} {b} {_OPEN_OHM if number == 'inf' else number}"
        case VoltageSource(volts=volts):
            return f"V{name} {a} {b} DC {_number(volts, world)}"
        case CurrentSource(amps=amps):
            return f"I{name} {a} {b} DC {_number(amps, world)}"
        case ConstantPowerLoad(watts=watts):
            # The floor only keeps the first guess from dividing by zero.
            return f"B{name} {a} {b} I={_number(watts, world)}/max(V({a},{b}),1e-3)"
        case LimitedSource(volts=volts, ohms=ohms, limit=limit):
            free = f"({_number(volts, world)}-V({a},{b}))/{_number(ohms, world)}"
            return f"B{name} {a} {b} I=-min(max({free},0),{_number(limit, world)})"


def write_deck(
    circuit: Circuit,
    title: str,
    *,
    world: int = 0,
    start: Mapping[str, float] | None = None,
) -> str:
    """Write one world of ``circuit`` as a deck that prints every node and source current.

    ``start`` gives first guesses in V by node, which steer the simulator to the solution with
    the higher voltage. Raises ``GivenError`` for a title of more than one line, or two elements
    or nodes whose SPICE names would be the same.
    """
    if not title.strip() or "\n" in title:
        raise GivenError("A deck's title must be one line.", next_step="Give a short title.")
    nodes = spice_nodes(circuit)
    lines = [_line(element, nodes, world) for element in circuit.elements]
    if len({line.split()[0].lower() for line in lines}) < len(lines):
        raise GivenError(
            "Two elements have one name once dots and capitals are gone.", next_step="Rename one."
        )
    sources = [e for e in circuit.elements if isinstance(e, VoltageSource)]
    guesses = [f".nodeset v({nodes[node]})={volts!r}" for node, volts in (start or {}).items()]
    prints = [f"print v({nodes[node]})" for node in circuit.nodes]
    prints += [f"print i(v{_word(source.name)})" for source in sources]
    control = [".control", "set numdgt=15", "op", *prints, "quit", ".endc", ".end"]
    return "\n".join([f"* {title}", *lines, *guesses, _OPTIONS, *control]) + "\n"


def parse_output(text: str, circuit: Circuit) -> tuple[dict[str, float], dict[str, float]]:
    """Read ngspice's batch output: V by node and A by voltage source of ``circuit``.

    Raises ``GivenError`` when a node or source is missing from the text (the simulator failed).
    """
    found = {(kind.lower(), name.lower()): float(n) for kind, name, n in _PRINTED.findall(text)}
    sources = [e.name for e in circuit.elements if isinstance(e, VoltageSource)]
    names = spice_nodes(circuit)
    try:
        volts = {circuit.ground: 0.0}
        volts |= {node: found["v", names[node]] for node in circuit.nodes}
        amps = {source: found["i", f"v{_word(source)}"] for source in sources}
    except KeyError as cause:
        raise GivenError(
            f"The simulator's output has no {'('.join(cause.args[0])}).",
            next_step="Read its messages for why it failed.",
        ) from None
    return volts, amps
