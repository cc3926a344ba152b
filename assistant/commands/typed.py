"""``probetell type``: a case at the keyboard."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Console

from assistant.commands.intake import ask_complaint, ask_installation
from assistant.commands.screen import Screen
from assistant.commands.workplace import (
    last_case,
    load_complaint,
    load_installation,
    make_case,
    new_case_id,
    open_casebook,
)
from assistant.conversation.events import Close, Opened, Silence, Typed
from assistant.conversation.table import State
from assistant.errors import ProbetellError
from assistant.knowledge.schema import Installation

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.casebook.keeping import KeptCase
    from assistant.conversation.events import Action, Channel
    from assistant.knowledge.schema import Complaint
    from assistant.settings import Settings

__all__ = ["begin_or_resume", "finish", "read_installation", "run_typed"]


def begin_or_resume(
    console: Console,
    settings: Settings,
    *,
    installation: Path | None,
    complaint: str | None,
    resume: bool,
    seed: int,
    channel: Channel,
) -> tuple[KeptCase, tuple[Action, ...]]:
    """Open a new case, asking for what was not given, or go on with the last open one."""
    casebook = open_casebook(settings)
    if resume:
        case = make_case(casebook, last_case(casebook, still_open=True))
        return case, case.dialogue.present()

    def ask(question: str) -> str:
        return console.input(f"{question}: ")

    def tell(text: str) -> None:
        console.print(text, markup=False)

    said: Complaint = ask_complaint(ask, tell) if complaint is None else load_complaint(complaint)
    built: Installation = (
        ask_installation(ask, tell) if installation is None else load_installation(installation)
    )
    case = make_case(casebook, new_case_id())
    opened = Opened(
        installation=built, complaint=said, seed=seed, channel=channel, worlds=settings.worlds
    )
    return case, case.handle(opened)


def read_installation(path: Path | None) -> Installation:
    """Read an installation, the empty one where no file is given."""
    return Installation() if path is None else load_installation(path)


def finish(screen: Screen, case: KeptCase, settings: Settings, report: Path | None) -> None:
    """Close a case whose repair holds, and write its report where one is wanted."""
    if case.dialogue.scene.settled and case.dialogue.state is not State.CLOSED:
        case.handle(Close())
    if report is not None:
        from assistant.reports import write_report

        write_report(case.case_file(workshop=settings.workshop), report)
        screen.note(f"Report written to {report}.")
    if case.dialogue.state is State.CLOSED:
        screen.note(f"Case {case.case_id} is closed. Report: probetell report {case.case_id}")
    else:
        screen.note(f"Case {case.case_id} is kept. Go on with: probetell type --resume")


def run_typed(
    settings: Settings,
    *,
    installation: Path | None,
    complaint: str | None,
    resume: bool,
    seed: int,
    report: Path | None,
) -> int:
    """Run a case in the terminal until it is settled, stopped or the input ends."""
    console = Console(highlight=False)
    screen = Screen(console)
    try:
        case, actions = begin_or_resume(
            console,
            settings,
            installation=installation,
            complaint=complaint,
            resume=resume,
            seed=seed,
            channel="typed",
        )
    except EOFError:
        screen.note("The input ended before the case was opened.")
        return 0
    screen.show(actions)
    stopped = False
    while not stopped and not case.dialogue.scene.settled:
        case.dialogue.prepare()
        try:
            text = console.input("> ")
        except (EOFError, KeyboardInterrupt):
            console.print()
            case.handle(Silence())
            break
        if not text.strip():
            continue
        try:
            screen.show(case.handle(Typed(text=text)))
        except ProbetellError as error:
            screen.note(str(error))
        stopped = case.dialogue.state is State.PARKED
    finish(screen, case, settings, report)
    return 0
