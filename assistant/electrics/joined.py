"""Two sources joined by a wire: seen at the joint they are one source again.

The first source stands behind a link, the second, a battery, at the joint itself. At any voltage
of the joint their currents add (Kirchhoff), so between corners each is a straight line and the
two make one (Thevenin): ``E = (E1/R1 + E2/R2) R`` with ``1/R = 1/R1 + 1/R2``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.electrics.arrays import FloatArray, checked
from assistant.electrics.charging import Piece, SourceCurve

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

__all__ = ["battery_current", "current_through_link", "joined_sources"]

_LEAST_OHM: Final = 1e-9


def _lines(front: SourceCurve, link_ohm: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give the first source behind the link: corners in V, emfs in V and ohms of its lines.

    Corners are (3, worlds), falling; emfs and ohms are (4, worlds), from the highest voltage down.
    """
    current, voltage = front.corner_current, front.corner_voltage
    width = np.diff(current, axis=0)
    fall = -np.diff(voltage, axis=0)
    between = np.divide(fall, width, out=np.zeros_like(fall), where=width > 0.0)
    own = np.concatenate([front.first_resistance[None], between, front.last_resistance[None]])
    # A line passes through the corner that it starts or ends at.
    at = np.array([0, 0, 1, 2])
    emf = voltage[at] + own * current[at]
    return voltage - link_ohm * current, emf, np.maximum(own + link_ohm, _LEAST_OHM)


def current_through_link(
    front: SourceCurve, link_ohm: ArrayLike, joint_v: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Give the current in A from the first source into the joint at ``joint_v``, and its posts' V.

    ``link_ohm`` is there and back, over 0; all (worlds,). Where the link is open (1e9 ohm) the
    current is what little that lets through. Raises ``GivenError`` for impossible inputs.
    """
    link = np.broadcast_to(checked("A link in ohm", link_ohm, above=0.0), front.shape)
    joint = np.broadcast_to(checked("A voltage in V", joint_v), front.shape)
    corner, emf, ohm = _lines(front, link)
    line = (corner > joint).sum(axis=0)[None]
    emf, ohm = (np.take_along_axis(each, line, axis=0)[0] for each in (emf, ohm))
    current = (emf - joint) / ohm
    return current, np.asarray(emf - (ohm - link) * current)


def battery_current(
    emf: ArrayLike, give_ohm: ArrayLike, take_ohm: ArrayLike, joint_v: ArrayLike
) -> FloatArray:
    """Give the current in A of a battery at ``joint_v`` V, below 0 where it takes; (worlds,)."""
    over = np.asarray(emf, dtype=np.float64) - np.asarray(joint_v, dtype=np.float64)
    return np.asarray(over / np.where(over > 0.0, give_ohm, take_ohm))


def joined_sources(
    front: SourceCurve,
    link_ohm: ArrayLike,
    *,
    emf: ArrayLike,
    give_ohm: ArrayLike,
    take_ohm: ArrayLike,
) -> SourceCurve:
    """Join ``front`` behind ``link_ohm`` and a battery at the joint to one source, (worlds,).

    The battery has ``emf`` V behind ``give_ohm`` while it gives and ``take_ohm`` while it takes,
    its own leads counted in. The curve is the joint's voltage by the sum of both currents; its
    corners are (4, worlds). Raises ``GivenError`` for negative, zero or non-finite inputs.
    """
    shape = front.shape
    link = np.broadcast_to(checked("A link in ohm", link_ohm, above=0.0), shape)
    second = np.broadcast_to(checked("A battery's emf in V", emf, low=0.0), shape)
    give = np.broadcast_to(checked("A battery's resistance in ohm", give_ohm, above=0.0), shape)
    take = np.broadcast_to(checked("A charge resistance in ohm", take_ohm, above=0.0), shape)
    front_corner, front_emf, front_ohm = _lines(front, link)
    corner = np.concatenate([front_corner, second[None]])
    order = np.argsort(-corner, axis=0, kind="stable")
    corner = np.take_along_axis(corner, order, axis=0)
    is_second = order == len(front_corner)
    # After so many corners of each the one gives along its next line, the other gives at all.
    passed = np.concatenate([np.zeros((1, *shape), dtype=int), np.cumsum(~is_second, axis=0)])
    gives = np.concatenate([np.zeros((1, *shape), dtype=bool), np.cumsum(is_second, axis=0) > 0])
    one_emf = np.take_along_axis(front_emf, passed, axis=0)
    one_ohm = np.take_along_axis(front_ohm, passed, axis=0)
    other_ohm = np.where(gives, give, take)
    ohm = 1.0 / (1.0 / one_ohm + 1.0 / other_ohm)
    joined_emf = ohm * (one_emf / one_ohm + second / other_ohm)
    current = (joined_emf[:-1] - corner) / ohm[:-1]
    # Where corners share a voltage rounding must not let the current fall.
    current = np.maximum.accumulate(current, axis=0)
    ends = np.full((1, *shape), np.inf)
    low, high = np.concatenate([-ends, current]), np.concatenate([current, ends])
    pieces: tuple[Piece, ...] = tuple(
        (low[k], high[k], joined_emf[k], ohm[k]) for k in range(len(ohm))
    )
    return SourceCurve(
        corner_current=current,
        corner_voltage=corner,
        first_resistance=ohm[0],
        last_resistance=ohm[-1],
        pieces=pieces,
    )
