"""A direct-current circuit as data: elements between named nodes, with numbers per world."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from assistant.electrics.arrays import FloatArray, checked
from assistant.errors import GivenError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

__all__ = [
    "Circuit",
    "ConstantPowerLoad",
    "CurrentSource",
    "Element",
    "LimitedSource",
    "Resistor",
    "VoltageSource",
    "element_values",
]


@dataclass(frozen=True, slots=True)
class Resistor:
    """``ohms`` over 0 between ``a`` and ``b``, scalar or (worlds,); infinity is open."""

    name: str
    a: str
    b: str
    ohms: ArrayLike


@dataclass(frozen=True, slots=True)
class VoltageSource:
    """Holds ``a`` at ``volts`` over ``b``, scalar or (worlds,); 0 V joins the two nodes."""

    name: str
    a: str
    b: str
    volts: ArrayLike


@dataclass(frozen=True, slots=True)
class CurrentSource:
    """Takes ``amps`` out of node ``a`` and puts them into ``b``, scalar or (worlds,)."""

    name: str
    a: str
    b: str
    amps: ArrayLike


@dataclass(frozen=True, slots=True)
class ConstantPowerLoad:
    """Takes ``watts`` (0 or more), whatever the voltage of ``a`` over ``b``."""

    name: str
    a: str
    b: str
    watts: ArrayLike


@dataclass(frozen=True, slots=True)
class LimitedSource:
    """An alternator: gives ``(volts - V)/ohms`` into ``a``, between 0 and ``limit`` amperes."""

    name: str
    a: str
    b: str
    volts: ArrayLike
    ohms: ArrayLike
    limit: ArrayLike


Element: TypeAlias = Resistor | VoltageSource | CurrentSource | ConstantPowerLoad | LimitedSource


def element_values(element: Element) -> tuple[FloatArray, ...]:
    """Give the element's numbers as arrays; ``GivenError`` where one is impossible."""
    name = element.name
    match element:
        case Resistor(ohms=ohms):
            return (checked(f"{name}, in ohm,", ohms, above=0.0, allow_infinite=True),)
        case VoltageSource(volts=volts):
            return (checked(f"{name}, in V,", volts),)
        case CurrentSource(amps=amps):
            return (checked(f"{name}, in A,", amps),)
        case ConstantPowerLoad(watts=watts):
            return (checked(f"{name}, in W,", watts, low=0.0),)
        case LimitedSource(volts=volts, ohms=ohms, limit=limit):
            return (
                checked(f"{name}, in V,", volts),
                checked(f"{name}, in ohm,", ohms, above=0.0),
                checked(f"{name}, in A,", limit, low=0.0),
            )


@dataclass(frozen=True, slots=True)
class Circuit:
    """Elements between named nodes, one of which is ``ground`` (0 V).

    Raises ``GivenError`` for a name given twice, an element from a node to itself, a ground
    that nothing touches, an impossible value, or numbers of worlds that do not agree.
    """

    elements: tuple[Element, ...]
    ground: str = "chassis"
    worlds: tuple[int, ...] = field(init=False)

    def __post_init__(self) -> None:
        """Check the whole circuit once, so that solving need not."""
        names = [element.name for element in self.elements]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise GivenError(f"Two elements are called {twice[0]}.", next_step="Rename one.")
        for element in self.elements:
            if element.a == element.b:
                raise GivenError(
                    f"{element.name} has both ends at {element.a}.", next_step="Move one end."
                )
        if not any(self.ground in (element.a, element.b) for element in self.elements):
            raise GivenError(
                f"Nothing touches the ground node {self.ground!r}.",
                next_step="Name a node of the circuit as ground.",
            )
        shapes = [array.shape for element in self.elements for array in element_values(element)]
        try:
            shape = np.broadcast_shapes(*shapes)
        except ValueError as cause:
            raise GivenError(
                "The elements do not have one number of worlds.",
                next_step="Give scalars or arrays of one length.",
            ) from cause
        if len(shape) > 1:
            raise GivenError("Worlds must be one axis.", next_step="Flatten the arrays.")
        object.__setattr__(self, "worlds", shape)

    @property
    def nodes(self) -> tuple[str, ...]:
        """All nodes but the ground, in the order of the elements."""
        seen = dict.fromkeys(end for element in self.elements for end in (element.a, element.b))
        return tuple(node for node in seen if node != self.ground)
