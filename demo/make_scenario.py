"""Writes ``scenario.yaml`` and the list of recordings, from a car with a hidden fault.

    python -m demo.make_scenario
    python audio_fixtures/render.py --set demo --kokoro-voices DIR
    python audio_fixtures/listen.py --write

The car is one of ``assistant.practice``, which shares no code with the program's electrics. It is
asked every check that there is for its installation, so that the recordings fit whatever way the
program takes. Each check is answered by a fresh copy of the car: the order plays no part.
"""

from __future__ import annotations

import copy
import math
import re
import sys
from typing import TYPE_CHECKING, Any, Final
from zlib import crc32

import numpy as np
import yaml

from assistant.knowledge import load
from assistant.knowledge.schema import Installation
from assistant.practice.scenario import draw_case
from audio_fixtures import listing
from audio_fixtures.heldout import whole_in_words
from demo.scenario import HERE

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.knowledge.schema import Check
    from assistant.practice.car import Car

__all__ = ["asked", "main", "reading_in_words"]

KIND: Final = "van_mono"
CAR_SEED: Final = 15
FAULT: Final = "speaker.sub.wire_to_chassis"
SEED: Final = 1
VOICE: Final = "am_michael"
_PEOPLE: Final = {
    "workshop": {"name": "Lantern Lane Car Audio", "telephone": "555-0142"},
    "customer": {
        "name": "Marlo Quint",
        "telephone": "555-0117",
        "says": "It goes into protection as soon as I switch it on, whatever I do.",
    },
    "vehicle": "Halvorn Dray delivery van of 2009",
}
_SAID: Final = {
    "ready": ("ready", "done"),
    "yes": ("yes", "yes"),
    "done": ("done", "done"),
}
"""What is said to cautions, questions and the repair: words, and the command they stand for."""
_UNITS: Final = {
    "V": "volts", "mV": "millivolts", "A": "amps", "mA": "milliamps",
    "ohm": "ohms", "kohm": "kilohms", "Mohm": "megohms",
}  # fmt: skip
_ONES: Final = ("oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def _number_in_words(value: float) -> str:
    text = f"{abs(value):.3f}".rstrip("0").rstrip(".")
    whole, _, decimals = text.partition(".")
    sign = "minus " if value < 0 else ""
    if not decimals:
        return sign + whole_in_words(int(whole))
    head = "oh" if whole == "0" else whole_in_words(int(whole))
    return f"{sign}{head} point {' '.join(_ONES[int(digit)] for digit in decimals)}"


def reading_in_words(reading: Mapping[str, Any], *, unit: bool = True) -> str:
    """Say a reading of the machine interface as a person at the meter would."""
    if "open_line" in reading:
        return "open line"
    if "beep" in reading:
        return "beep" if reading["beep"] else "no beep"
    if "seen" in reading:
        return str(reading["seen"]).replace("_", " ")
    if "unstable" in reading:
        ends = [_number_in_words(reading[end]) for end in ("low", "high") if end in reading]
        if len(ends) < 2:
            return "jumping all over the place"
        return f"jumping around between {' and '.join(ends)} {_UNITS[reading['unit']]}"
    words = _number_in_words(reading["value"])
    return f"{words} {_UNITS[reading['unit']]}" if unit else words


def asked(car: Car, check: Check, seed: int) -> dict[str, Any]:
    """Ask a fresh copy of ``car``; its meter's last digits depend on ``seed`` and the check."""
    one = copy.deepcopy(car)
    one.rng = np.random.default_rng([seed, *check.id.encode()])
    return one.answer(check.do.model_dump(), minutes=check.minutes)


class _Recordings:
    """The recordings needed, each once; the same words in the same kind of answer share one."""

    def __init__(self) -> None:
        self.phrases: dict[str, dict[str, Any]] = {}

    def add(self, words: str, expect: str, meant: dict[str, Any]) -> str:
        """Give the file for ``words``, relative to the repository's root."""
        slug = re.sub(r"[^a-z]+", "_", words)
        if expect in {"sound", "noise", "light"}:
            slug = f"{expect}_{slug}"
        file = f"demo/{slug}.wav"
        if file not in self.phrases:
            self.phrases[file] = {
                "file": file, "words": words, "expect": expect, **meant,
                "voice": VOICE, "speed": 0.95, "room": "cabin", "noise": "bay", "noise_db": 25,
                "level_db": -26, "seed": crc32(file.encode()) % 100_000,
            }  # fmt: skip
        return f"audio_fixtures/{file}"


def _answers(car: Car, checks: Mapping[str, Check], said: _Recordings) -> dict[str, dict[str, Any]]:
    """Ask ``car`` every check; one number in three is said without its unit."""
    found = {}
    for check in checks.values():
        reading = asked(car, check, CAR_SEED)
        if "unstable" in reading and "high" not in reading:
            reading = {"unstable": True}  # nobody reads out a display that runs away
        bare = sum(check.id.encode()) % 3 == 0 and reading.get("unit") in {"V", "ohm"}
        words = reading_in_words(reading, unit=not bare)
        file = said.add(words, check.do.quantity, {"reading": reading})
        found[check.id] = {"words": words, "reading": reading, "file": file}
    return found


def _speaks_for_a_fault(before: dict[str, Any], after: dict[str, Any]) -> bool:
    """Tell whether the mended car's answer differs by more than the meter's last digits."""
    one, other = before["reading"], after["reading"]
    if "value" in one and "value" in other:
        return not math.isclose(one["value"], other["value"], rel_tol=0.1, abs_tol=0.1)
    return bool(one != other)


def main() -> int:
    """Write both files."""
    case = draw_case(CAR_SEED, KIND, [FAULT], forget=0.0)
    checks = load().checks(Installation.model_validate(case.given))
    said = _Recordings()
    spoken = {
        key: {"words": words, "file": said.add(words, "command", {"command": command})}
        for key, (words, command) in _SAID.items()
    }
    answers = _answers(case.car, checks, said)
    case.car.mend(FAULT)
    aside = _Recordings()
    mended = _answers(case.car, checks, aside)
    changed = [key for key in checks if _speaks_for_a_fault(answers[key], mended[key])]
    for key in changed:
        quantity, reading = checks[key].do.quantity, {"reading": mended[key]["reading"]}
        said.add(mended[key]["words"], quantity, reading)
    scenario = {
        **_PEOPLE,
        "car": {"kind": KIND, "seed": CAR_SEED, "fault": FAULT},
        "seed": SEED,
        "complaint": case.complaint,
        "installation": case.given,
        "spoken": spoken,
        "answers": answers,
        "after": {key: mended[key] for key in changed},
    }
    head = "# The demonstration's case. Written by make_scenario.py; all names are invented.\n"
    text = yaml.safe_dump(scenario, sort_keys=False, width=100, default_flow_style=None)
    (HERE / "scenario.yaml").write_text(head + text, encoding="utf-8")
    _list_recordings(list(said.phrases.values()))
    sys.stdout.write(f"{len(answers)} checks, {len(said.phrases)} recordings\n")
    return 0


def _list_recordings(phrases: list[dict[str, Any]]) -> None:
    """Put ``phrases`` in place of the set ``demo``, which is the last of phrases.yaml."""
    path = listing.HERE / "phrases.yaml"
    kept = path.read_text(encoding="utf-8").split("\ndemo:")[0].rstrip("\n")
    text = yaml.safe_dump({"demo": phrases}, sort_keys=False, width=100, default_flow_style=None)
    path.write_text(f"{kept}\n{text}", encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
