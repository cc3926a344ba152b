"""The order in which repairs should be tried: one rule for the choice and for the verdict."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

    from numpy.typing import NDArray

    from assistant.knowledge.schema import Repair

__all__ = ["LAST_SUSPECT", "rank_repairs", "repair_costs"]

LAST_SUSPECT: Final = "send_amplifier_in"
"""The repair that is never named before supply, load and signal have been cleared."""
_LIKELY_SHARE: Final = 0.6
"""A repair is put before a likelier one for its low cost only from this share of it on."""
_AGAIN_FROM: Final = 0.9
"""From this probability on a repair that did not help is named again: it did not take."""
_VERIFY_MINUTES: Final = 70.0
_PART_MINUTES: Final = 100.0
"""What a wrong repair costs beyond its own minutes: proving that it did not help, and buying a
part for nothing. Common practice, no source."""


def repair_costs(names: Iterable[str], repairs: Mapping[str, Repair]) -> NDArray[np.float64]:
    """Minutes that each repair costs when it is tried, (repairs,)."""
    return np.array([
        repairs[name].minutes + _VERIFY_MINUTES + (_PART_MINUTES if repairs[name].parts else 0.0)
        for name in names
    ])  # fmt: skip


def rank_repairs(
    probabilities: Mapping[str, float],
    repairs: Mapping[str, Repair],
    *,
    tried: Collection[str] = (),
    amplifier_cleared: bool = True,
) -> tuple[str, ...]:
    """Sort repairs by probability over cost, the likely ones first.

    A repair that was ``tried`` without success goes behind all others, unless what was measured
    since leaves hardly anything else; the amplifier itself goes last of all while not everything
    around it is cleared. A repair that must precede another
    (``Repair.before``) does so where both are likely.
    """
    tried = {name for name in tried if probabilities.get(name, 0.0) < _AGAIN_FROM}
    costs = dict(zip(probabilities, repair_costs(probabilities, repairs), strict=True))
    top = max(
        (
            p
            for name, p in probabilities.items()
            if name not in tried and (amplifier_cleared or name != LAST_SUSPECT)
        ),
        default=0.0,
    )

    def key(name: str) -> tuple[bool, bool, bool, float, str]:
        p = probabilities[name]
        return (
            name == LAST_SUSPECT and not amplifier_cleared,
            name in tried,
            p < _LIKELY_SHARE * top,
            -p / float(costs[name]),
            name,
        )

    order = sorted(probabilities, key=key)
    for name in list(order):
        for later in repairs[name].before:
            both_likely = later in order and probabilities[name] >= _LIKELY_SHARE * top
            if both_likely and name not in tried and order.index(later) < order.index(name):
                order.remove(name)
                order.insert(order.index(later), name)
    return tuple(order)
