"""Holds every line that the program writes to the machine contract of the design."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any, Final

from assistant.practice.words import (
    ANSWERS,
    AUDIO,
    PAIR_OF,
    PLACES_SEEN,
    QUANTITIES,
    UNITS,
    VEHICLE,
    every_fault,
    is_node,
    is_setup,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

__all__ = ["ENDINGS", "answer_breaches", "line_breaches", "parse_line"]

ENDINGS: Final = ("check", "confirm", "verdict", "error")
_FIELDS: Final[Mapping[str, tuple[str, ...]]] = {
    "belief": ("repairs", "faults"),
    "check": ("id", "say", "cautions", "minutes", "bits", "do", "expect"),
    "confirm": ("say",),
    "verdict": ("repair", "probability", "faults", "order", "evidence", "reply"),
    "error": ("message", "line"),
}
_DO_FIELDS: Final = ("quantity", "red", "black", "vehicle", "audio", "setup")


def parse_line(text: str) -> dict[str, Any] | None:
    """Give the JSON object on one line, None where the line is none."""
    try:
        found = json.loads(text)
    except ValueError:
        return None
    return found if isinstance(found, dict) else None


def answer_breaches(lines: list[dict[str, Any]], installation: Mapping[str, Any]) -> list[str]:
    """Say what is wrong with one whole answer: beliefs, then exactly one ending."""
    breaches: list[str] = []
    if not lines:
        return ["no answer at all"]
    if lines[-1].get("type") not in ENDINGS:
        breaches.append(f"an answer ends with {lines[-1].get('type')!r}")
    early = [line.get("type") for line in lines[:-1] if line.get("type") != "belief"]
    breaches += [f"{kind!r} stands before the ending" for kind in early]
    for line in lines:
        breaches += line_breaches(line, installation)
    return breaches


def line_breaches(line: Mapping[str, Any], installation: Mapping[str, Any]) -> list[str]:
    """Say what is wrong with one line."""
    kind = line.get("type")
    if not isinstance(kind, str) or kind not in _FIELDS:
        return [f"unknown type {kind!r}"]
    breaches = [f"{kind} lacks {name!r}" for name in _FIELDS[kind] if name not in line]
    if breaches:
        return breaches
    return _BY_KIND[kind](line, installation)


def _words(said: object, where: str) -> list[str]:
    return [] if isinstance(said, str) and said.strip() else [f"{where} is not words: {said!r}"]


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _probability(value: object, where: str) -> list[str]:
    sane = _number(value) and -1e-9 <= float(value) <= 1 + 1e-9  # type: ignore[arg-type]
    return [] if sane else [f"{where} is no probability: {value!r}"]


def _ranked(entries: object, known: Iterable[str] | None) -> list[str]:
    if not isinstance(entries, list):
        return [f"not a list: {entries!r}"]
    allowed = None if known is None else set(known)
    breaches: list[str] = []
    for entry in entries:
        if not isinstance(entry, dict) or "id" not in entry:
            breaches.append(f"entry without id: {entry!r}")
            continue
        breaches += _probability(entry.get("probability"), f"probability of {entry['id']}")
        if allowed is not None and entry["id"] not in allowed and not _may_be(entry["id"]):
            breaches.append(f"fault {entry['id']!r} cannot be in this car")
    ids = [entry.get("id") for entry in entries if isinstance(entry, dict)]
    if len(set(ids)) != len(ids):
        breaches.append("an id stands twice in one list")
    return breaches


def _may_be(fault: str) -> bool:
    """Allow ids that the design leaves room for ("at least"): only known heads pass."""
    place = fault.split(".")
    if place[0] in {"speaker", "signal"} and len(place) == 3:
        return False  # a place that this car does not have
    return place[0] in {"supply", "charging", "amp", "remote", "load", "signal", "speaker"}


def _check(line: Mapping[str, Any], installation: Mapping[str, Any]) -> list[str]:
    breaches = _words(line["id"], "check.id") + _words(line["say"], "check.say")
    cautions = line["cautions"]
    if not isinstance(cautions, list) or not all(isinstance(c, str) and c for c in cautions):
        breaches.append(f"cautions are not words: {cautions!r}")
    if not _number(line["minutes"]) or line["minutes"] <= 0:
        breaches.append(f"minutes: {line['minutes']!r}")
    if not _number(line["bits"]) or line["bits"] < -1e-6:
        breaches.append(f"bits: {line['bits']!r}")
    do = line["do"]
    if not isinstance(do, dict):
        return [*breaches, f"do is no object: {do!r}"]
    seen = do.get("quantity") in PLACES_SEEN  # its place is in red, so black may stay away
    needed = [name for name in _DO_FIELDS if not (seen and name == "black")]
    breaches += [f"do lacks {name!r}" for name in needed if name not in do]
    if breaches:
        return breaches
    return breaches + _do(do, installation) + _expect(line["expect"], do["quantity"])


def _do(do: Mapping[str, Any], installation: Mapping[str, Any]) -> list[str]:
    allowed = {"quantity": QUANTITIES, "vehicle": VEHICLE, "audio": AUDIO}
    breaches = [f"{name} {do[name]!r}" for name, words in allowed.items() if do[name] not in words]
    setup = do["setup"]
    if not isinstance(setup, list) or not all(is_setup(step) for step in setup):
        return [*breaches, f"setup {setup!r}"]
    breaches += _tips(do["quantity"], do["red"], do.get("black"))
    words = (str(do["red"]), str(do.get("black")), *(step.partition(":")[2] for step in setup))
    return breaches + [f"this car has no {w!r}" for w in words if not _in_car(w, installation)]


def _tips(quantity: str, red: object, black: object) -> list[str]:
    if quantity in PLACES_SEEN:
        return [] if red in PLACES_SEEN[quantity] else [f"nothing to see at {red!r}"]
    tips = {"red": red} if quantity == "dc_current" else {"red": red, "black": black}
    breaches = [f"{side} {node!r}" for side, node in tips.items() if not is_node(node)]
    if len(tips) > 1 and red == black:
        breaches.append("both tips on one node")
    return breaches


def _in_car(word: str, installation: Mapping[str, Any]) -> bool:
    speakers = set(installation["speakers"])
    head, _, rest = word.partition(".")
    place = rest.partition(".")[0]
    if head in {"speaker", "sound"}:
        return place in speakers
    second = installation.get("supply", {}).get("second_battery")
    if head in {"second_battery", "second_fuse", "charge_relay"}:
        return second is not None  # nobody need have told that there is no relay
    return head != "signal" or not place or place in {PAIR_OF[s] for s in speakers}


def _expect(expect: object, quantity: str) -> list[str]:
    if quantity in ANSWERS or quantity == "continuity":
        return []  # the contract gives no form for what is seen or heard, nor for a beep
    if not isinstance(expect, dict):
        return [f"expect: {expect!r}"]
    low, high, unit = expect.get("low"), expect.get("high"), expect.get("unit")
    if unit not in UNITS.get(quantity, ()):
        return [f"expect has the unit {unit!r} for {quantity}"]
    if not all(bound is None or _number(bound) for bound in (low, high)):
        return [f"expect: {expect!r}"]
    upside_down = low is not None and high is not None and low > high
    return [f"expect is upside down: {expect!r}"] if upside_down else []


def _verdict(line: Mapping[str, Any], installation: Mapping[str, Any]) -> list[str]:
    breaches = _words(line["repair"], "verdict.repair") + _words(line["reply"], "verdict.reply")
    breaches += _probability(line["probability"], "verdict.probability")
    breaches += _ranked(line["faults"], every_fault(installation))
    if not line["faults"]:
        breaches.append("a verdict without faults")
    if not isinstance(line["evidence"], list):
        breaches.append("evidence is no list")
    order = line["order"]
    if not isinstance(order, list):
        return [*breaches, "order is no list"]
    for entry in order:
        if not isinstance(entry, dict) or not {"repair", "probability", "minutes"} <= set(entry):
            breaches.append(f"order entry: {entry!r}")
            continue
        breaches += _probability(entry["probability"], f"probability of {entry['repair']}")
        if not _number(entry["minutes"]) or entry["minutes"] < 0:
            breaches.append(f"minutes of {entry['repair']}: {entry['minutes']!r}")
    return breaches


def _belief(line: Mapping[str, Any], installation: Mapping[str, Any]) -> list[str]:
    return _ranked(line["repairs"], None) + _ranked(line["faults"], every_fault(installation))


_BY_KIND: Final[Mapping[str, Callable[[Mapping[str, Any], Mapping[str, Any]], list[str]]]] = {
    "belief": _belief,
    "check": _check,
    "confirm": lambda line, _: _words(line["say"], "confirm.say"),
    "verdict": _verdict,
    "error": lambda line, _: _words(line["message"], "error.message"),
}
