"""Invented cars, cases over them, and answers as a hidden world would give them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.diagnosis.likelihood import edges_of, on_scale
from assistant.diagnosis.session import Diagnosis
from assistant.diagnosis.worlds import NO_FAULT, WorldModel, Worlds
from assistant.electrics.meter import beep_probability
from assistant.electrics.responses import Responder
from assistant.knowledge.schema import Complaint, Installation
from assistant.readings.reading import (
    SEEN_ANSWERS,
    Beep,
    OpenLine,
    Reading,
    Seen,
    Unstable,
    Value,
    base_unit,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.electrics.responses import Predicted
    from assistant.knowledge.schema import Check, Do, Symptom
    from assistant.readings.reading import Quantity

VAN = Installation.model_validate(
    {
        "amplifier": {
            "channels": 1, "watts_per_channel": 500, "class": "D", "minimum_ohms": 1,
            "fuse_amps": [40],
        },
        "speakers": {"sub": {"nominal_ohms": 4}, "sub_2": {"nominal_ohms": 4}},
        "source": {"kind": "line_level"},
        "supply": {
            "wire": {"gauge": "4 AWG", "material": "copper", "length_m": 5.5},
            "main_fuse": {"amps": 80, "kind": "anl"},
        },
    }
)  # fmt: skip
COUPE = Installation.model_validate(
    {
        "amplifier": {"channels": 2, "watts_per_channel": 75, "class": "AB", "minimum_ohms": 2},
        "speakers": {"front_left": {"nominal_ohms": 4}, "front_right": {"nominal_ohms": 4}},
        "source": {"kind": "line_level"},
    }
)
PROTECTS = Complaint(symptom="protects")


def open_case(
    installation: Installation = COUPE,
    complaint: Complaint = PROTECTS,
    *,
    seed: int = 1,
    worlds: int = 2500,
) -> Diagnosis:
    return Diagnosis.open(installation=installation, complaint=complaint, seed=seed, worlds=worlds)


def complaint(symptom: Symptom, *when: str, where: Sequence[str] = ()) -> Complaint:
    return Complaint.model_validate({"symptom": symptom, "when": when, "where": where})


def steady(predicted: Predicted, quantity: Quantity, world: int = 0) -> Reading:
    """Give the answer of one world with a perfect meter and an attentive person."""
    value = float(np.asarray(predicted.value)[world])
    if quantity in SEEN_ANSWERS:
        return Seen(state=SEEN_ANSWERS[quantity][int(value)])
    if predicted.jumps is not None and predicted.jumps[world]:
        return Unstable()
    if quantity == "continuity":
        return Beep(heard=bool(beep_probability(value) > 0.5))
    if not np.isfinite(value):
        return OpenLine()
    return Value(value=round(value, 4), unit=base_unit(quantity) or "V")


class Car:
    """One hidden world of a model, sound but for its ``faults``; it answers checks."""

    def __init__(
        self, installation: Installation, *faults: str, seed: int = 0, **latents: float
    ) -> None:
        self.model = WorldModel(installation)
        numbers = [fault.id for fault in self.model.faults]
        slots = np.full((2, 1), NO_FAULT, dtype=np.int16)
        for row, fault in enumerate(faults):
            slots[row, 0] = numbers.index(fault)
        # Half way of every spread, unless told otherwise, is a car without peculiarities.
        drawn = np.full((len(self.model.names), 1), 0.5, dtype=np.float32)
        if seed:
            drawn = self.model.draw_latents(1, np.random.default_rng(seed))
        for name, value in latents.items():
            drawn[self.model.names.index(name.replace("__", "."))] = value
        self.worlds = Worlds(latents=drawn, slots=slots)
        self.repair_all()

    def repair_all(self, *repairs: str) -> None:
        worlds = self.worlds
        for repair in repairs:
            worlds = self.model.repaired(worlds, repair)
        self.worlds = worlds
        self._responder = Responder(self.model.parts(worlds))

    def answer(self, check: Check) -> Reading:
        return steady(self._responder.predict(check.do), check.do.quantity)


def bin_of(do: Do, predicted: Predicted) -> NDArray[np.intp]:
    """Bin of each world's own reading on the scale that checks are compared on, (worlds,)."""
    value = np.asarray(predicted.value, dtype=np.float64)
    finite = np.isfinite(value)
    edges = edges_of(do.quantity)
    bins = np.searchsorted(edges, on_scale(do.quantity, np.where(finite, value, 0.0)))
    return np.where(finite, bins, len(edges) + 1)


def as_dict(pairs: Sequence[tuple[str, float]]) -> dict[str, Any]:
    return dict(pairs)
