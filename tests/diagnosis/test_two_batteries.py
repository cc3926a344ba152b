"""Cases of installations with a second battery: what is drawn, asked and concluded."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from assistant.diagnosis.records import NextCheck, Verdict
from assistant.diagnosis.session import Diagnosis
from assistant.diagnosis.worlds import NO_FAULT, WorldModel, Worlds
from assistant.electrics.responses import Responder
from assistant.knowledge import load
from assistant.knowledge.schema import Complaint, Installation
from assistant.readings.reading import OpenLine, Seen, Value

if TYPE_CHECKING:
    from assistant.knowledge.schema import Check
    from assistant.readings.reading import Reading

BUS = {
    "amplifier": {"channels": 1, "watts_per_channel": 500, "class": "D", "minimum_ohms": 1},
    "speakers": {"sub": {"nominal_ohms": 2}},
    "source": {"kind": "line_level"},
    "supply": {
        "wire": {"gauge": "35 mm2", "material": "copper", "length_m": 8.0},
        "main_fuse": {"amps": 100, "kind": "anl"},
    },
}
JOINED = ("direct", "charge_relay", None)


def bus(joined: str | None) -> Installation:
    second = {"place": "rear"} | ({"joined": joined} if joined else {})
    return Installation.model_validate(
        {**BUS, "supply": {**BUS["supply"], "second_battery": second}}  # type: ignore[dict-item]
    )


def world_of(model: WorldModel, fault: str, seed: int) -> Worlds:
    number = [known.id for known in model.faults].index(fault)
    slots = np.full((2, 1), NO_FAULT, dtype=np.int16)
    slots[0] = number
    return Worlds(latents=model.draw_latents(1, np.random.default_rng(seed)), slots=slots)


def reading_in(responder: Responder, check: Check) -> Reading:
    """Give what a perfect meter shows in the one world of ``responder``."""
    value = float(responder.predict(check.do).value[0])
    words = {"light": ("off", "lit", "blinking"), "sound": ("yes", "no", "distorted"),
             "noise": ("yes", "no"), "warmth": ("cool", "warm", "too_hot")}  # fmt: skip
    if check.do.quantity in words:
        return Seen(state=words[check.do.quantity][int(value)])
    if np.isinf(value):
        return OpenLine()
    units = {"dc_voltage": "V", "ac_voltage": "V", "dc_current": "A"}
    return Value(value=round(value, 3), unit=units.get(check.do.quantity, "ohm"))


@pytest.mark.parametrize("joined", JOINED)
def test_worlds_draw_the_second_battery(joined: str | None) -> None:
    model = WorldModel(bus(joined))
    assert set(load().spreads.second_battery) <= set(model.names)
    worlds = Worlds(
        latents=model.draw_latents(2000, np.random.default_rng(0)),
        slots=np.full((2, 2000), NO_FAULT, dtype=np.int16),
    )
    share = float(model.parts(worlds)["joined_by_relay"].mean())
    low, high = {"direct": (0, 0), "charge_relay": (1, 1)}.get(joined or "", (0.45, 0.55))
    assert low <= share <= high


def test_an_installation_without_one_has_none_of_its_parameters() -> None:
    model = WorldModel(Installation.model_validate(BUS))
    assert not set(load().spreads.second_battery) & set(model.names)


def test_a_broken_link_leaves_the_second_battery_uncharged() -> None:
    """It gets no charge through an open main fuse: it rests lower (common practice, no source)."""
    model = WorldModel(bus("direct"))
    rest = []
    for faults in ((), ("supply.main_fuse_open",)):
        number = [known.id for known in model.faults]
        slots = np.full((2, 4000), NO_FAULT, dtype=np.int16)
        for fault in faults:
            slots[0] = number.index(fault)
        latents = model.draw_latents(4000, np.random.default_rng(1))
        check = load().checks(bus("direct"))["second_battery_at_rest"]
        parts = model.parts(Worlds(latents=latents, slots=slots))
        rest.append(float(np.median(Responder(parts).predict(check.do).value)))
    assert rest[1] < rest[0] - 0.3


@pytest.mark.parametrize(
    ("fault", "complaint"),
    [
        ("supply.second_battery_weak", {"symptom": "cuts_out", "when": ["accessory", "loud"]}),
        ("supply.second_fuse_open", {"symptom": "cuts_out", "when": ["loud"]}),
        ("supply.second_ground_resistive", {"symptom": "cuts_out", "when": ["loud"]}),
        ("supply.charge_relay_open", {"symptom": "cuts_out", "when": ["loud"]}),
        ("supply.charge_relay_burnt", {"symptom": "cuts_out", "when": ["loud"]}),
    ],
)
def test_a_case_ends_on_the_fault_of_the_second_battery(
    fault: str, complaint: dict[str, object]
) -> None:
    """Every answer is what a perfect meter shows in one world that has the fault."""
    installation = bus("charge_relay")
    model = WorldModel(installation)
    # A world in which the fault is plain, not one of those at the sound end of its spread.
    responder = Responder(model.parts(world_of(model, fault, 5)))
    diagnosis = Diagnosis.open(
        installation=installation, complaint=Complaint.model_validate(complaint), seed=3,
        worlds=20_000,
    )  # fmt: skip
    step = diagnosis.next_step()
    for _ in range(25):
        if not isinstance(step, NextCheck):
            break
        diagnosis.observe(step.check.id, reading_in(responder, step.check))
        step = diagnosis.next_step()
    assert isinstance(step, Verdict)
    repairs = {known.id: known.repair for known in model.faults}
    assert repairs[fault] in [option.repair for option in step.order[:2]]
