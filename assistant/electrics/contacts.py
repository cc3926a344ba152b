"""What comes and goes, a contact or the heat: which worlds have it, and their other state."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from assistant.electrics.arrays import BoolArray, FloatArray
    from assistant.electrics.parts import Parts

__all__ = ["heat_comes_and_goes", "holding_contacts", "loose_contacts", "supply_contacts"]

_CONTACTS: Final = {
    "fuse_jumps": "fuse_contact_ohm",
    "wire_jumps": "wire_contact_ohm",
    "ground_jumps": "ground_contact_ohm",
}
_SECOND_CONTACTS: Final = {
    "second_fuse_jumps": "second_fuse_contact_ohm",
    "second_ground_jumps": "second_ground_contact_ohm",
}
_HOLDING_SHARE: Final = 0.01
"""A loose contact that happens to hold has about a hundredth of its resistance (common practice,
no source)."""


_INSULATED_OHM: Final = 1e12


def supply_contacts(parts: Parts) -> Mapping[str, str]:
    """Name the flags of supply contacts that may come and go, each with its resistance."""
    return {**_CONTACTS, **_SECOND_CONTACTS} if parts.second_battery else _CONTACTS


def _rubbing(parts: Parts, position: str) -> BoolArray:
    return parts.flag(f"coil_rubs.{position}") & parts.flag(f"rub_jumps.{position}")


def heat_comes_and_goes(parts: Parts) -> BoolArray:
    """Tell which worlds have an amplifier that is hot at one check and cool at the next."""
    return parts.flag("heat_trips") & parts.flag("heat_varies")


def loose_contacts(parts: Parts) -> BoolArray:
    """Tell which worlds have a contact or a heat trip that comes and goes, (worlds,)."""
    loose = heat_comes_and_goes(parts)
    for flag in supply_contacts(parts):
        loose |= parts.flag(flag)
    for position in parts.positions:
        loose |= _rubbing(parts, position) | parts.flag(f"leak_jumps.{position}")
    return loose


def holding_contacts(parts: Parts, index: NDArray[np.intp]) -> Parts:
    """Give the worlds at ``index`` in their other state, (len(index),).

    A bad supply contact holds; a rubbing coil is open or at the upper end of its jumps; a chafed
    wire is clear of the body; a hot amplifier is cool and the other way round.
    """
    values: dict[str, FloatArray] = {name: column[index] for name, column in parts.values.items()}
    for flag, contact in supply_contacts(parts).items():
        holds = values[flag] > 0.5
        values[contact] = np.where(holds, _HOLDING_SHARE * values[contact], values[contact])
    values["hot_now"] = np.where(
        (values["heat_trips"] > 0.5) & (values["heat_varies"] > 0.5),
        1.0 - values["hot_now"],
        values["hot_now"],
    )
    for position in parts.positions:
        rubs = _rubbing(parts, position)[index]
        opens = values[f"rub_opens.{position}"] > 0.5
        name = f"coil_open.{position}"
        values[name] = np.where(rubs & opens, 1.0, values[name])
        name = f"rub_low_ratio.{position}"
        values[name] = np.where(rubs & ~opens, values[f"rub_high_ratio.{position}"], values[name])
        leak = f"leak_ohm.{position}"
        values[leak] = np.where(
            values[f"leak_jumps.{position}"] > 0.5, _INSULATED_OHM, values[leak]
        )
    return replace(parts, values=values)
