from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from assistant.practice.car import Car
from assistant.practice.draws import draw_installation, draw_parts
from assistant.practice.meter import Meter
from assistant.practice.parts import Parts, changed

MakeCar = Callable[..., Car]

QUIET_HOUSE: dict[str, Any] = {
    "battery.ocv": 12.6,
    "battery.inner": 5e-3,
    "charging.setpoint": 14.4,
    "charging.ohms": 5e-3,
    "charging.limit": 120.0,
    "supply.fuse": 1e-3,
    "supply.fuse_contact": 0.5e-3,
    "supply.stub": 0.5e-3,
    "supply.wire": 5e-3,
    "supply.wire_contact": 0.5e-3,
    "supply.ground_wire": 1e-3,
    "supply.ground_contact": 0.5e-3,
    "remote.regulated": False,
    "remote.volts": 0.5,
    "remote.out": 10.0,
    "remote.wire": 0.5,
    "remote.cranking_volts": None,
    "amp.idle": 1.0,
    "amp.shut_down_amps": 0.3,
    "amp.remote_threshold": 5.0,
    "amp.remote_input": 1e4,
    "amp.under": 10.0,
    "amp.over": 16.0,
    "amp.short": 0.8,
    "amp.leak": 20.0,
    "amp.common_negative": False,
    "amp.output_off": 1e4,
    "amp.under_style": "protects",
    "amp.lit_while_protecting": False,
    "amp.protect_blinks": False,
    "amp.latches": False,
    "amp.trips_on_shorted_signal": False,
    "amp.off_ohms": 5e3,
}
"""Round figures over a drawn car, so that its readings can be worked out by hand."""


def plain_parts(kind: str) -> Parts:
    rng = np.random.default_rng(5)
    return changed(draw_parts(rng, draw_installation(rng, kind)), QUIET_HOUSE)


@pytest.fixture
def make_car() -> MakeCar:
    def make(kind: str = "coupe_five", **faults: dict[str, Any]) -> Car:
        exact = Meter(gain=1.0, ac_gain=1.0, leads=0.2, beeps_under=50.0, says_millivolts=False)
        return Car(
            sound=plain_parts(kind),
            changes=dict(faults),
            meter=exact,
            rng=np.random.default_rng(9),
        )

    return make
