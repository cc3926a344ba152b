"""Random installations, with the numbers that they state, against ngspice at 1e-6 relative.

What an installation states (gauge, metal, length, fuse, watts) becomes resistances by the wire and
fuse tables; the worlds drawn for it are solved in closed form and, one each, by ngspice.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from supply_circuits import PLAIN, REL, STATES, by_ngspice, circuit, draws, readings

from assistant.diagnosis.worlds import NO_FAULT, WorldModel, Worlds
from assistant.knowledge.schema import Installation
from assistant.practice.draws import draw_installation
from assistant.practice.kinds import KINDS

if TYPE_CHECKING:
    from supply_circuits import Simulate

    from assistant.electrics.parts import Parts

SEEDS = range(5)
LOAD_FLOOR_V = 6.0
"""No amplifier works below (automute of an automotive chip at 6.5 to 7 V: ST TDA7850 sheet)."""


def parts_of(installation: Installation, count: int, rng: np.random.Generator) -> Parts:
    """Draw worlds with any one fault that leaves path and music as they are, in double precision.

    Without a signal nothing is drawn for music, which the circuit's load does not know.
    """
    model = WorldModel(installation)
    slots = np.full((2, count), NO_FAULT, dtype=np.int16)
    faults = [
        number
        for number, fault in enumerate(model.faults)
        if fault.id != "supply.main_fuse_open" and fault.group != "signal"
    ]
    slots[0] = rng.choice(faults, count)
    parts = model.parts(Worlds(latents=model.draw_latents(count, rng), slots=slots))
    values = {name: column.astype(np.float64) for name, column in parts.values.items()}
    values |= {name: np.full(count, value) for name, value in PLAIN.items()}
    # The circuit needs a battery that gives through less than it takes through.
    values["battery_ohm"] = np.minimum(values["battery_ohm"], 0.14)
    return replace(parts, values=values)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("kind", KINDS)
def test_a_random_installation(ngspice: Simulate, kind: str, seed: int) -> None:
    rng = np.random.default_rng([seed, len(kind)])
    stated = Installation.model_validate(draw_installation(rng, kind))
    parts = parts_of(stated, 30, rng)
    for situation in rng.permutation(list(STATES))[:3]:
        state, nodes = readings(parts, STATES[situation])
        watts, amps = draws(parts, STATES[situation], state)
        supply = circuit(parts, STATES[situation], watts, amps)
        # Only where a world neither collapsed nor tripped for another reason is its draw certain.
        sure = (state.works | ~parts.flag("sag_stays")) & ~state.supply.collapsed
        world = int(rng.choice(np.flatnonzero(sure)))
        wanted = by_ngspice(ngspice, supply, parts, STATES[situation], world, floor_v=LOAD_FLOOR_V)
        if watts[world]:
            assert wanted["amp.power"] - wanted["amp.ground"] > LOAD_FLOOR_V
        for node, volts in wanted.items():
            assert float(nodes[node][world]) == pytest.approx(volts, rel=REL, abs=1e-8), node
