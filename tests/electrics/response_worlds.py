"""Worlds for the tests of readings: drawn here from the data, by the tests' own sampler."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from assistant.electrics.parts import Parts
from assistant.knowledge import load, pair_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.knowledge.schema import Position
    from assistant.knowledge.templates import Spread

POSITIONS: tuple[Position, ...] = ("front_left", "front_right", "sub")
PAIRS = ("front", "sub")


def draw(spread: Spread, count: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Draw from one spread of the data files, (count,)."""
    if spread.uniform:
        return rng.uniform(*spread.uniform, count)
    if spread.loguniform:
        return np.exp(rng.uniform(*(math.log(end) for end in spread.loguniform), count))
    if spread.chance is not None:
        return (rng.random(count) < spread.chance).astype(np.float64)
    if spread.pick is not None:
        weights = np.array(list(spread.pick.values()))
        return rng.choice(list(spread.pick), count, p=weights / weights.sum()).astype(np.float64)
    return np.full(count, 0.0 if spread.const is None else spread.const)


def worlds(
    count: int = 1,
    *,
    seed: int = 0,
    faults: tuple[str, ...] = (),
    ambient_c: float = 25.0,
    **changed: float | NDArray[np.float64],
) -> Parts:
    """Sound worlds but for ``faults``; ``changed`` sets parameters (``__`` stands for a dot)."""
    knowledge, rng = load(), np.random.default_rng(seed)
    values = {name: draw(s, count, rng) for name, s in knowledge.spreads.scalar.items()}
    for place in POSITIONS:
        for name, spread in knowledge.spreads.position.items():
            values[f"{name}.{place}"] = draw(spread, count, rng)
    for pair in PAIRS:
        for name, spread in knowledge.spreads.pair.items():
            values[f"{name}.{pair}"] = draw(spread, count, rng)
    effects = {entry.id: entry.effect for entry in knowledge.fault_entries}
    for fault in faults:
        kind, place, _ = (*fault.split("."), "", "")[:3]
        slot = {"speaker": "POS", "signal": "PAIR"}.get(kind, "")
        template = fault
        if slot and place in {*POSITIONS, *PAIRS}:
            template = fault.replace(f".{place}.", f".{slot}.")
        for name, spread in effects[template].items():
            key = f"{name}.{place}" if f"{name}.{place}" in values else name
            if spread.opposite is not None:
                values[key] = (values[spread.opposite] == 0.0).astype(np.float64)
            else:
                values[key] = draw(spread, count, rng)
    for name, value in changed.items():
        key = name.replace("__", ".")
        assert key in values, key
        values[key] = np.broadcast_to(np.asarray(value, dtype=np.float64), (count,)).copy()
    return Parts(
        values=values,
        positions=POSITIONS,
        pairs=PAIRS,  # type: ignore[arg-type]
        pair_of={place: pair_of(place) for place in POSITIONS},
        ambient_c=ambient_c,
    )
