"""A case whose answers were recorded: the demonstration, and ``probetell talk --files``."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import IO, TYPE_CHECKING, Final, TypeAlias, cast

from rich.console import Console

from assistant.casebook.keeping import KeptCase
from assistant.casebook.memory import MemoryCasebook
from assistant.commands.screen import Screen
from assistant.commands.workplace import now, open_diagnosis
from assistant.conversation.dialogue import Dialogue
from assistant.conversation.events import (
    AskConfirm,
    Asked,
    CannotDo,
    Close,
    Heard,
    Opened,
    Typed,
)
from assistant.conversation.table import State
from assistant.errors import GivenError

if TYPE_CHECKING:
    from assistant.casebook.records import Casebook
    from assistant.conversation.events import Action, Command, Given
    from assistant.diagnosis.casefile import CaseFile
    from assistant.knowledge.schema import Complaint, Installation

__all__ = ["Ear", "Recordings", "load_recordings", "run_recorded_case"]

Ear: TypeAlias = Callable[[Path, str], Heard]
"""Hears one file while the phrases of a grammar are open."""

Recordings: TypeAlias = Mapping[str, Path | Sequence[Path]]
"""By check id the file with its answer, or several for the times it is asked. ``ready``,
``yes``, ``no``, ``done`` and ``cannot`` are what is said to cautions and questions, and
``CHECK_ID/confirm`` and ``CHECK_ID/after`` to a read-back of that check and after the repair."""

_TURNS: Final = 80
_MISHEARD: Final = 2
_SOUNDS: Final = (".wav", ".flac", ".ogg", ".mp3")


class _Player:
    """Chooses the recording for each question."""

    def __init__(self, recordings: Recordings, ear: Ear, screen: Screen) -> None:
        self._files = {
            key: [found] if isinstance(found, Path) else list(found)
            for key, found in recordings.items()
        }
        self._ear = ear
        self._screen = screen

    def has(self, key: str) -> bool:
        return bool(self._files.get(key))

    def play(self, key: str, grammar: str) -> Heard | None:
        """Hear the next file of ``key``; its last one may be heard again and again."""
        files = self._files.get(key)
        if not files:
            return None
        path = files.pop(0) if len(files) > 1 else files[0]
        heard = self._ear(path, grammar)
        best = max(heard.alternatives, key=lambda a: a.weight, default=None)
        self._screen.heard(path.name, "(nothing)" if best is None else best.text)
        return heard

    def typed(self, text: str) -> Typed:
        """Give a text that is not recorded."""
        self._screen.heard("not recorded", text)
        return Typed(text=text)

    def word(self, word: Command, grammar: str) -> Given:
        """Hear the recording of a word, or give the command itself where there is none."""
        heard = self.play(word, grammar)
        if heard is None:
            self._screen.heard("not recorded", word)
            return Asked(command=word)
        return heard


class _Lines:
    """Gives each written line to a function; all that a console needs of a file."""

    def __init__(self, out: Callable[[str], object]) -> None:
        self._out = out

    def write(self, text: str) -> int:
        for line in text.splitlines():
            if line.strip():
                self._out(line)
        return len(text)

    def flush(self) -> None:
        """Lines are given as they come."""


def _console(out: Console | Callable[[str], object]) -> Console:
    if isinstance(out, Console):
        return out
    return Console(file=cast("IO[str]", _Lines(out)), width=100, highlight=False)


def run_recorded_case(
    installation: Installation,
    complaint: Complaint,
    answers: Recordings,
    out: Console | Callable[[str], object],
    seed: int = 0,
    *,
    ear: Ear | None = None,
    casebook: Casebook | None = None,
    case_id: str = "recorded",
    workshop: str = "",
    worlds: int | None = None,
) -> CaseFile:
    """Play one case from recorded speech and give its file for the report.

    Each question is answered by its recording through ``ear``, left out: the recogniser of the
    settings. A check without a recording is told to be out of reach. After the verdict the
    repair is told as done where ``done`` is recorded; otherwise the case is closed. Raises
    ``GivenError`` when a file cannot be heard or the case comes to no end.
    """
    if ear is None:
        from assistant.commands.listening import file_ear

        ear = file_ear()
    screen = Screen(_console(out))
    case = KeptCase(
        dialogue=Dialogue(open_diagnosis),
        casebook=MemoryCasebook() if casebook is None else casebook,
        case_id=case_id,
        now=now,
    )
    player = _Player(answers, ear, screen)
    opened = Opened(
        installation=installation, complaint=complaint, seed=seed, channel="voice", worlds=worlds
    )
    actions = case.handle(opened)
    misheard = 0
    for _ in range(_TURNS):
        screen.show(actions)
        standing = case.dialogue.scene
        reply = _reply(case, actions, player, give_up=misheard >= _MISHEARD)
        actions = case.handle(reply)
        if isinstance(reply, Close):  # the verdict has been shown
            return case.case_file(workshop=workshop)
        misheard = misheard + 1 if case.dialogue.scene == standing else 0
    raise GivenError(
        f"The recorded answers led to no end within {_TURNS} turns.",
        next_step="Listen to the last recordings, or answer at the keyboard: probetell type.",
    )


def _reply(case: KeptCase, actions: tuple[Action, ...], player: _Player, *, give_up: bool) -> Given:
    """Answer what is asked: by a recording where there is one."""
    scene, grammar = case.dialogue.scene, case.dialogue.grammar
    if scene.state is State.CONCLUDED:
        helped = any(isinstance(a, AskConfirm) for a in actions)
        if scene.settled or give_up or not player.has("done"):
            return Close()
        return player.word("yes" if helped else "done", grammar)
    if scene.state is State.CAUTIONING:
        ready = None if give_up else player.play("ready", grammar)
        return ready or player.typed("ready")
    check = "" if scene.step is None else scene.step.check.id
    if scene.pending is not None:
        confirmed = None if give_up else player.play(f"{check}/confirm", grammar)
        return confirmed or player.word("no" if give_up else "yes", grammar)
    key = f"{check}/after" if scene.state is State.PROVING else check
    heard = None if give_up else player.play(key, grammar)
    return heard or player.play("cannot", grammar) or CannotDo(why="no recording of an answer")


def load_recordings(path: Path) -> dict[str, Path | list[Path]]:
    """Take the recordings of a folder by their names, or those that a YAML file lists.

    In a folder ``amp_supply.wav`` answers the check ``amp_supply``, ``amp_supply.after.wav`` its
    repetition after the repair. A list maps the keys to a file or to several, relative to itself.
    """
    if path.is_dir():
        found: dict[str, Path | list[Path]] = {}
        for file in sorted(path.iterdir()):
            if file.suffix.lower() in _SOUNDS:
                stem = file.name.removesuffix(file.suffix)
                for ending in ("after", "confirm"):
                    stem = stem.removesuffix(f".{ending}") + (
                        f"/{ending}" if stem.endswith(f".{ending}") else ""
                    )
                found[stem] = file
        if not found:
            raise GivenError(
                f"There are no sound files in {path}.",
                next_step="Put files such as battery_at_rest.wav there.",
            )
        return found
    from assistant.commands.workplace import read_mapping

    raw = read_mapping(path)
    listed: dict[str, Path | list[Path]] = {}
    for key, value in raw.items():
        if isinstance(value, str):
            listed[key] = path.parent / value
        elif isinstance(value, list) and value and all(isinstance(v, str) for v in value):
            listed[key] = [path.parent / v for v in value]
        else:
            raise GivenError(
                f"The entry {key!r} in {path} names no file.",
                next_step="Write the check's id, a colon, and a file or a list of files.",
            )
    return listed
