"""Which parts of the drawing a verdict suspects."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.reports.phrases import percent

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from assistant.diagnosis.records import Verdict
    from assistant.knowledge.schema import Pair, Position

__all__ = ["fault_parts", "suspect_parts"]

_PARTS: Final[Mapping[str, str]] = {
    "supply.battery_weak": "battery",
    "supply.charging_low": "charging",
    "supply.charging_high": "charging",
    "charging.ripple": "charging",
    "supply.main_fuse_open": "main_fuse",
    "supply.main_fuse_loose": "main_fuse",
    "supply.power_wire_resistive": "power_wire",
    "supply.power_wire_undersized": "power_wire",
    "supply.ground_resistive": "ground_wire",
    "supply.second_battery_weak": "second_battery",
    "supply.second_fuse_open": "second_fuse",
    "supply.second_fuse_loose": "second_fuse",
    "supply.second_ground_resistive": "second_ground",
    "supply.charge_relay_open": "charge_relay",
    "supply.charge_relay_burnt": "charge_relay",
    "supply.charge_relay_stuck": "charge_relay",
    "remote.missing": "remote",
    "remote.low": "remote",
    "remote.drops_on_start": "remote",
    "signal.converter_faulty": "converter",
    "signal.source_faulty": "source",
}
_SECOND: Final = 0.3
"""A second fault is marked from this probability on; fewer marks guide the eye better."""


def fault_parts(
    fault: str, *, positions: Collection[Position], pairs: Collection[Pair]
) -> tuple[str, ...]:
    """Give the keys of the drawn parts that ``fault`` may sit in.

    The keys are those of ``assistant.reports.wiring``. A fault of the amplifier, or one that
    is not known here, gives the amplifier; a ground loop gives every signal lead, a load that
    is too low every speaker.
    """
    if fault in _PARTS:
        return (_PARTS[fault],)
    if fault == "load.impedance_too_low":
        return tuple(f"speaker.{position}" for position in positions)
    if fault == "signal.ground_loop":
        return tuple(f"signal.{pair}" for pair in pairs)
    house, _, rest = fault.partition(".")
    place, _, what = rest.partition(".")
    if house == "speaker" and place in positions:
        wires = what in {"wire_to_chassis", "wires_shorted"}
        return (f"{'speaker_wires' if wires else 'speaker'}.{place}",)
    if house == "signal" and place in pairs:
        return (f"signal.{place}",)
    return ("amplifier",)


def suspect_parts(
    verdict: Verdict | None,
    *,
    fault_repairs: Mapping[str, str],
    positions: Collection[Position],
    pairs: Collection[Pair],
) -> Mapping[str, str]:
    """Map each suspect part to the words that mark it, as "suspect, 91%".

    Marked are the most probable fault that the verdict's repair ends (the most probable of
    all, where ``fault_repairs`` knows none) and any other fault of at least 30%.
    """
    if verdict is None or not verdict.faults:
        return {}
    ranked = sorted(verdict.faults, key=lambda entry: -entry[1])
    mended = [entry for entry in ranked if fault_repairs.get(entry[0]) == verdict.repair]
    first = (mended or ranked)[0]
    marked = [first, *(entry for entry in ranked if entry[1] >= _SECOND and entry != first)]
    words: dict[str, str] = {}
    for fault, probability in sorted(marked, key=lambda entry: -entry[1]):
        for part in fault_parts(fault, positions=positions, pairs=pairs):
            words.setdefault(part, f"suspect, {percent(probability)}")
    return words
