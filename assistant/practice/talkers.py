"""Ways to talk with the program: a process of its own, or a machine in this process."""

from __future__ import annotations

import json
import queue
import subprocess
import sys
import threading
from typing import IO, TYPE_CHECKING, Any, Protocol

from assistant.errors import MisuseError
from assistant.practice.contract import ENDINGS, parse_line

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["LineTalker", "ProcessTalker", "Talker"]

Line = dict[str, Any]


class Talker(Protocol):
    """Anything that takes one line and gives the lines that answer it."""

    def say(self, line: Line) -> list[Line]:
        """Send ``line``; give its answer, ending line last."""
        ...

    def finish(self) -> None:
        """End the talk."""
        ...


class ProcessTalker:
    """Drives ``python -m assistant case --jsonl --seed N`` through its pipes.

    One process serves many cases: each starts with ``open``. ``patience`` is in seconds.
    """

    def __init__(self, *, seed: int, patience: float = 120.0) -> None:
        self._patience = patience
        self._process = subprocess.Popen(  # noqa: S603 - our own program
            [sys.executable, "-m", "assistant", "case", "--jsonl", "--seed", str(seed)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            bufsize=1,
        )
        if self._process.stdin is None or self._process.stdout is None:
            raise MisuseError("The program has no pipes.", next_step="Start it again.")
        self._inward: IO[str] = self._process.stdin
        self._lines: queue.Queue[str | None] = queue.Queue()
        threading.Thread(target=self._listen, args=(self._process.stdout,), daemon=True).start()

    def _listen(self, pipe: IO[str]) -> None:
        for text in pipe:
            self._lines.put(text)
        self._lines.put(None)

    def say(self, line: Line) -> list[Line]:
        """Send ``line``; raise ``MisuseError`` when the answer breaks off or is not JSON."""
        return self.say_text(json.dumps(line))

    def say_text(self, text: str) -> list[Line]:
        """Send ``text`` as one line, whatever it holds."""
        if not self._lines.empty():
            raise MisuseError(
                f"The program spoke unasked: {self._lines.get()!r}", next_step="Read its log."
            )
        self._inward.write(text + "\n")
        self._inward.flush()
        answer: list[Line] = []
        while True:
            try:
                got = self._lines.get(timeout=self._patience)
            except queue.Empty:
                raise MisuseError("The program fell silent.", next_step="Read its log.") from None
            if got is None:
                raise MisuseError("The program ended.", next_step="Read its log.")
            line = parse_line(got)
            if line is None:
                raise MisuseError(f"Not a JSON object: {got!r}", next_step="Read its log.")
            answer.append(line)
            if line.get("type") in ENDINGS:
                return answer

    def finish(self) -> None:
        """Close the pipes and wait; raise ``MisuseError`` when more came or it failed."""
        self._inward.close()
        code = self._process.wait(timeout=self._patience)
        rest: list[str] = []
        while (got := self._lines.get(timeout=self._patience)) is not None:
            rest.append(got)
        if rest or code != 0:
            raise MisuseError(
                f"The program ended with {code} and said {rest!r}.", next_step="Read its log."
            )


class LineTalker:
    """Talks with a function from one line (bytes) to the objects that answer it.

    Every object goes through JSON text on its way, as it would through a pipe.
    """

    def __init__(self, answer: Callable[[bytes], list[Line]]) -> None:
        self._answer = answer

    def say(self, line: Line) -> list[Line]:
        """Send ``line``; raise ``MisuseError`` when an answer cannot be JSON."""
        answer: list[Line] = []
        for given in self._answer(json.dumps(line).encode()):
            try:
                found = parse_line(json.dumps(given, allow_nan=False))
            except (TypeError, ValueError):
                found = None
            if found is None:
                raise MisuseError(f"Not a JSON object: {given!r}", next_step="Mend the machine.")
            answer.append(found)
        return answer

    def finish(self) -> None:
        """End nothing: the function outlives the talk."""
