"""Cases to drive: a car with hidden faults, what its owner says, and what is known of it."""

from __future__ import annotations

import copy
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.errors import GivenError, MisuseError
from assistant.practice.car import Car
from assistant.practice.complaint import customer_words, sound_car
from assistant.practice.draws import (
    GAUGES,
    draw_installation,
    draw_parts,
    forget_some,
)
from assistant.practice.faults import draw_changes
from assistant.practice.kinds import ALL_KINDS, KINDS, LONG_KINDS, SECOND_KINDS
from assistant.practice.meter import draw_meter
from assistant.practice.parts import Parts, changed
from assistant.practice.solver import NodalSolver, Solver
from assistant.practice.wire import wire_ohms
from assistant.practice.words import every_fault

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["GARAGES", "MUST_SHOW", "Case", "draw_case", "fleet", "must_show", "sort_of"]

MUST_SHOW: Final = (
    "supply.charging_high",
    "supply.main_fuse_loose",
    "speaker.sub.wire_to_chassis",
    "supply.ground_resistive",
    "remote.missing",
    "amp.internal",
)
"""The faults that the first case has to end right on, in a delivery van and an old coupe."""
GARAGES: Final = {"usual": KINDS, "second_battery": SECOND_KINDS, "long_runs": LONG_KINDS}
"""Which kinds of cars a fleet is drawn from."""
_TRIES = 80


@dataclass(slots=True)
class Case:
    """One case: ``installation`` is the true one, ``given`` what the program is told."""

    name: str
    seed: int
    kind: str
    faults: list[str]
    installation: dict[str, Any]
    given: dict[str, Any]
    complaint: dict[str, Any]
    car: Car

    def truth(self) -> dict[str, Any]:
        """Give what was hidden, for the record."""
        return {
            "name": self.name,
            "seed": self.seed,
            "kind": self.kind,
            "faults": list(self.faults),
            "changes": copy.deepcopy(self.car.changes),
            "installation": self.installation,
        }


def draw_case(
    seed: int,
    kind: str,
    faults: Sequence[str],
    *,
    forget: float = 0.2,
    solver: Solver | None = None,
) -> Case:
    """Draw a car of ``kind`` in which ``faults`` cause something to complain of.

    Draws are rejected until the sound car is without complaint and each fault alone gives one.
    Raises ``GivenError`` for an unknown kind or a fault that such a car can't have.
    """
    if kind not in ALL_KINDS:
        raise GivenError(
            f"No car of kind {kind!r}.", next_step=f"Take one of {', '.join(ALL_KINDS)}."
        )
    rng = np.random.default_rng([seed, *(ord(letter) for letter in kind + "".join(faults))])
    solver = solver or NodalSolver()
    for _ in range(_TRIES):
        installation = draw_installation(rng, kind)
        if (
            "signal.converter_faulty" in faults
            and "factory_with_converter" in ALL_KINDS[kind].sources
        ):
            installation["source"]["kind"] = "factory_with_converter"
        if any("charge_relay" in fault for fault in faults) and ALL_KINDS[kind].joined:
            installation["supply"]["second_battery"]["joined"] = "charge_relay"
        for fault in faults:
            if fault not in every_fault(installation):
                raise GivenError(
                    f"A car of kind {kind} cannot have {fault}.",
                    next_step="Take one of every_fault() of its installation.",
                )
        sound = draw_parts(rng, installation)
        if not sound_car(sound, solver=solver):
            continue
        changes = _changes(rng, sound, installation, faults, solver)
        if changes is None:
            continue
        car = Car(sound=sound, changes=changes, meter=draw_meter(rng), rng=rng, solver=solver)
        complaint = car.complaint()
        if complaint is None:
            continue
        told = _told(rng, installation, car.parts, faults)
        return Case(
            name=f"{kind}/{'+'.join(faults)}",
            seed=seed,
            kind=kind,
            faults=list(faults),
            installation=installation,
            given=forget_some(rng, told, chance=forget),
            complaint=complaint,
            car=car,
        )
    raise MisuseError(
        f"No car of kind {kind} with {', '.join(faults)} shows anything after {_TRIES} draws.",
        next_step="Widen the spreads of that fault.",
    )


def _changes(
    rng: np.random.Generator,
    sound: Parts,
    installation: dict[str, Any],
    faults: Sequence[str],
    solver: Solver,
) -> dict[str, dict[str, Any]] | None:
    found: dict[str, dict[str, Any]] = {}
    for fault in faults:
        for _ in range(8):
            change = draw_changes(rng, sound, installation, fault)
            if customer_words(rng, changed(sound, change), solver=solver) is not None:
                found[fault] = change
                break
        else:
            return None
    return found


def _told(
    rng: np.random.Generator,
    installation: dict[str, Any],
    parts: Parts,
    faults: Sequence[str],
) -> dict[str, Any]:
    """Give what would be told if nothing were forgotten: half of thin wires are told as thin."""
    told = copy.deepcopy(installation)
    if "supply.power_wire_undersized" in faults and rng.random() < 0.5:
        wire = told["supply"]["wire"]
        told["supply"]["wire"]["gauge"] = min(
            (*GAUGES, "14 AWG", "16 AWG"),
            key=lambda gauge: abs(
                wire_ohms(gauge, wire["length_m"], material=wire["material"]) - parts.supply.wire
            ),
        )
    return told


def must_show() -> list[tuple[str, str]]:
    """Name the scenarios (kind, fault): ``MUST_SHOW`` in the delivery van and the old coupe."""
    return [(kind, fault) for kind in ("van_mono", "coupe_five") for fault in MUST_SHOW]


def fleet(
    cars: int,
    seed: int,
    *,
    only: str | None = None,
    pairs: bool = False,
    garage: str = "usual",
) -> list[tuple[int, str, list[str]]]:
    """Plan ``cars`` cases as (seed, kind, faults): kinds in turn, each kind's faults in turn.

    ``garage`` is one of ``GARAGES``: which kinds there are. ``only`` keeps the faults
    whose id contains it. Raises ``GivenError`` when none does. With
    ``pairs`` each car has a second fault, of another sort.
    """
    rng = np.random.default_rng(seed)
    plans: list[tuple[str, str]] = []
    for kind, about in GARAGES[garage].items():
        installation = draw_installation(np.random.default_rng(1), kind)
        if "factory_with_converter" in about.sources:
            installation["source"]["kind"] = "factory_with_converter"
        if "charge_relay" in about.joined:
            installation["supply"]["second_battery"]["joined"] = "charge_relay"
        plans += [(kind, fault) for fault in every_fault(installation)]
    plans = [plan for plan in plans if only is None or only in plan[1]]
    if not plans:
        raise GivenError(f"No fault id contains {only!r}.", next_step="Use a part of a fault id.")
    # Every fault id as often as any other, whatever the number of speakers.
    by_sort: dict[str, list[tuple[str, str]]] = {}
    for kind, fault in plans:
        by_sort.setdefault(sort_of(fault), []).append((kind, fault))
    sorts = list(by_sort)
    rng.shuffle(sorts)
    planned: list[tuple[int, str, list[str]]] = []
    while len(planned) < cars:
        for sort in sorts:
            options = by_sort[sort]
            kind, fault = options[int(rng.integers(len(options)))]
            faults = [fault]
            if pairs:
                others = [f for k, f in plans if k == kind and sort_of(f) != sort]
                faults.append(others[int(rng.integers(len(others)))])
            planned.append((int(rng.integers(2**31)), kind, faults))
    return planned[:cars]


def sort_of(fault: str) -> str:
    """Give a fault's id without its position or pair."""
    parts = fault.split(".")
    if parts[0] == "speaker" or (parts[0] == "signal" and len(parts) == 3):
        return f"{parts[0]}.*.{parts[-1]}"
    return fault
