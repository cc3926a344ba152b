"""``probetell case --jsonl``: the machine interface on standard input and output."""

from __future__ import annotations

import json
import os
import sys
import traceback
from typing import TYPE_CHECKING

from assistant.commands.workplace import make_case, new_case_id, open_casebook
from assistant.conversation.lines import LONGEST_LINE
from assistant.conversation.machine import MachineInterface
from assistant.errors import GivenError, ProbetellError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Any, BinaryIO, TextIO

    from assistant.casebook.keeping import KeptCase
    from assistant.casebook.records import Casebook
    from assistant.conversation.events import Opened
    from assistant.settings import Settings

__all__ = ["run_machine"]


def _lines(stream: BinaryIO) -> Iterator[bytes]:
    """Give line after line; of one that is too long only enough to see that it is."""
    while raw := stream.readline(LONGEST_LINE + 2):
        rest = raw
        while len(rest) > LONGEST_LINE and not rest.endswith(b"\n"):
            rest = stream.readline(LONGEST_LINE + 2)
        yield raw


class _Desk:
    """Makes the cases of one run; keeps them in the casebook where it can be opened."""

    def __init__(self, settings: Settings, case_id: str | None, *, keep: bool) -> None:
        self._settings = settings
        self._case_id = case_id
        self._keep = keep
        self._book: Casebook | None = None

    def _casebook(self) -> Casebook:
        if self._book is None:
            self._book = self._open_book()
        return self._book

    def _open_book(self) -> Casebook:
        from assistant.casebook.memory import MemoryCasebook

        if not self._keep:
            return MemoryCasebook()
        try:
            return open_casebook(self._settings)
        except ProbetellError as error:
            if self._case_id is not None:
                raise
            print(f"probetell: cases are not kept. {error}", file=sys.stderr)
            return MemoryCasebook()

    def start(self, opened: Opened) -> KeptCase:
        """Give the case for an ``open`` line: the named one, or a new one."""
        case_id, self._case_id = self._case_id or new_case_id(), None
        case = make_case(self._casebook(), case_id)
        if case.begun:
            held = case.dialogue.diagnosis
            if (held.installation, held.complaint) != (opened.installation, opened.complaint):
                raise GivenError(
                    f"The case {case_id!r} was opened with another installation or complaint.",
                    next_step="Open it with the same ones, or take another case id.",
                )
        return case


def _write(out: TextIO, objects: list[dict[str, Any]]) -> None:
    out.writelines(json.dumps(item, allow_nan=False) + "\n" for item in objects)
    out.flush()


def run_machine(settings: Settings, *, seed: int, case_id: str | None, keep: bool) -> int:
    """Answer lines from standard input until it ends; give the exit code."""
    desk = _Desk(settings, case_id, keep=keep)
    interface = MachineInterface(desk.start, seed=seed, worlds=settings.worlds)
    try:
        for raw in _lines(sys.stdin.buffer):
            try:
                objects = interface.answer(raw)
            except Exception as error:  # noqa: BLE001 - the driver still gets its one answer
                traceback.print_exc()
                objects = [interface.error(f"This line met a fault of the program: {error!r}.")]
            _write(sys.stdout, objects)
            interface.prepare()
    except BrokenPipeError:
        # Nobody reads any more; keep Python from complaining when it flushes at the end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        pass
    return 0
