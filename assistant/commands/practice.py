"""``probetell practice``: a virtual car with a hidden fault, to train on."""

from __future__ import annotations

import json
import os
import secrets
import sys
import traceback
from typing import TYPE_CHECKING, Final, Protocol

from rich.console import Console

from assistant.commands.practice_screen import LessonScreen
from assistant.errors import ProbetellError
from assistant.lessons.advice import advice_for
from assistant.lessons.lesson import Lesson
from assistant.lessons.lines import LessonInterface, lesson_object
from assistant.lessons.plan import plan_lesson
from assistant.lessons.review import review_of
from assistant.lessons.typed import event_of_words

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from typing import Any, BinaryIO

    from assistant.lessons.events import Action
    from assistant.lessons.review import Review
    from assistant.settings import Settings

__all__ = ["Aloud", "run_practice"]

_LEAVE: Final = frozenset({"quit", "exit", "q", "leave", "stop"})
_HELP: Final = frozenset({"help", "?", "h"})
_SEEDS: Final = 100_000


class Aloud(Protocol):
    """Says what the lesson answers; ``assistant.commands.practice_voice`` has one."""

    def tell(self, action: Action) -> None:
        """Say an action."""
        ...

    def say(self, text: str) -> None:
        """Say a text."""
        ...

    def close(self) -> None:
        """Let go of the voice."""
        ...


def run_practice(
    settings: Settings,
    *,
    kind: str | None,
    level: int,
    seed: int | None,
    misread: float | None,
    jsonl: bool,
    keys: bool,
    voice: bool,
    files: Path | None,
    report: Path | None,
) -> int:
    """Run one lesson; without a seed a new car is drawn. Give the exit code.

    ``voice`` speaks and listens, with ``keys`` too it only speaks; ``files`` are recordings in
    the place of the microphone. Raises ``GivenError`` for a level or kind that there is not, or
    where there is no ear, no voice or no sound card.
    """
    seed = secrets.randbelow(_SEEDS) if seed is None else seed
    plan = plan_lesson(seed, level=level, kind=kind, misread=misread)
    lesson = Lesson(plan, worlds=settings.worlds)
    if jsonl:
        return _run_lines(lesson, settings, report)
    if files is not None or (voice and not keys):
        return _run_voice(lesson, settings, report, files)
    aloud: Aloud | None = None
    if voice:
        from assistant.commands.practice_voice import open_aloud

        aloud = open_aloud(settings, lesson)
    try:
        return _run_keys(lesson, settings, report, aloud)
    finally:
        if aloud is not None:
            aloud.close()


# --- at the keyboard -------------------------------------------------------------------------


def _typed(console: Console) -> Iterator[str]:
    while True:
        try:
            yield console.input("> ")
        except (EOFError, KeyboardInterrupt):
            console.print()
            return


def _run_keys(lesson: Lesson, settings: Settings, report: Path | None, aloud: Aloud | None) -> int:
    console = Console(highlight=False)
    screen = LessonScreen(console, lesson)
    screen.briefing()
    if aloud is not None:
        aloud.say(_opening_words(lesson))
    for text in _typed(console):
        plain = text.strip().lower()
        if plain in _LEAVE:
            break
        if not plain:
            continue
        if plain in _HELP:
            screen.help()
            continue
        try:
            action = lesson.handle(event_of_words(text, lesson))
        except ProbetellError as error:
            screen.refused(error.message, error.next_step)
            if aloud is not None:
                aloud.say(str(error))
            continue
        screen.show(action)
        if aloud is not None:
            aloud.tell(action)
        if lesson.ended:
            _review(console, screen, lesson, settings, report)
            return 0
    screen.left()
    return 0


def _opening_words(lesson: Lesson) -> str:
    from assistant.reports.phrases import complaint_words

    return f"The customer says: {complaint_words(lesson.complaint)} Which check?"


def _review(
    console: Console,
    screen: LessonScreen,
    lesson: Lesson,
    settings: Settings,
    report: Path | None,
) -> Review:
    with console.status("The program takes the same car ...") as status:
        review = review_of(lesson, worlds=settings.worlds, progress=status.update)
    screen.review(review)
    if report is not None:
        _write(review, report)
        screen.note(f"Report written to {report}.")
    screen.note(f"The same car again: {lesson.plan.command()}")
    return review


def _write(review: Review, report: Path) -> None:
    from assistant.reports.lesson_report import write_lesson_report

    write_lesson_report(review, report)


# --- by voice --------------------------------------------------------------------------------


def _run_voice(lesson: Lesson, settings: Settings, report: Path | None, files: Path | None) -> int:
    from assistant.commands.practice_voice import talk_lesson

    console = Console(highlight=False)
    screen = LessonScreen(console, lesson, voice=True)
    screen.briefing()

    def advise() -> str:
        return " ".join(advice_for(_review(console, screen, lesson, settings, report)))

    talk_lesson(lesson, settings, screen, files, advise)
    if not lesson.ended:
        screen.left()
    return 0


# --- for another program ---------------------------------------------------------------------


def _raw_lines(stream: BinaryIO) -> Iterator[bytes]:
    """Give line after line; of one that is too long only enough to see that it is."""
    from assistant.conversation.lines import LONGEST_LINE

    while raw := stream.readline(LONGEST_LINE + 2):
        rest = raw
        while len(rest) > LONGEST_LINE and not rest.endswith(b"\n"):
            rest = stream.readline(LONGEST_LINE + 2)
        yield raw


def _put(line: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(line, allow_nan=False) + "\n")
    sys.stdout.flush()


def _written(review: Review, report: Path) -> dict[str, str]:
    try:
        _write(review, report)
    except ProbetellError as error:
        return {"report_error": str(error)}
    return {"report": str(report)}


def _run_lines(lesson: Lesson, settings: Settings, report: Path | None) -> int:
    interface = LessonInterface(lesson, worlds=settings.worlds)
    written = False
    try:
        _put(lesson_object(lesson))
        for raw in _raw_lines(sys.stdin.buffer):
            try:
                line = interface.answer(raw)
                if report is not None and interface.review is not None and not written:
                    written = True
                    line = {**line, **_written(interface.review, report)}
            except Exception as error:  # noqa: BLE001 - the driver still gets its one answer
                traceback.print_exc()
                line = interface.error(f"This line met a fault of the program: {error!r}.")
            _put(line)
    except BrokenPipeError:
        # Nobody reads any more; keep Python from complaining when it flushes at the end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        pass
    return 0
