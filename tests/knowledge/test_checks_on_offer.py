"""Which kinds of checks a five-channel installation is offered, told by what they do.

The kinds are those that the trade knows (common practice, no source). Nothing here goes by the
id or the name of a check: what counts is the quantity, the two nodes, the state of the car and
what is unplugged.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from assistant.diagnosis.labour import Bench, minutes_of
from assistant.knowledge import load, pairs_of, positions_of
from assistant.knowledge.schema import Installation
from assistant.readings.reading import SEEN_ANSWERS

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.knowledge.schema import Check, Do, Position

FIVE_CHANNELS = Installation.model_validate({"amplifier": {"channels": 5}})
CHECKS = tuple(load().checks(FIVE_CHANNELS).values())
POSITIONS = positions_of(FIVE_CHANNELS)
PAIRS = pairs_of(FIVE_CHANNELS)
WITHOUT_A_METER = frozenset(SEEN_ANSWERS)


def offered(wanted: Callable[[Do], bool]) -> list[Check]:
    return [check for check in CHECKS if wanted(check.do)]


def between(do: Do, one: str, other: str) -> bool:
    return {do.red, do.black} == {one, other}


def unplugged(do: Do) -> set[str]:
    """Give the positions whose speakers are off the amplifier."""
    if "disconnect:speakers" in do.setup:
        return set(POSITIONS)
    start = "disconnect:speaker."
    return {step.removeprefix(start) for step in do.setup if step.startswith(start)}


def drop(do: Do, one: str, other: str, *vehicle: str) -> bool:
    """Tell whether ``do`` is a drop between two nodes while music or the starter draws much."""
    draws = do.audio == "loud" or do.vehicle == "cranking"
    return (
        do.quantity == "dc_voltage"
        and between(do, one, other)
        and draws
        and (not vehicle or do.vehicle in vehicle)
    )


def of_coil(do: Do, position: Position, end: str) -> bool:
    start = f"speaker.{position}.{end}"
    return (
        do.quantity == "resistance"
        and between(do, f"{start}positive", f"{start}negative")
        and position in unplugged(do)
    )


def of_leak(do: Do, position: Position, lead: str) -> bool:
    return (
        do.quantity in {"resistance", "continuity"}
        and between(do, f"speaker.{position}.amp_{lead}", "chassis")
        and position in unplugged(do)
    )


# The kind, and one test of `do` for every part, place or state that it has to be there for.
KINDS: dict[str, list[Callable[[Do], bool]]] = {
    "drop across each part under load": [
        lambda do: drop(do, "main_fuse.battery_side", "main_fuse.amp_side"),
        lambda do: drop(do, "main_fuse.amp_side", "amp.power"),
        lambda do: drop(do, "battery.positive", "amp.power"),
        lambda do: drop(do, "amp.ground", "chassis"),
        lambda do: drop(do, "chassis", "battery.negative"),
        lambda do: drop(do, "charging.output", "battery.positive", "running"),
        lambda do: drop(do, "engine_block", "battery.negative", "cranking"),
    ],
    "drop along the ground": [
        lambda do: drop(do, "amp.ground", "battery.negative"),
        lambda do: drop(do, "amp.ground", "chassis"),
    ],
    "remote under cranking": [
        lambda do: do.quantity == "dc_voltage" and do.vehicle == "cranking"
        and (between(do, "amp.remote", "amp.ground") or between(do, "amp.remote", "chassis")),
    ],
    "charging ripple in AC volts": [
        lambda do: do.quantity == "ac_voltage" and do.vehicle == "running"
        and between(do, "battery.positive", "battery.negative"),
    ],
    "coil and wire at the amplifier's end": [
        lambda do, p=p: of_coil(do, p, "amp_") for p in POSITIONS  # type: ignore[misc]
    ],
    "coil alone at the speaker": [
        lambda do, p=p: of_coil(do, p, "") for p in POSITIONS  # type: ignore[misc]
    ],
    "both leads to chassis": [
        lambda do, p=p, lead=lead: of_leak(do, p, lead)  # type: ignore[misc]
        for p in POSITIONS for lead in ("positive", "negative")
    ],
    "one speaker off at a time": [
        lambda do, p=p: do.red == "amp.protect_light" and unplugged(do) == {p}  # type: ignore[misc]
        and "cycle_remote" in do.setup for p in POSITIONS
    ],
    "all speakers off": [
        lambda do: do.red == "amp.protect_light" and unplugged(do) == set(POSITIONS),
    ],
    "signal out": [
        lambda do: do.red == "amp.protect_light" and "disconnect:signal" in do.setup,
        *(
            lambda do, p=p: do.red == "amp.protect_light"  # type: ignore[misc]
            and f"disconnect:signal.{p}" in do.setup
            for p in PAIRS
        ),
    ],
    "signal swapped": [
        lambda do, p=p: do.quantity == "sound" and f"swap:signal.{p}" in do.setup  # type: ignore[misc]
        for p in PAIRS
    ],
    "source substituted": [
        lambda do, p=p: do.red == f"sound.{p}" and "substitute:source" in do.setup  # type: ignore[misc]
        for p in POSITIONS
    ],
    "pattern of the protect light": [
        lambda do, v=v: do.red == "amp.protect_light" and do.vehicle == v  # type: ignore[misc]
        and not do.setup for v in ("accessory", "running")
    ],
    "DC at the speaker outputs": [
        lambda do, p=p: do.quantity == "dc_voltage"  # type: ignore[misc]
        and between(do, f"speaker.{p}.amp_positive", f"speaker.{p}.amp_negative")
        for p in POSITIONS
    ],
    "shell to chassis": [
        lambda do, p=p: do.quantity == "resistance"  # type: ignore[misc]
        and between(do, f"signal.{p}.shell", "chassis") and f"disconnect:signal.{p}" in do.setup
        for p in PAIRS
    ],
    "warm-up": [
        lambda do: do.quantity == "warmth" and do.red == "amp.case" and do.audio == "loud",
        lambda do: do.red == "amp.protect_light" and "cool_down" in do.setup,
    ],
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_on_offer(kind: str) -> None:
    missing = [number for number, wanted in enumerate(KINDS[kind]) if not offered(wanted)]
    assert not missing, f"{kind}: nothing is offered for places {missing}"


def test_five_channels_have_at_least_eighty_checks() -> None:
    assert POSITIONS == ("front_left", "front_right", "rear_left", "rear_right", "sub")
    # No two of them do the same thing.
    assert len({check.do for check in CHECKS}) == len(CHECKS) >= 80


def test_current_by_clamp_is_on_offer() -> None:
    found = offered(
        lambda do: (
            do.quantity == "dc_current" and bool({do.red, do.black} & {"amp.power", "amp.ground"})
        )
    )
    assert {check.do.audio for check in found} >= {"loud"}
    # A clamp opens no circuit: whatever carries the current stays plugged in.
    assert not any(check.do.setup for check in found)


def test_the_protect_light_may_blink() -> None:
    assert set(SEEN_ANSWERS["light"]) == {"off", "lit", "blinking"}


def test_whoever_has_no_meter_is_offered_checks() -> None:
    """Lights, sound at every place, noise, warmth: seen, heard or felt."""
    found = offered(lambda do: do.quantity in WITHOUT_A_METER)
    assert {check.do.quantity for check in found} == WITHOUT_A_METER
    places = {check.do.red for check in found}
    assert {"amp.power_light", "amp.protect_light", "amp.case", "noise.whine"} <= places
    assert {f"sound.{position}" for position in POSITIONS} <= places
    for check in found:
        assert check.do.black is None
        assert "red on" not in check.typed.lower()
        assert "red on" not in check.spoken.lower()
    # Some of them ask for nothing to be unplugged.
    assert {check.do.quantity for check in found if not check.do.setup} == WITHOUT_A_METER


def test_changing_the_set_up_before_looking_is_counted_in_minutes() -> None:
    """Breese and Heckerman (arXiv 1302.3563) tell observing from reconfiguring: both are offered.

    What is unplugged, swapped or bridged first costs its own minutes.
    """
    changed = offered(lambda do: bool(do.setup) and do.quantity in WITHOUT_A_METER)
    kinds = {step.split(":")[0] for check in changed for step in check.do.setup}
    assert {"disconnect", "swap", "substitute", "jumper"} <= kinds
    for check in changed:
        bare = check.model_copy(update={"do": check.do.model_copy(update={"setup": ()})})
        assert minutes_of(check, Bench()) > minutes_of(bare, Bench())


@pytest.mark.parametrize("position", POSITIONS)
def test_one_speaker_back_at_a_time_is_on_offer(position: str) -> None:
    assert offered(
        lambda do: do.red == "amp.protect_light" and unplugged(do) == set(POSITIONS) - {position}
    )
