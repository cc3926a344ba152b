"""``probetell talk``: a case by voice, with the microphone or from recorded answers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Protocol

from rich.console import Console

from assistant.commands.listening import file_ear, heard_event, open_talk
from assistant.commands.recorded import load_recordings, run_recorded_case
from assistant.commands.screen import Screen
from assistant.commands.typed import begin_or_resume, finish, read_installation
from assistant.commands.workplace import load_complaint, new_case_id, open_casebook
from assistant.conversation.events import (
    AskCaution,
    AskCheck,
    AskConfirm,
    Complain,
    GiveVerdict,
    Park,
    Say,
    Silence,
)
from assistant.conversation.table import State
from assistant.errors import GivenError, ProbetellError

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.casebook.keeping import KeptCase
    from assistant.conversation.events import Action
    from assistant.settings import Settings
    from assistant.speech.events import Heard as SpeechHeard

__all__ = ["Conversation", "run_talk", "talk_through"]

_COMPLAINTS: Final = 2
"""So often in a row it is said aloud that nothing was understood; after that it is only shown."""


class Conversation(Protocol):
    """What a case needs of a microphone and a voice; ``assistant.speech.talk.Talk`` is one."""

    def say(self, text: str, *, slow: bool = False, can_be_cut: bool = True) -> bool:
        """Say a text; tell whether it was said to its end."""
        ...

    def listen(self, grammar: str, *, patience_s: float) -> SpeechHeard | None:
        """Hear what is said, None when nothing is for ``patience_s`` seconds."""
        ...


def _speak(talk: Conversation, actions: tuple[Action, ...], *, complain: bool) -> None:
    """Say what is to be said; cautions are said to their end."""
    for action in actions:
        match action:
            case AskCaution(say=say, slow=slow):
                while not talk.say(say, slow=slow, can_be_cut=False):
                    pass
            case (
                AskCheck(say=say, slow=slow)
                | AskConfirm(say=say, slow=slow)
                | GiveVerdict(say=say, slow=slow)
                | Say(say=say, slow=slow)
            ):
                talk.say(say, slow=slow)
            case Complain(message=message, next_step=next_step) if complain:
                talk.say(f"{message} {next_step}")
            case Park(say=say) if say:
                talk.say(say)
            case _:
                pass


def talk_through(
    case: KeptCase,
    actions: tuple[Action, ...],
    *,
    talk: Conversation,
    screen: Screen,
    patience_s: float,
) -> None:
    """Speak and listen until the repair is known to hold or the case is closed.

    Silence parks the case without a word; a parked case waits for anything that is said.
    """
    puzzled = 0
    while True:
        screen.show(actions)
        puzzled = puzzled + 1 if any(isinstance(a, Complain) for a in actions) else 0
        _speak(talk, actions, complain=puzzled <= _COMPLAINTS)
        scene = case.dialogue.scene
        if scene.settled or scene.state is State.CLOSED:
            return
        case.dialogue.prepare()
        heard = talk.listen(case.dialogue.grammar, patience_s=patience_s)
        if heard is None:
            actions = case.handle(Silence())
            continue
        if heard.kind == "silence":
            actions = ()
            continue
        screen.heard("", heard.text or "(other words)")
        try:
            actions = case.handle(heard_event(heard))
        except ProbetellError as error:
            actions = (Complain(message=error.message, next_step=error.next_step),)


def _recorded(
    settings: Settings,
    console: Console,
    *,
    files: Path,
    installation: Path | None,
    complaint: str | None,
    seed: int,
    report: Path | None,
) -> int:
    if complaint is None:
        raise GivenError(
            "A case from recordings needs its complaint.",
            next_step="Give it as in: --complaint protects:running.",
        )
    file = run_recorded_case(
        read_installation(installation),
        load_complaint(complaint),
        load_recordings(files),
        console,
        seed,
        ear=file_ear(settings),
        casebook=open_casebook(settings),
        case_id=new_case_id(),
        workshop=settings.workshop,
        worlds=settings.worlds,
    )
    if report is not None:
        from assistant.reports import write_report

        write_report(file, report)
        console.print(f"Report written to {report}.", markup=False)
    return 0


def run_talk(
    settings: Settings,
    *,
    installation: Path | None,
    complaint: str | None,
    resume: bool,
    seed: int,
    files: Path | None,
    report: Path | None,
) -> int:
    """Run a case by voice; raise ``GivenError`` where there is no ear or no sound card."""
    console = Console(highlight=False)
    if files is not None:
        return _recorded(
            settings,
            console,
            files=files,
            installation=installation,
            complaint=complaint,
            seed=seed,
            report=report,
        )
    from assistant.speech.ear import open_ear

    screen = Screen(console)
    with open_talk(settings, ear=open_ear(settings), note=screen.note) as talk:
        case, actions = begin_or_resume(
            console,
            settings,
            installation=installation,
            complaint=complaint,
            resume=resume,
            seed=seed,
            channel="voice",
        )
        try:
            talk_through(
                case, actions, talk=talk, screen=screen, patience_s=settings.silence_seconds
            )
        except KeyboardInterrupt:
            if case.dialogue.state not in {State.PARKED, State.CLOSED}:
                case.handle(Silence())
    finish(screen, case, settings, report)
    return 0
