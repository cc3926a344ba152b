"""Possible worlds of one installation: drawn from fault rates and spreads, all numbers at once.

A world is a set of at most two faults and one uniform latent for each parameter. The latents
stay when faults change, so a world can be repaired or moved without being drawn anew.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from assistant.diagnosis.installed import installed_spreads
from assistant.diagnosis.quantiles import quantile
from assistant.electrics.parts import Parts
from assistant.knowledge import load, pair_of, pairs_of, positions_of

if TYPE_CHECKING:
    from assistant.knowledge.schema import Fault, Installation
    from assistant.knowledge.templates import Spread

__all__ = ["NO_FAULT", "PAIR_SHARE", "SLOTS", "WorldModel", "Worlds"]

SLOTS: Final = 2
NO_FAULT: Final = -1
PAIR_SHARE: Final = 0.10
"""Share of cars with two faults at once: common practice, no source."""
_OF_ITS_GROUP: Final = 0.6

Latents = NDArray[np.float32]
Slots = NDArray[np.int16]


@dataclass(frozen=True, slots=True, kw_only=True)
class Worlds:
    """Latents (parameters x worlds) in [0, 1) and fault numbers (slots x worlds)."""

    latents: Latents
    slots: Slots

    @property
    def count(self) -> int:
        """Number of worlds."""
        return int(self.slots.shape[1])

    def take(self, index: NDArray[np.intp]) -> Worlds:
        """Give the worlds at ``index``, with repeats where it repeats."""
        return Worlds(latents=self.latents[:, index], slots=self.slots[:, index])


class WorldModel:
    """Fault rates and spreads of one installation, compiled for drawing.

    Holds no randomness: a generator comes in with every draw.
    """

    def __init__(self, installation: Installation) -> None:
        knowledge = load()
        self.positions = positions_of(installation)
        self.pairs = pairs_of(installation)
        self.ambient_c = 25.0 if installation.ambient_c is None else installation.ambient_c
        self.speaker_level = installation.source.kind == "speaker_level"
        self.faults: tuple[Fault, ...] = tuple(knowledge.faults(installation).values())
        stated = installed_spreads(installation, knowledge.spreads)
        self.spreads: dict[str, Spread] = stated.spreads
        self.names = tuple(self.spreads)
        self._row = {name: row for row, name in enumerate(self.names)}
        rates = np.array([fault.rate for fault in self.faults])
        # One tired alternator serves all positions, but each speaker is a part of its own.
        each = {"position": len(self.positions), "pair": len(self.pairs)}
        for number, fault in enumerate(self.faults):
            if fault.position:
                rates[number] /= max(1.0, 0.6 * each["position"])
            elif fault.pair:
                rates[number] /= max(1.0, 0.8 * each["pair"])
            rates[number] *= stated.rate_factors.get(fault.id, 1.0)
        self.rates = rates / rates.sum()
        effects = {entry.id: entry.effect for entry in knowledge.fault_entries}
        self._effects: list[list[tuple[int, Spread]]] = []
        for fault in self.faults:
            template = _template_id(fault)
            suffix = f".{fault.position or fault.pair}" if fault.position or fault.pair else ""
            changed = {**effects[template], **stated.effects.get(fault.id, {})}
            rows = []
            for name, spread in changed.items():
                own = name + suffix if name + suffix in self._row else name
                rows.append((self._row[own], spread))
            self._effects.append(rows)

    # -- drawing ----------------------------------------------------------------------------

    def draw_latents(self, count: int, rng: np.random.Generator) -> Latents:
        """Draw (parameters x worlds) uniforms in single precision."""
        return rng.random((len(self.names), count), dtype=np.float32)

    def draw_companions(self, count: int, rng: np.random.Generator) -> Slots:
        """Draw the second slot, (worlds,): no fault in most worlds."""
        second = rng.choice(len(self.faults), size=count, p=self.rates).astype(np.int16)
        second[rng.random(count) >= PAIR_SHARE] = NO_FAULT
        return second

    def draw_kin(self, faults: NDArray[np.int16], rng: np.random.Generator) -> NDArray[np.int16]:
        """Draw for each of ``faults`` one that might be meant instead, (worlds,).

        Mostly one of its group, else any, both by their rates: the chance of drawing b for a over
        that of a for b is the rate of b over that of a.
        """
        count = len(faults)
        found = rng.choice(len(self.faults), size=count, p=self.rates).astype(np.int16)
        near = rng.random(count) < _OF_ITS_GROUP
        groups = np.array([fault.group for fault in self.faults])
        for group in np.unique(groups):
            members = np.flatnonzero(groups == group)
            here = np.flatnonzero(near & np.isin(faults, members))
            rates = self.rates[members]
            drawn = rng.choice(members, size=len(here), p=rates / rates.sum())
            found[here] = drawn.astype(np.int16)
        return found

    def exchanged(self, worlds: Worlds, faults: NDArray[np.int16]) -> Worlds:
        """Put ``faults``, (worlds,), in the first slot; what was bad there is as bad elsewhere.

        The latents of what the old fault changes and of what the new one changes trade places,
        which leaves their distribution as it is and is undone by exchanging back.
        """
        latents, slots = worlds.latents.copy(), worlds.slots.copy()
        old = slots[0]
        changed = np.flatnonzero((old != faults) & (old != NO_FAULT))
        code = old[changed].astype(np.intp) * len(self.faults) + faults[changed]
        order = np.argsort(code, kind="stable")
        code, changed = code[order], changed[order]
        starts = np.flatnonzero(np.diff(code, prepend=-1))
        for start, end in zip(starts, [*starts[1:], len(code)], strict=True):
            one, other = divmod(int(code[start]), len(self.faults))
            index = changed[start:end]
            for row, instead in self._traded(one, other):
                held = latents[row, index]
                latents[row, index] = latents[instead, index]
                latents[instead, index] = held
        slots[0, changed] = faults[changed]
        return Worlds(latents=latents, slots=slots)

    def _traded(self, one: int, other: int) -> list[tuple[int, int]]:
        """Pair the rows that two faults change, each row at most once."""
        used: set[int] = set()
        pairs = []
        for (row, _), (instead, _) in zip(self._effects[one], self._effects[other], strict=False):
            if row != instead and not {row, instead} & used:
                pairs.append((row, instead))
            used |= {row, instead}
        return pairs

    # -- values -----------------------------------------------------------------------------

    def parts(self, worlds: Worlds) -> Parts:
        """Compute every parameter of ``worlds`` as the electrics take them."""
        latents = worlds.latents
        values = np.empty(latents.shape, dtype=np.float32)
        for row, name in enumerate(self.names):
            values[row] = quantile(self.spreads[name], latents[row])
        for number, effects in enumerate(self._effects):
            hit = np.flatnonzero((worlds.slots == number).any(axis=0))
            if not hit.size:
                continue
            for row, spread in effects:
                if spread.opposite is not None:
                    values[row, hit] = values[self._row[spread.opposite], hit] == 0.0
                else:
                    values[row, hit] = quantile(spread, latents[row, hit])
        return Parts(
            values={name: values[row] for row, name in enumerate(self.names)},
            positions=self.positions,
            pairs=self.pairs,
            pair_of={position: pair_of(position) for position in self.positions},
            ambient_c=self.ambient_c,
            speaker_level=self.speaker_level,
        )

    def parameter(self, worlds: Worlds, name: str) -> NDArray[np.float32]:
        """Give one parameter as if its part were sound, (worlds,)."""
        return quantile(self.spreads[name], worlds.latents[self._row[name]])

    def repaired(self, worlds: Worlds, repair: str) -> Worlds:
        """Take the faults that ``repair`` ends out of every world where the repair took."""
        ended = [n for n, fault in enumerate(self.faults) if fault.repair == repair]
        took = self.parameter(worlds, "repair_fails") < 0.5
        gone = np.isin(worlds.slots, ended) & took[np.newaxis, :]
        slots = np.where(gone, NO_FAULT, worlds.slots).astype(np.int16)
        # The fault that is left moves to the first slot.
        empty = slots[0] == NO_FAULT
        slots[0, empty], slots[1, empty] = slots[1, empty], NO_FAULT
        return replace(worlds, slots=slots)


def _template_id(fault: Fault) -> str:
    if fault.position:
        return fault.id.replace(fault.position, "POS")
    if fault.pair:
        return fault.id.replace(f"signal.{fault.pair}.", "signal.PAIR.")
    return fault.id
