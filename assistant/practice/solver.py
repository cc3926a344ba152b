"""General nodal analysis in plain numpy, with damped Newton steps over the non-linear parts.

Kirchhoff's current law at every node but the reference: the sum of the currents that leave the
node through its branches is zero. Linear branches are stamped once as conductances (modified
nodal analysis without extra rows: every source has an inner resistance). A constant-power load
and a charger with a current limit are linearised at each step.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from assistant.errors import MisuseError

__all__ = ["Charger", "Network", "NodalSolver", "PowerLoad", "Solver"]

Floats = NDArray[np.float64]

INSULATION_SIEMENS = 1e-11
"""Leak from every node to the reference: keeps a lifted wire's potential defined."""
LEAST_OHMS = 1e-6
OPEN_OHMS = 1e11
_MOST_STEPS = 60
_PAST_CORNER_V = 1e-9
_HIGHEST_V = 30.0
_START_AMPS = 100.0
_START_VOLTS = 12.0
_TOLERANCE_V = 1e-9


@dataclass(frozen=True, slots=True)
class PowerLoad:
    """Takes ``watts`` from ``plus`` to ``minus``; below ``knee`` volts it is a plain resistance.

    i(v) = watts / v for v >= knee, else watts * v / knee**2 (continuous at the knee).
    """

    plus: str
    minus: str
    watts: float
    knee: float

    def corners(self) -> tuple[float, ...]:
        """Give the volts at which the slope jumps."""
        return (self.knee,)

    def current(self, volts: float) -> tuple[float, float]:
        """Give the current in A and its slope in A/V at ``volts``."""
        if volts >= self.knee:
            return self.watts / volts, -self.watts / volts**2
        slope = self.watts / self.knee**2
        return slope * volts, slope


@dataclass(frozen=True, slots=True)
class Charger:
    """Drives current out of ``plus``: (setpoint - v) / ohms, never below 0 nor above ``limit``."""

    plus: str
    minus: str
    setpoint: float
    ohms: float
    limit: float

    def corners(self) -> tuple[float, ...]:
        """Give the volts at which the slope jumps."""
        return (self.setpoint, self.setpoint - self.ohms * self.limit)

    def current(self, volts: float) -> tuple[float, float]:
        """Give the current taken from ``plus`` to ``minus`` in A (negative) and its slope."""
        wanted = (self.setpoint - volts) / self.ohms
        if wanted <= 0.0:
            return 0.0, 0.0
        if wanted >= self.limit:
            return -self.limit, 0.0
        return -wanted, 1.0 / self.ohms


@dataclass(slots=True)
class Network:
    """A circuit under construction; nodes are named on first use, ``reference`` is 0 V."""

    reference: str = "chassis"
    resistors: list[tuple[str, str, float]] = field(default_factory=list)
    sources: list[tuple[str, str, float, float]] = field(default_factory=list)
    currents: list[tuple[str, str, float]] = field(default_factory=list)
    loads: list[PowerLoad] = field(default_factory=list)
    chargers: list[Charger] = field(default_factory=list)

    def resistor(self, one: str, other: str, ohms: float) -> None:
        """Join two nodes by ``ohms``; ``OPEN_OHMS`` or more leaves them apart."""
        if ohms < 0:
            raise MisuseError(
                f"A resistance of {ohms} ohm cannot be.", next_step="Pass zero or more."
            )
        if ohms < OPEN_OHMS and one != other:
            self.resistors.append((one, other, max(ohms, LEAST_OHMS)))

    def source(self, plus: str, minus: str, volts: float, ohms: float) -> None:
        """Put ``volts`` between two nodes behind ``ohms`` of inner resistance."""
        self.sources.append((plus, minus, volts, max(ohms, LEAST_OHMS)))

    def current(self, start: str, end: str, amperes: float) -> None:
        """Take ``amperes`` out of node ``start`` and bring them to node ``end``."""
        self.currents.append((start, end, amperes))

    def nodes(self) -> list[str]:
        """Every node but the reference, in order of first use."""
        seen: dict[str, None] = {}
        for r in self.resistors:
            seen[r[0]] = seen[r[1]] = None
        for s in self.sources:
            seen[s[0]] = seen[s[1]] = None
        for c in self.currents:
            seen[c[0]] = seen[c[1]] = None
        devices: list[PowerLoad | Charger] = [*self.loads, *self.chargers]
        for device in devices:
            seen[device.plus] = seen[device.minus] = None
        seen.pop(self.reference, None)
        return list(seen)


class Solver(Protocol):
    """Anything that finds the node voltages of a network."""

    def solve(self, network: Network) -> dict[str, float]:
        """Give every node's voltage against the reference, in V."""
        ...


class NodalSolver:
    """The solver of this house."""

    def solve(self, network: Network) -> dict[str, float]:
        """Give every node's voltage; raise ``MisuseError`` when Newton's steps do not settle.

        The linear part is solved once and seen from the non-linear devices as open voltages and
        mutual resistances (Thévenin); Newton then works on the devices' own voltages alone.
        """
        names = network.nodes()
        size = len(names)
        # The reference takes the last row, which is cut off before solving.
        place = {name: at for at, name in enumerate(names)}
        place[network.reference] = size
        matrix, right = _linear(network, place, size)
        devices: list[PowerLoad | Charger] = [*network.loads, *network.chargers]
        injections = np.zeros((size + 1, 1 + len(devices)))
        injections[:, 0] = right
        plus = [place[device.plus] for device in devices]
        minus = [place[device.minus] for device in devices]
        for at in range(len(devices)):
            injections[plus[at], 1 + at] -= 1.0
            injections[minus[at], 1 + at] += 1.0
        answers = np.zeros_like(injections)
        answers[:size] = np.linalg.solve(matrix[:size, :size], injections[:size])
        volts = answers[:, 0]
        if devices:
            ports = answers[plus] - answers[minus]
            volts = volts + answers[:, 1:] @ _newton(devices, ports[:, 0], ports[:, 1:])
        return dict(zip([*names, network.reference], volts.tolist(), strict=True))


def _linear(network: Network, place: dict[str, int], size: int) -> tuple[Floats, Floats]:
    """Stamp the linear branches; conductance matrix in S and injected currents in A."""
    ones: list[int] = []
    others: list[int] = []
    siemens: list[float] = []
    right = np.zeros(size + 1)
    for one, other, ohms in network.resistors:
        ones.append(place[one])
        others.append(place[other])
        siemens.append(1.0 / ohms)
    for plus, minus, volts, ohms in network.sources:
        ones.append(place[plus])
        others.append(place[minus])
        siemens.append(1.0 / ohms)
        right[place[plus]] += volts / ohms
        right[place[minus]] -= volts / ohms
    for start, end, amperes in network.currents:
        right[place[start]] -= amperes
        right[place[end]] += amperes
    matrix = np.zeros((size + 1, size + 1))
    a, b, g = np.array(ones, dtype=int), np.array(others, dtype=int), np.array(siemens)
    np.add.at(matrix, (a, a), g)
    np.add.at(matrix, (b, b), g)
    np.add.at(matrix, (a, b), -g)
    np.add.at(matrix, (b, a), -g)
    matrix[np.arange(size), np.arange(size)] += INSULATION_SIEMENS
    return matrix, right


def _newton(devices: list[PowerLoad | Charger], open_volts: Floats, drops: Floats) -> Floats:
    """Give each device's current in A, from open voltages (devices) and drops (devices, devices).

    Solves v = open_volts + drops @ i(v) by Newton steps that stop at each corner of a device.
    """
    volts = open_volts.copy()
    for at, device in enumerate(devices):
        if isinstance(device, Charger):
            volts[at] = device.setpoint - 0.5 * device.ohms * min(device.limit, _START_AMPS)
        else:
            # Of two solutions a load in truth stands at the upper one: start above it.
            volts[at] = max(volts[at], _START_VOLTS)

    def miss(at: Floats) -> tuple[Floats, Floats, Floats]:
        both = [device.current(float(v)) for device, v in zip(devices, at, strict=True)]
        currents = np.array([i for i, _ in both])
        slopes = np.array([slope for _, slope in both])
        return at - open_volts - drops @ currents, currents, slopes

    corners = [device.corners() for device in devices]
    for _ in range(_MOST_STEPS):
        gap, currents, slopes = miss(volts)
        if float(np.max(np.abs(gap))) < _TOLERANCE_V:
            return currents
        step = np.linalg.solve(np.eye(len(devices)) - drops * slopes, -gap).astype(np.float64)
        volts = volts + _until_corner(volts, step, corners) * step
    return _by_halving(devices, open_volts, drops)


def _by_halving(devices: list[PowerLoad | Charger], open_volts: Floats, drops: Floats) -> Floats:
    """Find the one power load's voltage where Newton circles: near the most its supply can give.

    The load is held at a voltage and the rest, which only ever rises, is solved around it.
    """
    loads = [at for at, device in enumerate(devices) if isinstance(device, PowerLoad)]
    if len(loads) != 1:
        raise MisuseError(
            "The circuit did not settle.", next_step="Check its values for a load without a supply."
        )
    load = loads[0]
    others = [at for at in range(len(devices)) if at != load]

    def held(volts: float) -> tuple[float, Floats]:
        currents = np.zeros(len(devices))
        currents[load] = devices[load].current(volts)[0]
        if others:
            opened = open_volts[others] + drops[others, load] * currents[load]
            inner = drops[np.ix_(others, others)]
            currents[others] = _newton([devices[at] for at in others], opened, inner)
        return float(open_volts[load] + drops[load] @ currents) - volts, currents

    high = _HIGHEST_V
    for tried in np.linspace(_HIGHEST_V, 0.0, 101)[1:].tolist():
        if held(tried)[0] < 0.0:
            high = tried
            continue
        low = tried
        while high - low > _TOLERANCE_V / 10:
            middle = (high + low) / 2
            low, high = (middle, high) if held(middle)[0] >= 0.0 else (low, middle)
        return held(low)[1]
    raise MisuseError("The circuit did not settle.", next_step="Check the signs of its sources.")


def _until_corner(volts: Floats, step: Floats, corners: list[tuple[float, ...]]) -> float:
    """Give the share of ``step`` that leads just past the first corner on its way (Katzenelson).

    Between corners the circuit is smooth, so that every step there is a good Newton step.
    """
    share = 1.0
    for at, places in enumerate(corners):
        move = float(step[at])
        if move == 0.0:
            continue
        for corner in places:
            reach = (corner - float(volts[at])) / move
            if 0.0 < reach < share:
                share = min(1.0, reach + _PAST_CORNER_V / abs(move))
    return share
