"""Cases for the report tests: an invented workshop, vehicle and customer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assistant.diagnosis.casefile import CaseFile
from assistant.diagnosis.records import Belief, Expectation, RepairOption, Step, Verdict
from assistant.knowledge.schema import (
    PAIRS,
    POSITIONS,
    Check,
    Complaint,
    Do,
    Installation,
)
from assistant.readings.reading import Beep, OpenLine, Reading, Seen, Unstable, Value

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

COURSE = (
    # ground, fuse, charging, power connections, amplifier
    (0.20, 0.15, 0.10, 0.12, 0.08),
    (0.22, 0.16, 0.02, 0.13, 0.08),
    (0.25, 0.30, 0.01, 0.24, 0.06),
    (0.04, 0.44, 0.01, 0.38, 0.05),
    (0.02, 0.62, 0.01, 0.25, 0.04),
    (0.01, 0.93, 0.00, 0.04, 0.01),
    (0.01, 0.96, 0.00, 0.02, 0.01),
)
REPAIRS = (
    "remake_ground",
    "tighten_main_fuse",
    "mend_regulator",
    "renew_power_connections",
    "bench_test_amplifier",
)
FAULTS = (
    "supply.ground_resistive",
    "supply.main_fuse_loose",
    "supply.charging_high",
    "supply.power_wire_resistive",
    "amp.internal",
)


def belief(shares: Sequence[float]) -> Belief:
    def ranked(names: Sequence[str]) -> tuple[tuple[str, float], ...]:
        return tuple(sorted(zip(names, shares, strict=True), key=lambda entry: -entry[1]))

    return Belief(repairs=ranked(REPAIRS), faults=ranked(FAULTS))


def make_check(do: Mapping[str, object], name: str = "a check", **more: object) -> Check:
    fields: dict[str, object] = {
        "id": "check",
        "minutes": 1.0,
        "place": "amplifier",
        "grammar": "volts",
        "spoken": "How many volts?",
        "typed": "What voltage?",
    }
    return Check.model_validate({**fields, "name": name, "do": Do.model_validate(do), **more})


def make_step(
    check: Check | None,
    reading: Reading | None,
    *,
    kind: str = "reading",
    expected: Expectation | None = None,
    course: tuple[int, int] = (0, 1),
    note: str = "",
    repair: str | None = None,
    minutes: float = 2.0,
) -> Step:
    return Step(
        kind=kind,
        check=check,
        reading=reading,
        repair=repair,
        note=note,
        minutes=minutes,
        expected=expected,
        before=belief(COURSE[course[0]]),
        after=belief(COURSE[course[1]]),
    )


def volts(low: float, high: float) -> Expectation:
    return Expectation(low=low, high=high, unit="V")


def _do(
    quantity: str, red: str, black: str | None, vehicle: str, audio: str, *setup: str
) -> dict[str, object]:
    return {
        "quantity": quantity,
        "red": red,
        "black": black,
        "vehicle": vehicle,
        "audio": audio,
        "setup": setup,
    }


VERDICT = Verdict(
    repair="tighten_main_fuse",
    probability=0.96,
    faults=(
        ("supply.main_fuse_loose", 0.96),
        ("supply.power_wire_resistive", 0.02),
        ("amp.internal", 0.01),
    ),
    order=(
        RepairOption(repair="tighten_main_fuse", probability=0.96, minutes=8),
        RepairOption(repair="renew_power_connections", probability=0.02, minutes=20),
        RepairOption(repair="bench_test_amplifier", probability=0.008, minutes=60),
    ),
    evidence=(
        "The battery holds 12.61 V at rest, and 14.2 V with the engine running: it is charged.",
        "Across the main fuse 3.15 V are lost with music loud; a sound one loses a few millivolts.",
    ),
    reply="Hello,\nthe fuse near your battery does not make good contact.\nWe tighten it.",
    surer="It would be surer after: drop of the main fuse, once it is tightened.",
)

INSTALLATION = Installation.model_validate(
    {
        "amplifier": {
            "channels": 5,
            "watts_per_channel": 75,
            "class": "D",
            "minimum_ohms": 2,
            "fuse_amps": [40, 40],
            "latches": True,
        },
        "speakers": {
            "front_left": {"nominal_ohms": 4, "origin": "aftermarket"},
            "front_right": {"nominal_ohms": 4, "origin": "aftermarket"},
            "rear_left": {"nominal_ohms": 4, "origin": "factory"},
            "rear_right": {"nominal_ohms": 4, "origin": "factory"},
            "sub": {"nominal_ohms": 2, "origin": "aftermarket"},
        },
        "source": {"kind": "factory_with_converter"},
        "supply": {
            "wire": {"gauge": "4 AWG", "material": "copper", "length_m": 5.5},
            "ground": {"gauge": "4 AWG", "material": "copper", "length_m": 0.6},
            "main_fuse": {"amps": 100, "kind": "anl"},
            "battery": "front",
        },
        "vehicle": {"charging": "alternator"},
        "ambient_c": 25,
    }
)


@pytest.fixture
def sample_case() -> CaseFile:
    loud = ("running", "loud")
    steps = (
        make_step(
            make_check(
                _do("light", "amp.protect_light", None, "running", "quiet"),
                "protection light",
                cautions=("engine_running", "moving_parts"),
            ),
            Seen(state="lit"),
            expected=Expectation(
                low=None,
                high=None,
                unit=None,
                states=(("lit", 0.83), ("off", 0.16), ("blinking", 0.01)),
            ),
            course=(0, 1),
        ),
        make_step(
            make_check(
                _do("dc_voltage", "battery.positive", "battery.negative", "off", "off"),
                "battery at rest",
                cautions=("battery_short", "battery_gas"),
            ),
            Value(value=12.61, unit="V"),
            expected=volts(11.9, 12.75),
            course=(0, 1),
        ),
        make_step(
            make_check(
                _do("dc_voltage", "amp.power", "amp.ground", *loud), "voltage at the amplifier"
            ),
            Value(value=9.84, unit="V"),
            expected=volts(10.2, 14.4),
            course=(1, 2),
        ),
        make_step(
            make_check(_do("dc_voltage", "amp.ground", "chassis", *loud), "drop of the ground"),
            Value(value=42, unit="mV"),
            expected=volts(0.01, 2.9),
            course=(2, 3),
        ),
        make_step(
            make_check(
                _do(
                    "resistance",
                    "speaker.front_left.amp_positive",
                    "chassis",
                    "off",
                    "off",
                    "disconnect:speakers",
                ),
                "leak of the front left wires",
                cautions=("fuse_out_before_ohms",),
            ),
            OpenLine(),
            expected=Expectation(low=0.2, high=30.0, unit="ohm", states=(("open_line", 0.93),)),
            course=(3, 4),
        ),
        make_step(
            make_check(
                _do("dc_voltage", "battery.positive", "battery.negative", *loud),
                "battery under load",
                people=2,
            ),
            Value(value=14.2, unit="V"),
            expected=volts(13.1, 14.6),
            course=(3, 4),
        ),
        make_step(
            make_check(
                _do("dc_voltage", "main_fuse.battery_side", "main_fuse.amp_side", *loud),
                "drop of the main fuse",
            ),
            Value(value=3.15, unit="V"),
            expected=volts(0.005, 3.4),
            course=(4, 5),
        ),
        make_step(
            make_check(_do("noise", "noise.whine", None, "running", "quiet"), "whine"),
            None,
            kind="cannot",
            note="the customer is not here",
            course=(5, 5),
        ),
        make_step(
            make_check(
                _do(
                    "resistance",
                    "main_fuse.battery_side",
                    "main_fuse.amp_side",
                    "off",
                    "off",
                    "disconnect:amp_power",
                ),
                "resistance of the main fuse",
            ),
            Unstable(low=1.2, high=9.0, unit="ohm"),
            expected=Expectation(low=0.1, high=0.6, unit="ohm", states=(("unstable", 0.4),)),
            course=(5, 6),
        ),
    )
    return CaseFile(
        case_id="2024-017",
        installation=INSTALLATION,
        complaint=Complaint(symptom="protects", when=("running", "loud")),
        steps=steps,
        verdict=VERDICT,
        opened="2024-05-14T09:20:00+02:00",
        workshop="Quarry Lane Sound, 555-0142",
    )


@pytest.fixture
def crowded_case(sample_case: CaseFile) -> CaseFile:
    """Every node and place of the contract measured, most of them several times."""
    nodes = [
        *("battery.positive", "battery.negative", "charging.output", "engine_block", "chassis"),
        *("main_fuse.battery_side", "main_fuse.amp_side", "amp.power", "amp.ground"),
        *("amp.remote", "source.remote"),
        *(
            f"speaker.{position}.{end}"
            for position in POSITIONS
            for end in ("amp_positive", "amp_negative", "positive", "negative")
        ),
        *(f"signal.{pair}.{end}" for pair in PAIRS for end in ("center", "shell")),
    ]
    places = [
        *("amp.power_light", "amp.protect_light", "amp.case", "noise.whine"),
        *(f"sound.{position}" for position in POSITIONS),
    ]
    asked = {"light": "lit", "case": "too_hot", "sound": "distorted", "noise": "yes"}
    steps: list[Step] = []
    for index, node in enumerate(nodes):
        black = nodes[index - 1] if index % 3 else "chassis"
        black = "amp.ground" if black == node else black
        steps += [
            make_step(
                make_check(
                    _do("dc_voltage", node, black, "running", "loud", "disconnect:speakers")
                ),
                Value(value=0.11 + index, unit="V"),
            ),
            make_step(
                make_check(_do("continuity", node, black, "off", "off", "remove:main_fuse")),
                Beep(heard=index % 2 == 0),
            ),
        ]
        if index % 4 == 0:
            again = _do(
                "ac_voltage",
                node,
                "chassis" if node != "chassis" else "amp.ground",
                "cranking",
                "quiet",
            )
            steps.append(make_step(make_check(again), Unstable(low=-1.25, high=901.5, unit="mV")))
    for place in places:
        house = (
            place.split("_")[-1]
            if place.startswith("amp") and "light" in place
            else place.split(".")[0]
        )
        house = "case" if place == "amp.case" else house
        quantity = {"case": "warmth"}.get(house, house)
        steps += [
            make_step(
                make_check(_do(quantity, place, None, "running", "loud")), Seen(state=asked[house])
            )
            for _ in range(2)
        ]
    return CaseFile(
        case_id="crowd",
        installation=sample_case.installation,
        complaint=sample_case.complaint,
        steps=tuple(steps),
        verdict=sample_case.verdict,
        opened=None,
        workshop="",
    )
