"""General direct-current network solver: modified nodal analysis over many worlds at once.

It stands beside the closed forms as a check and is open to any circuit. Unknowns are the node
voltages and the currents of voltage sources (Ho, Ruehli and Brennan, 1975); constant-power loads
and limited sources are solved by braked Newton steps, first without the loads and from there
with them, so that of several solutions the one with the highest voltages is found.
"""

from __future__ import annotations

from dataclasses import dataclass
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
    element_values,
)
from assistant.errors import GivenError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.electrics.arrays import BoolArray, FloatArray

__all__ = [
    "Circuit",
    "ConstantPowerLoad",
    "CurrentSource",
    "LimitedSource",
    "Resistor",
    "Solution",
    "VoltageSource",
    "solve",
]

SHUNT_SIEMENS: Final = 1e-12
"""From every node to ground, so that a node left floating has a voltage (0 V)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Voltages and currents of every world; ``converged`` is (worlds,).

    Where a world did not converge its numbers are not a number; no exception is raised, as
    collapse is a state. Nearly always a load asks more than the circuit can give; with several
    limited sources the steps miss a solution that exists in under one world of a hundred.
    """

    circuit: Circuit
    converged: BoolArray
    node_voltages: dict[str, FloatArray]
    element_currents: dict[str, FloatArray]

    def voltage(self, red: str, black: str | None = None) -> FloatArray:
        """Voltage in V at ``red`` over ``black`` (ground when None), shape of the worlds."""
        over = self.circuit.ground if black is None else black
        try:
            return np.asarray(self.node_voltages[red] - self.node_voltages[over])
        except KeyError as cause:
            raise GivenError(
                f"The circuit has no node {cause.args[0]!r}.",
                next_step=f"Use one of {', '.join(self.node_voltages)}.",
            ) from None

    def current(self, element: str) -> FloatArray:
        """Give the current in A through an element from ``a`` to ``b``, shape of the worlds."""
        try:
            return self.element_currents[element]
        except KeyError:
            raise GivenError(
                f"The circuit has no element {element!r}.",
                next_step=f"Use one of {', '.join(self.element_currents)}.",
            ) from None


class _Stamps:
    """The matrix of the linear elements, and the bent elements apart."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.count = circuit.worlds[0] if circuit.worlds else 1
        self.index = {node: k for k, node in enumerate(circuit.nodes)}
        self.sources = [e for e in circuit.elements if isinstance(e, VoltageSource)]
        self.row = {source.name: k for k, source in enumerate(self.sources)}
        self.bent = [
            e for e in circuit.elements if isinstance(e, ConstantPowerLoad | LimitedSource)
        ]
        nodes = len(self.index)
        self.size = nodes + len(self.sources)
        self.matrix = np.zeros((self.count, self.size, self.size))
        self.right = np.zeros((self.count, self.size))
        self.matrix[:, range(nodes), range(nodes)] = SHUNT_SIEMENS
        for element in circuit.elements:
            match element:
                case Resistor():
                    self.conductance(self.matrix, element, 1.0 / element_values(element)[0])
                case CurrentSource():
                    self.injection(self.right, element, element_values(element)[0])
                case VoltageSource():
                    row = nodes + self.row[element.name]
                    self.right[:, row] = element_values(element)[0]
                    for end, sign in ((element.a, 1.0), (element.b, -1.0)):
                        if end in self.index:
                            self.matrix[:, row, self.index[end]] += sign
                            self.matrix[:, self.index[end], row] += sign
                case _:
                    pass
        # One array of values per bent element, (values, worlds).
        self.bent_values = [
            np.stack([np.broadcast_to(value, (self.count,)) for value in element_values(element)])
            for element in self.bent
        ]

    def without_loads(self) -> list[FloatArray]:
        """Give the numbers of the bent elements with every load at 0 W."""
        return [
            np.zeros_like(values) if isinstance(element, ConstantPowerLoad) else values
            for element, values in zip(self.bent, self.bent_values, strict=True)
        ]

    def conductance(self, matrix: FloatArray, element: Element, siemens: FloatArray) -> None:
        a, b = self.index.get(element.a), self.index.get(element.b)
        for end in (a, b):
            if end is not None:
                matrix[:, end, end] += siemens
        if a is not None and b is not None:
            matrix[:, a, b] -= siemens
            matrix[:, b, a] -= siemens

    def injection(self, right: FloatArray, element: Element, amps: FloatArray) -> None:
        for end, sign in ((element.a, -1.0), (element.b, 1.0)):
            if end in self.index:
                right[:, self.index[end]] += sign * amps

    def across(self, x: FloatArray, element: Element) -> FloatArray:
        """Voltage of ``a`` over ``b`` in the unknowns ``x``, (worlds, unknowns)."""
        zero = np.zeros(x.shape[0])
        a = x[:, self.index[element.a]] if element.a in self.index else zero
        b = x[:, self.index[element.b]] if element.b in self.index else zero
        return np.asarray(a - b)


_OFF, _FREE, _FULL = 0, 1, 2


def _region(values: FloatArray, volts: FloatArray) -> NDArray[np.intp]:
    """Tell on which piece a limited source is at ``volts``: nothing, free or at its limit."""
    emf, ohms, limit = values
    free = (emf - volts) / ohms
    return np.where(free <= 0.0, _OFF, np.where(free < limit, _FREE, _FULL))


def _bent_current(
    element: Element, values: FloatArray, volts: FloatArray, region: NDArray[np.intp]
) -> tuple[FloatArray, FloatArray]:
    """Give the current from a to b of a bent element at ``volts``, and its slope in siemens.

    A limited source is taken on the piece that ``region`` says, even beyond its ends.
    """
    if isinstance(element, ConstantPowerLoad):
        watts = values[0]
        with np.errstate(divide="ignore", invalid="ignore"):
            amps = np.where(watts > 0.0, watts / volts, 0.0)
            slope = np.where(watts > 0.0, -amps / volts, 0.0)
        return np.asarray(amps), np.asarray(slope)
    emf, ohms, limit = values
    free = region == _FREE
    held = np.where(region == _FULL, -limit, 0.0)
    return np.where(free, (volts - emf) / ohms, held), np.where(free, 1.0 / ohms, 0.0)


def _linear(matrix: FloatArray, right: FloatArray) -> FloatArray:
    try:
        return np.asarray(np.linalg.solve(matrix, right[:, :, None])[:, :, 0])
    except np.linalg.LinAlgError as cause:
        raise GivenError(
            "The circuit has no single solution.",
            next_step="Look for voltage sources side by side or in a ring.",
        ) from cause


def _step(
    stamps: _Stamps, x: FloatArray, active: NDArray[np.intp], regions: list[NDArray[np.intp]]
) -> tuple[FloatArray, FloatArray]:
    """Give the full Newton step from ``x`` for the worlds ``active``, and the share to take."""
    matrix, right = stamps.matrix[active].copy(), stamps.right[active].copy()
    share = np.ones(x.shape[0])
    for element, values, region in zip(stamps.bent, stamps.bent_values, regions, strict=True):
        volts = stamps.across(x, element)
        amps, slope = _bent_current(element, values[:, active], volts, region[active])
        stamps.conductance(matrix, element, slope)
        with np.errstate(invalid="ignore"):  # a load at 0 V; its world is left out below
            stamps.injection(right, element, amps - slope * volts)
    usable = np.isfinite(matrix).all(axis=(1, 2)) & np.isfinite(right).all(axis=1)
    full = np.full_like(x, np.nan)
    if usable.any():
        full[usable] = _linear(matrix[usable], right[usable])
    for element, values in zip(stamps.bent, stamps.bent_values, strict=True):
        if isinstance(element, ConstantPowerLoad):
            # No load may lose over three tenths of its voltage in a step: 1/V bends too much.
            before = stamps.across(x, element)
            loss = (before - stamps.across(full, element)) * np.sign(before)
            braked = (values[0, active] > 0.0) & (loss > 0.3 * np.abs(before))
            most = np.divide(0.3 * np.abs(before), loss, out=np.ones_like(loss), where=braked)
            share = np.minimum(share, most)
    return full - x, share


def _newton(
    stamps: _Stamps,
    x: FloatArray,
    regions: list[NDArray[np.intp]],
    active: NDArray[np.intp],
    *,
    max_steps: int,
    tolerance: float,
) -> NDArray[np.intp]:
    """Step the worlds ``active`` in place until they settle; give those that do not."""
    lost = [active[:0]]
    for _ in range(max_steps):
        if not active.size:
            break
        step, share = _step(stamps, x[active], active, regions)
        after = x[active] + share[:, None] * step
        size = np.maximum(np.abs(after).max(axis=1, keepdims=True), 1e-3)
        alive = np.isfinite(after).all(axis=1)
        done = alive & (np.abs(step) <= tolerance * size).all(axis=1)
        for element, values, region in zip(stamps.bent, stamps.bent_values, regions, strict=True):
            if isinstance(element, LimitedSource):
                here = _region(values[:, active], stamps.across(after, element))
                # From nothing to the limit and back it would leap over the piece between.
                here = np.where(np.abs(here - region[active]) > 1, _FREE, here)
                done &= here == region[active]
                region[active] = here
        x[active] = after
        lost.append(active[~alive])
        active = active[alive & ~done]
    return np.concatenate([active, *lost])


def solve(circuit: Circuit, *, max_steps: int = 100, tolerance: float = 1e-12) -> Solution:
    """Solve all worlds; see the module's docstring for the method.

    A world has converged when a full step changes no unknown by more than ``tolerance`` of its
    size. Raises ``GivenError`` when the linear part has no single solution.
    """
    stamps = _Stamps(circuit)
    x = _linear(stamps.matrix, stamps.right)
    converged = np.ones(stamps.count, dtype=np.bool_)
    regions = [np.full(stamps.count, _FREE) for _ in stamps.bent]
    loaded = stamps.bent_values
    for values in (stamps.without_loads(), loaded) if stamps.bent else ():
        stamps.bent_values = values
        stuck = _newton(
            stamps, x, regions, np.flatnonzero(converged),
            max_steps=max_steps, tolerance=tolerance,
        )  # fmt: skip
        converged[stuck] = False
    x[~converged] = np.nan
    return _solution(stamps, x, converged, regions)


def _solution(
    stamps: _Stamps, x: FloatArray, converged: BoolArray, regions: list[NDArray[np.intp]]
) -> Solution:
    circuit = stamps.circuit
    shape = circuit.worlds

    def shaped(values: FloatArray) -> FloatArray:
        return np.asarray(np.broadcast_to(values, (stamps.count,)).reshape(shape))

    voltages = {circuit.ground: shaped(np.zeros(stamps.count))}
    voltages |= {node: shaped(x[:, k]) for node, k in stamps.index.items()}
    currents: dict[str, FloatArray] = {}
    for element in circuit.elements:
        across = stamps.across(x, element)
        match element:
            case Resistor():
                amps = across / element_values(element)[0]
            case CurrentSource():
                amps = element_values(element)[0]
            case VoltageSource():
                amps = x[:, len(stamps.index) + stamps.row[element.name]]
            case _:
                which = next(k for k, bent in enumerate(stamps.bent) if bent is element)
                amps = _bent_current(element, stamps.bent_values[which], across, regions[which])[0]
        currents[element.name] = shaped(amps)
    return Solution(
        circuit=circuit,
        converged=np.asarray(converged.reshape(shape)),
        node_voltages=voltages,
        element_currents=currents,
    )
