"""The same networks through ngspice, where it is installed: a second opinion on the solver."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from pathlib import Path

from assistant.errors import MisuseError
from assistant.practice.solver import INSULATION_SIEMENS, Network

__all__ = ["SpiceSolver", "netlist"]

_PRINTED = re.compile(r"^v\((\S+)\)\s*=\s*(\S+)$", re.IGNORECASE | re.MULTILINE)


def netlist(network: Network) -> tuple[str, list[str]]:
    """Write the deck for an operating point; also give the nodes in the deck's numbering from 1."""
    names = network.nodes()
    number = {name: at + 1 for at, name in enumerate(names)}
    number[network.reference] = 0
    lines = ["one state of a car", ".options reltol=1e-10 abstol=1e-13 vntol=1e-12 gmin=1e-18"]
    lines += [
        f"r{at} {number[a]} {number[b]} {ohms!r}"
        for at, (a, b, ohms) in enumerate(network.resistors)
    ]
    lines += [f"rleak{at + 1} {at + 1} 0 {1 / INSULATION_SIEMENS!r}" for at in range(len(names))]
    for at, (plus, minus, volts, ohms) in enumerate(network.sources):
        lines.append(f"v{at} in{at} {number[minus]} {volts!r}")
        lines.append(f"rin{at} in{at} {number[plus]} {ohms!r}")
    lines += [
        f"i{at} {number[start]} {number[end]} dc {amperes!r}"
        for at, (start, end, amperes) in enumerate(network.currents)
    ]
    for at, load in enumerate(network.loads):
        v = f"v({number[load.plus]},{number[load.minus]})"
        low = f"{load.watts!r}*{v}/{load.knee**2!r}"
        high = f"{load.watts!r}/max({v},{load.knee!r})"
        lines.append(
            f"bload{at} {number[load.plus]} {number[load.minus]} i = {v} >= {load.knee!r} ? "
            f"{high} : {low}"
        )
        lines.append(f".nodeset v({number[load.plus]})=12")
    for at, charger in enumerate(network.chargers):
        v = f"v({number[charger.plus]},{number[charger.minus]})"
        lines.append(
            f"bcharge{at} {number[charger.minus]} {number[charger.plus]} i = "
            f"min(max(({charger.setpoint!r}-{v})/{charger.ohms!r},0),{charger.limit!r})"
        )
        lines.append(f".nodeset v({number[charger.plus]})={charger.setpoint!r}")
    shown = " ".join(f"v({at + 1})" for at in range(len(names)))
    lines += [".control", "set numdgt=15", "op", f"print {shown}", ".endc", ".end"]
    return "\n".join(lines) + "\n", names


class SpiceSolver:
    """Solves by running ngspice once a network; ``program`` is its path or name."""

    def __init__(self, program: str = "ngspice") -> None:
        found = shutil.which(program)
        if found is None:
            raise MisuseError(
                f"{program} is not installed.", next_step="Use NodalSolver, or install ngspice."
            )
        self._program = found

    @staticmethod
    def installed() -> bool:
        """Say whether ngspice can be run here."""
        return shutil.which("ngspice") is not None

    def solve(self, network: Network) -> dict[str, float]:
        """Give every node's voltage; raise ``MisuseError`` when ngspice gives none."""
        deck, names = netlist(network)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "car.cir"
            path.write_text(deck, encoding="ascii")
            done = subprocess.run(  # noqa: S603 - a fixed program on a file of our own
                [self._program, "-b", str(path)],
                capture_output=True,
                text=True,
                check=False,
                timeout=60,
            )
        found = {key: float(value) for key, value in _PRINTED.findall(done.stdout)}
        if not all(str(at + 1) in found for at in range(len(names))):
            raise MisuseError(
                f"ngspice gave no operating point: {(done.stdout + done.stderr)[-400:]}",
                next_step="Look at the deck that netlist() writes.",
            )
        volts = {name: found[str(at + 1)] for at, name in enumerate(names)}
        return {**volts, network.reference: 0.0}
