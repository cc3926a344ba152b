"""Kill -9 at any instant: what was answered is kept, and nothing is counted twice."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import pytest

from assistant.casebook.sql import SqlCasebook
from assistant.conversation.events import Typed

WRITER = Path(__file__).with_name("store_writer.py")
INSTALLATION = {"amplifier": {"channels": 2, "class": "AB"}, "supply": {"main_fuse": {"amps": 60}}}
OPEN = {
    "type": "open",
    "installation": INSTALLATION,
    "complaint": {"symptom": "cuts_out", "when": ["loud"]},
}


@pytest.mark.parametrize("after", [1, 17, 60])
def test_events_that_were_confirmed_survive_a_kill(tmp_path: Path, after: int) -> None:
    url = f"sqlite:///{tmp_path / 'book.sqlite'}"
    child = subprocess.Popen([sys.executable, str(WRITER), url], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    confirmed = 0
    for line in child.stdout:
        confirmed = int(line)
        if confirmed >= after:
            break
    child.kill()
    rest = [int(line) for line in child.stdout.read().split()]
    child.wait()
    confirmed = rest[-1] if rest else confirmed
    kept = SqlCasebook(url).events("k")[1:]
    assert [e.event for e in kept] == [Typed(text=f"answer {n}") for n in range(1, len(kept) + 1)]
    assert confirmed <= len(kept) <= confirmed + 1


class Driver:
    """Drives ``probetell case --jsonl`` as another program would, and kills it on the way."""

    def __init__(self, home: Path, chance: random.Random | None) -> None:
        self._home = home
        self._chance = chance
        self._process: subprocess.Popen[bytes] | None = None
        self.kills = 0

    def _start(self) -> subprocess.Popen[bytes]:
        environment = {**os.environ, "PROBETELL_HOME": str(self._home), "PROBETELL_WORLDS": "1500"}
        return subprocess.Popen(
            [sys.executable, "-m", "assistant", "case", "--jsonl", "--case", "k9", "--seed", "3"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=environment,
        )

    def _ask(self, line: dict[str, Any], *, may_die: bool) -> dict[str, Any] | None:
        """Send one line; give the object that ends the answer, None when the process died."""
        process = self._process
        assert process is not None
        assert process.stdin is not None
        assert process.stdout is not None
        if may_die and self._chance is not None and self.kills < 5 and self._chance.random() < 0.6:
            self.kills += 1
            threading.Timer(self._chance.random() * 0.12, process.kill).start()
        try:
            process.stdin.write(json.dumps(line).encode() + b"\n")
            process.stdin.flush()
        except BrokenPipeError:
            return None
        for raw in process.stdout:
            if not raw.endswith(b"\n"):
                return None
            answer = json.loads(raw)
            if answer["type"] != "belief":
                return dict(answer)
        return None

    def send(self, line: dict[str, Any]) -> dict[str, Any]:
        """Send one line until it is answered, starting the program again as often as needed."""
        while True:
            if self._process is None:
                self._process = self._start()
                if self._ask({**OPEN, "key": "open"}, may_die=False) is None:
                    self._process = None
                    continue
            answer = self._ask(line, may_die=True)
            if answer is not None:
                return answer
            self._process.wait()
            self._process = None

    def close(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait()


def _reading(check: dict[str, Any]) -> dict[str, Any]:
    """Answer from a car of the test's own: a weak ground, all else in order."""
    do = check["do"]
    if do["quantity"] == "dc_voltage":
        ground = {"amp.ground"} & {do["red"], do["black"]} and do["black"] != "amp.ground"
        value = 0.9 if ground and do["audio"] == "loud" else 0.2 if ground else 12.3
        return {"value": value + (1.6 if do["vehicle"] == "running" else 0), "unit": "V"}
    table = {
        "resistance": {"value": 4.1, "unit": "ohm"},
        "continuity": {"beep": False},
        "ac_voltage": {"value": 30, "unit": "mV"},
        "dc_current": {"value": 4.0, "unit": "A"},
        "light": {"seen": "lit" if "power" in do["red"] else "off"},
        "sound": {"seen": "yes"},
        "noise": {"seen": "no"},
        "warmth": {"seen": "warm"},
    }
    return table[do["quantity"]]


def _run(home: Path, chance: random.Random | None) -> tuple[list[str], dict[str, Any], int]:
    driver = Driver(home, chance)
    asked: list[str] = []
    answer = driver.send({"type": "text", "text": "status", "key": "first"})
    while answer["type"] == "check" and len(asked) < 7:
        asked.append(answer["id"])
        line = {"type": "reading", "check": answer["id"], "reading": _reading(answer)}
        answer = driver.send({**line, "key": f"answer {len(asked)}"})
    answer = driver.send({"type": "close", "key": "close"})
    driver.close()
    return asked, answer, driver.kills


@pytest.mark.slow
def test_a_killed_case_ends_as_an_uninterrupted_one(tmp_path: Path) -> None:
    asked, verdict, _ = _run(tmp_path / "whole", None)
    asked_too, verdict_too, kills = _run(tmp_path / "killed", random.Random(11))  # noqa: S311
    assert kills >= 2
    assert asked_too == asked
    assert verdict_too == verdict
    books = [
        SqlCasebook(f"sqlite:///{tmp_path / d / 'casebook.sqlite'}") for d in ("whole", "killed")
    ]
    whole, killed = ([e.event for e in book.events("k9")] for book in books)
    assert killed == whole
