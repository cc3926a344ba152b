"""The answers that were told to the diagnosis, so that they can be taken back or replaced."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from assistant.conversation.events import CannotDo, Repaired, Told
from assistant.errors import GivenError

if TYPE_CHECKING:
    from assistant.conversation.scene import Scene
    from assistant.diagnosis.records import Diagnosing

__all__ = ["Answer", "Entry", "Ledger"]

Entry: TypeAlias = Told | CannotDo | Repaired


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What one event told, and the scene that it was told in; ``entries`` is not empty."""

    scene: Scene
    entries: tuple[Entry, ...]


class Ledger:
    """Tells a diagnosis what was answered, one answer at a time.

    One answer may be several steps of the diagnosis ("12.6 key on, 8 running"); it is taken
    back as a whole.
    """

    def __init__(self, diagnosis: Diagnosing) -> None:
        self.diagnosis = diagnosis
        self._answers: list[Answer] = []

    @property
    def last(self) -> Answer | None:
        """The last answer, None before the first."""
        return self._answers[-1] if self._answers else None

    @property
    def count(self) -> int:
        """How many answers stand."""
        return len(self._answers)

    def mark(self) -> tuple[Answer, ...]:
        """Give the answers as they stand, to roll back to."""
        return tuple(self._answers)

    def roll_back(self, mark: tuple[Answer, ...]) -> None:
        """Return to ``mark``: take back what came since, tell again what was taken back since."""
        kept = 0
        for mine, marked in zip(self._answers, mark, strict=False):
            if mine is not marked:
                break
            kept += 1
        while len(self._answers) > kept:
            self.take_back()
        for answer in mark[kept:]:
            self.tell(answer.scene, answer.entries)
            self._answers[-1] = answer

    def tell(self, scene: Scene, entries: tuple[Entry, ...]) -> None:
        """Tell one answer; raise ``GivenError`` and change nothing where the diagnosis does."""
        done = 0
        try:
            for entry in entries:
                self._tell_one(entry)
                done += 1
        except BaseException:
            for _ in range(done):
                self.diagnosis.undo()
            raise
        self._answers.append(Answer(scene=scene, entries=entries))

    def take_back(self) -> Answer:
        """Take back the last answer; raise ``GivenError`` when there is none."""
        if not self._answers:
            raise GivenError(
                "There is no answer to take back.", next_step="Answer the open check first."
            )
        answer = self._answers.pop()
        for _ in answer.entries:
            self.diagnosis.undo()
        return answer

    def replace_last(self, entries: tuple[Entry, ...]) -> None:
        """Put another answer in the place of the last one."""
        old = self.take_back()
        try:
            self.tell(old.scene, entries)
        except BaseException:
            self.tell(old.scene, old.entries)
            self._answers[-1] = old
            raise

    def _tell_one(self, entry: Entry) -> None:
        match entry:
            case Told(check=check, reading=reading):
                self.diagnosis.observe(check, reading)
            case CannotDo(check=check, why=why):
                self.diagnosis.cannot(check or "", why)
            case Repaired(repair=repair, fixed=fixed):
                self.diagnosis.repaired(repair, fixed=fixed)
