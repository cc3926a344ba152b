"""An independent simulator for the electrics."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import pytest

from assistant.electrics.netlist import parse_output, write_deck

if TYPE_CHECKING:
    from assistant.electrics.circuit import Circuit

sys.path.insert(0, str(Path(__file__).parent))  # for the worlds of the tests of readings


class Simulate(Protocol):
    def __call__(
        self,
        circuit: Circuit,
        *,
        world: int = 0,
        start: dict[str, float] | None = None,
        floor_v: float = 1e-3,
    ) -> tuple[dict[str, float], dict[str, float]]: ...


@pytest.fixture(scope="session")
def ngspice(tmp_path_factory: pytest.TempPathFactory) -> Simulate:
    program = shutil.which("ngspice")
    if program is None:
        pytest.skip("ngspice is not installed here (Debian package ngspice)")
    folder = tmp_path_factory.mktemp("decks")

    def simulate(
        circuit: Circuit,
        *,
        world: int = 0,
        start: dict[str, float] | None = None,
        floor_v: float = 1e-3,
    ) -> tuple[dict[str, float], dict[str, float]]:
        text = write_deck(circuit, "a circuit under test", world=world, start=start)
        # Below the floor a load of constant power draws a constant current: with a higher floor
        # the solutions in which the supply has collapsed are gone, the others stay as they are.
        deck = folder / "circuit.cir"
        deck.write_text(text.replace(",1e-3)", f",{floor_v!r})"))
        run = subprocess.run(
            [program, "-b", str(deck)], capture_output=True, text=True, check=False, timeout=60
        )
        return parse_output(run.stdout, circuit)

    return simulate
