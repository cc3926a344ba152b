"""Shows a lesson in the terminal: the car's answers, and the review after it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.markup import escape
from rich.panel import Panel
from rich.table import Table

from assistant.commands.practice_review import show_review
from assistant.diagnosis.records import NextCheck
from assistant.lessons.checks import GROUPS
from assistant.lessons.events import (
    Answered,
    Cautioned,
    GivenUp,
    Hinted,
    Listed,
    Noted,
    RepairDone,
    RepairsListed,
    SwitchedOff,
)
from assistant.lessons.plan import KIND_WORDS
from assistant.lessons.typed import COMMANDS
from assistant.readings.readback import read_back_typed
from assistant.reports.lesson_words import installation_lines
from assistant.reports.phrases import complaint_words, percent

if TYPE_CHECKING:
    from rich.console import Console

    from assistant.lessons.events import Action
    from assistant.lessons.lesson import Lesson
    from assistant.lessons.review import Review

__all__ = ["LessonScreen"]

_MANY = 30
_TYPED = (
    "Type a check by number or words (amp supply running), list PLACE, hint, repair WORDS, "
    "give up, or help. Switching off before ohms and before unplugging is yours: off."
)
_SPOKEN = (
    "Say a check (supply voltage at the amplifier), or a place to hear its checks (the main fuse, "
    "ohms at the front left) and then a number; do it when it is read back; help for the rest. "
    "Switching off before ohms and before unplugging is yours: everything off."
)


class LessonScreen:
    """Prints what the lesson answers on ``console``; nothing of it needs colour to be read.

    ``voice`` tells that the trainee speaks and does not type.
    """

    def __init__(self, console: Console, lesson: Lesson, *, voice: bool = False) -> None:
        self._console = console
        self._lesson = lesson
        self._asked = ""
        self._voice = voice

    def briefing(self) -> None:
        """Print what the customer says, what is known of the car, and how to go on."""
        lesson, plan = self._lesson, self._lesson.plan
        said = escape(complaint_words(lesson.complaint))
        self._console.print(Panel(said, title="the customer says", expand=False))
        self._console.print(f"  It is {KIND_WORDS[plan.kind]}. As told:")
        table = Table.grid(padding=(0, 2))
        for name, words in installation_lines(lesson.installation):
            table.add_row(f"  [dim]{name}[/dim]", escape(words))
        self._console.print(table)
        counts = ", ".join(f"{g} {len(lesson.checks.of_group(g))}" for g in GROUPS)
        self._console.print(f"  Checks: {counts}.")
        if plan.misread:
            self._console.print(f"  Readings may slip: a chance of {percent(plan.misread)} each.")
        self.note(_SPOKEN if self._voice else _TYPED)

    def left(self) -> None:
        """Print how the same car comes back."""
        self.note(f"Left before the end. The same car again: {self._lesson.plan.command()}")

    def heard(self, source: str, text: str) -> None:
        """Print what was heard, and where it came from."""
        self._console.print(f"[cyan]> {escape(text)}[/cyan]  [dim]{escape(source)}[/dim]")

    def said(self, text: str) -> None:
        """Print what is said aloud."""
        if text:
            self._console.print(f"  {escape(text)}")

    def help(self) -> None:
        """Print what can be typed."""
        table = Table.grid(padding=(0, 2))
        for word, words in COMMANDS:
            table.add_row(f"  [bold]{escape(word)}[/bold]", escape(words))
        self._console.print(table)

    def note(self, text: str) -> None:
        """Print a line of the program itself."""
        self._console.print(f"[dim]{escape(text)}[/dim]")

    def refused(self, message: str, next_step: str) -> None:
        """Print why something cannot be done."""
        self._console.print(f"  [red]{escape(message)}[/red] {escape(next_step)}")

    def show(self, action: Action) -> None:
        """Print one action of the lesson."""
        match action:
            case Cautioned():
                self._caution(action)
            case Answered():
                self._reading(action)
            case SwitchedOff(minutes=minutes, total=total):
                was = "Everything was off already." if not minutes else "Everything is off."
                self._console.print(f"  {was} [dim]{total:.1f} min so far[/dim]")
            case Hinted():
                self._hint(action)
            case Noted():
                self._notes(action)
            case Listed() | RepairsListed():
                self._list(action)
            case RepairDone():
                self._repair(action)
            case GivenUp(total=total):
                self._console.print(f"  Given up after {total:.1f} min.")

    def _caution(self, action: Cautioned) -> None:
        self._asked = action.entry.check.id
        lines = "\n".join(f"- {caution.text}" for caution in action.cautions)
        title = f"{action.entry.number}  {action.entry.check.name}"
        self._console.print(Panel(escape(action.entry.check.typed), title=title, expand=False))
        self._console.print(
            Panel(escape(lines), title="careful", border_style="yellow", expand=False)
        )
        go = "do it" if self._voice else "go"
        self._console.print(f"  [dim]about {action.minutes:.1f} min. When it is safe: {go}[/dim]")

    def _reading(self, action: Answered) -> None:
        turn, check = action.turn, action.entry.check
        shown = "" if turn.reading is None else read_back_typed(turn.reading)
        if self._asked != check.id:
            self._console.print(f"  {action.entry.number}  {escape(check.name)}")
            self._console.print(f"  [dim]{escape(check.typed)}[/dim]")
        self._asked = ""
        self._console.print(
            f"  [bold]{escape(shown)}[/bold]   "
            f"[dim]{turn.minutes:.1f} min, {action.total:.1f} min so far[/dim]"
        )
        if action.cautions:
            short = ", ".join(caution.short for caution in action.cautions)
            self._console.print(f"  [dim]careful: {escape(short)}[/dim]")
        if action.danger is not None:
            self._console.print(
                f"  [red]You went at it with the circuit still on.[/red] "
                f"{escape(action.danger.text)}"
            )

    def _hint(self, action: Hinted) -> None:
        step, lesson = action.step, self._lesson
        likely = ", ".join(
            f"{lesson.faults[name].words} ({percent(p)})" for name, p in action.likely[:2]
        )
        if isinstance(step, NextCheck):
            entry = lesson.checks.by_id(step.check.id)
            number = "" if entry is None else f"{entry.number}  "
            words = (
                f"{step.bits:.2f} bits about the repair in {action.minutes:.1f} minutes. "
                f"Most likely now: {likely}."
            )
            lines = [f"{number}{step.check.name}", *step.notes, words]
        else:
            lines = [
                f"Repair: {lesson.repairs[step.repair].words}",
                f"{percent(step.probability)} sure: a further check would cost more than it saves.",
                *step.evidence,
            ]
        self._console.print(Panel(escape("\n".join(lines)), title="hint", expand=False))

    def _notes(self, action: Noted) -> None:
        if not action.turns:
            self._console.print("  Nothing was measured yet.")
            return
        table = Table.grid(padding=(0, 2))
        for turn in action.turns:
            shown = "" if turn.reading is None else read_back_typed(turn.reading)
            if turn.kind == "repair":
                shown = "it did not end the trouble"
            table.add_row(f"  {turn.start:5.1f}", escape(turn.name), escape(shown))
        self._console.print(table)
        self._console.print(f"  [dim]{action.total:.1f} min so far[/dim]")

    def _list(self, action: Listed | RepairsListed) -> None:
        if action.asked:
            self._console.print(f"  {escape(action.asked)!r} may be:")
        table = Table.grid(padding=(0, 2))
        if isinstance(action, RepairsListed):
            for number, repair in action.repairs:
                table.add_row(f"  {number:3}", escape(repair.words), f"{repair.minutes:.0f} min")
        else:
            whole = len(action.entries) > _MANY and not action.asked
            group = ""
            for entry in action.entries:
                if entry.group != group and not action.asked:
                    group = entry.group
                    table.add_row("", f"[bold]{group}[/bold]")
                table.add_row(f"  {entry.number:3}", escape(entry.check.name))
            if whole:
                self.note("All of them; one place at a time is shorter: list battery.")
        self._console.print(table)
        if action.asked:
            what = "repair NUMBER" if isinstance(action, RepairsListed) else "its number"
            self.note(f"Choose one by: {what}.")

    def _repair(self, action: RepairDone) -> None:
        self._console.print(f"  {escape(action.repair.words)}")
        if action.ended:
            self._console.print("  [green]The trouble is gone.[/green]")
            return
        helped = "Something was put right, but not all." if action.turn.mended else "No help."
        said = "" if action.complaint is None else complaint_words(action.complaint)
        self._console.print(
            f"  [red]{helped}[/red] The customer says: {escape(said)} "
            f"[dim]{action.turn.minutes:.0f} min, {action.total:.1f} min so far[/dim]"
        )

    def review(self, review: Review) -> None:
        """Print the review."""
        show_review(self._console, review)
