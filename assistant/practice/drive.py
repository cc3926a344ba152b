"""Drives the program from outside with a virtual car: the contract to the letter, ``do`` alone.

``python -m assistant.practice.drive --seed 7 --kind van_mono --fault supply.main_fuse_loose``
plays one case and prints every line.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any, TextIO

import numpy as np

from assistant.errors import GivenError, MisuseError, ProbetellError
from assistant.practice.contract import answer_breaches
from assistant.practice.scenario import Case, draw_case
from assistant.practice.slips import answer_with_slips
from assistant.practice.talkers import ProcessTalker, Talker
from assistant.practice.words import is_node, same_repair

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["Outcome", "Step", "drive"]

Line = dict[str, Any]
_MOST_CHECKS = 60
_MOST_CONFIRMS = 3
_MOST_VERDICTS = 3


@dataclass(slots=True)
class Step:
    """One check with what it gave; ``top`` holds the first beliefs after it."""

    check: str
    do: Line
    minutes: float
    bits: float
    expect: Any
    reading: Any
    slip: str
    top: list[Line] = field(default_factory=list)


@dataclass(slots=True)
class Outcome:
    """How a case went; ``exact`` and ``right`` are about the first verdict.

    ``right``: its first fault is mended by the same work as a hidden one. ``within_two`` counts
    the second verdict too. ``repaired``: nothing was left to complain of.
    """

    truth: Line
    given: Line
    complaint: Line
    steps: list[Step] = field(default_factory=list)
    verdicts: list[Line] = field(default_factory=list)
    checks: int = 0
    minutes: float = 0.0
    exact: bool = False
    right: bool = False
    within_two: bool = False
    repaired: bool = False
    amp_blamed: bool = False
    confirms: int = 0
    breaches: list[str] = field(default_factory=list)

    def as_json(self) -> Line:
        """Give everything for the record."""
        return asdict(self)


def drive(
    case: Case,
    talker: Talker,
    *,
    seed: int = 0,
    misread: float = 0.0,
    cannot: float = 0.0,
    log: TextIO | None = None,
) -> Outcome:
    """Play ``case`` until its faults are mended, or three verdicts or sixty checks are over.

    ``checks`` and ``minutes`` count up to the first verdict. ``misread`` and ``cannot`` are
    chances per check.
    """
    play = _Play(
        case,
        talker,
        np.random.default_rng([case.seed, seed, 7]),
        misread=misread,
        cannot=cannot,
        log=log,
    )
    try:
        play.run()
    except (MisuseError, GivenError) as stopped:
        play.outcome.breaches.append(str(stopped))
    return play.outcome


class _Play:
    """One case in hand."""

    def __init__(
        self,
        case: Case,
        talker: Talker,
        rng: np.random.Generator,
        *,
        misread: float,
        cannot: float,
        log: TextIO | None,
    ) -> None:
        self.case, self.talker, self.rng, self.log = case, talker, rng, log
        self.misread, self.cannot = misread, cannot
        self.outcome = Outcome(case.truth(), case.given, case.complaint)
        self.confirms_in_a_row = 0
        self.asked: Line | None = None

    def say(self, line: Line) -> Line:
        answer = self.talker.say(line)
        if self.log is not None:
            for each in (line, *answer):
                self.log.write(json.dumps(each) + "\n")
        self.outcome.breaches += answer_breaches(answer, self.case.installation)
        beliefs = [each for each in answer if each.get("type") == "belief"]
        if beliefs and self.outcome.steps:
            faults = sorted(
                beliefs[-1].get("faults", []), key=lambda f: -float(f.get("probability", 0))
            )
            self.outcome.steps[-1].top = faults[:4]
        return answer[-1] if answer else {"type": "error", "message": "nothing came"}

    def run(self) -> None:
        case, outcome = self.case, self.outcome
        ending = self.say({"type": "open", "installation": case.given, "complaint": case.complaint})
        while len(outcome.steps) < _MOST_CHECKS:
            match ending.get("type"):
                case "check":
                    self.confirms_in_a_row = 0
                    self.asked = ending
                    ending = self.measure(ending)
                case "confirm":
                    ending = self.confirm()
                case "verdict":
                    following = self.verdict(ending)
                    if following is None:
                        break
                    ending = following
                case _:
                    outcome.breaches.append(f"error: {ending.get('message')}")
                    break
        else:
            outcome.breaches.append(f"no end after {_MOST_CHECKS} checks")
        self.say({"type": "close"})

    def measure(self, check: Line) -> Line:
        outcome = self.outcome
        minutes = float(check.get("minutes", 0.0))
        if not outcome.verdicts:
            outcome.checks += 1
            outcome.minutes += minutes
        why = "no one at hand to help" if self.rng.random() < self.cannot else ""
        if not why and not _possible(check.get("do"), self.case):
            why = "there is no such thing in this car"
        step = Step(
            str(check.get("id")), dict(check.get("do") or {}), minutes,
            float(check.get("bits") or 0.0), check.get("expect"), None, "",
        )  # fmt: skip
        outcome.steps.append(step)
        if why:
            step.reading = {"cannot": why}
            return self.say({"type": "cannot", "check": check.get("id"), "why": why})
        step.reading, step.slip = answer_with_slips(
            self.case.car, check["do"], self.rng, minutes=minutes, misread=self.misread
        )
        return self.say({"type": "reading", "check": check["id"], "reading": step.reading})

    def confirm(self) -> Line:
        """Measure the open check once more and say it again."""
        self.outcome.confirms += 1
        self.confirms_in_a_row += 1
        if self.asked is None or self.confirms_in_a_row > _MOST_CONFIRMS:
            raise MisuseError("The program keeps asking back.", next_step="Read its confirms.")
        reading, slip = answer_with_slips(
            self.case.car, self.asked["do"], self.rng, misread=self.misread
        )
        step = self.outcome.steps[-1]
        step.reading, step.slip = reading, slip
        return self.say({"type": "reading", "check": self.asked["id"], "reading": reading})

    def verdict(self, verdict: Line) -> Line | None:
        """Do the repair that the verdict names; tell what came of it. None when all is over."""
        outcome, car = self.outcome, self.case.car
        outcome.verdicts.append(verdict)
        named = str((verdict.get("faults") or [{}])[0].get("id"))
        hidden = car.faults
        right = any(same_repair(named, fault) for fault in hidden)
        if len(outcome.verdicts) == 1:
            outcome.exact, outcome.right = named in hidden, right
            outcome.amp_blamed = named == "amp.internal" and "amp.internal" not in hidden
        if len(outcome.verdicts) <= 2:
            outcome.within_two = outcome.within_two or right
        car.mend(named)
        if car.works():
            outcome.repaired = True
            self.say({"type": "repaired", "repair": verdict.get("repair"), "fixed": True})
            return None
        if len(outcome.verdicts) >= _MOST_VERDICTS:
            return None
        return self.say({"type": "repaired", "repair": verdict.get("repair"), "fixed": False})


def _possible(do: object, case: Case) -> bool:
    """Say whether every wire that ``do`` names is in this car."""
    if not isinstance(do, dict):
        return False
    for node in (do.get("red"), do.get("black")):
        head, _, rest = str(node).partition(".")
        place = rest.partition(".")[0]
        parts = case.car.parts
        if head in {"speaker", "sound"} and place not in parts.speakers:
            return False
        if head == "signal" and place not in parts.signals:
            return False
        second = parts.second
        if head in {"second_battery", "second_fuse"} and second is None:
            return False
        if head == "charge_relay" and (second is None or not second.relay):
            return False
    seen = do.get("quantity") in {"light", "sound", "noise", "warmth", "dc_current"}
    return seen or (is_node(do.get("red")) and is_node(do.get("black")))


def main(arguments: Sequence[str] | None = None) -> int:
    """Play one case against the program in a process of its own and print every line."""
    parser = argparse.ArgumentParser(prog="python -m assistant.practice.drive")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", default="van_mono")
    parser.add_argument("--fault", action="append", required=True)
    parser.add_argument("--misread", type=float, default=0.0)
    parser.add_argument("--cannot", type=float, default=0.0)
    given = parser.parse_args(arguments)
    try:
        case = draw_case(given.seed, given.kind, given.fault)
        talker = ProcessTalker(seed=given.seed)
        outcome = drive(case, talker, misread=given.misread, cannot=given.cannot, log=sys.stdout)
        talker.finish()
    except ProbetellError as stopped:
        sys.stderr.write(f"{stopped}\n")
        return 1
    if outcome.breaches:
        sys.stderr.write("\n".join(outcome.breaches) + "\n")
    record = outcome.as_json()
    summary = {
        k: record[k] for k in ("checks", "minutes", "exact", "right", "repaired", "breaches")
    }
    sys.stdout.write(json.dumps({"truth": outcome.truth["changes"], **summary}, default=str) + "\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
