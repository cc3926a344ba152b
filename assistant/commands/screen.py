"""Shows the actions of a dialogue in the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich.markup import escape
from rich.padding import Padding
from rich.panel import Panel
from rich.table import Table

from assistant.conversation.events import (
    AskCaution,
    AskCheck,
    AskConfirm,
    Complain,
    GiveVerdict,
    Park,
    Say,
    ShowBelief,
)
from assistant.readings.readback import read_back_typed
from assistant.readings.reading import Value

if TYPE_CHECKING:
    from collections.abc import Iterable

    from rich.console import Console

    from assistant.conversation.events import Action
    from assistant.diagnosis.records import Belief, Expectation, Verdict

__all__ = ["Screen", "expectation_words"]

_BARS: Final = 3
_WIDTH: Final = 24
_LIKELY: Final = 0.02


def expectation_words(expect: Expectation) -> str:
    """Put what is expected in a few words, empty where nothing is."""
    if expect.low is not None and expect.high is not None and expect.unit is not None:
        low, high = (
            read_back_typed(Value(value=float(f"{number:.3g}"), unit=expect.unit))
            for number in (expect.low, expect.high)
        )
        return f"expected: {low} to {high}"
    likely = sorted(expect.states, key=lambda item: -item[1])
    named = [f"{name.replace('_', ' ')} {p:.0%}" for name, p in likely if p >= _LIKELY]
    return f"expected: {', '.join(named)}" if named else ""


class Screen:
    """Prints actions on ``console``; ``repairs`` gives each repair in words."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def show(self, actions: Iterable[Action]) -> None:
        """Print each action in its own way; what is only for the store is passed over."""
        for action in actions:
            match action:
                case ShowBelief(belief=belief):
                    self._belief(belief)
                case AskCaution(say=say):
                    self._console.print(
                        Panel(escape(say), title="careful", border_style="yellow", expand=False)
                    )
                case AskCheck(step=step, say=say):
                    minutes = f"about {step.minutes:.1f} min"
                    hint = "  ".join(filter(None, (minutes, expectation_words(step.expect))))
                    self._console.print(
                        Panel(escape(say), title=escape(step.check.name), expand=False)
                    )
                    self._console.print(f"  [dim]{escape(hint)}[/dim]")
                case AskConfirm(say=say) | Say(say=say):
                    self._console.print(f"  {escape(say)}")
                case GiveVerdict(verdict=verdict, say=say):
                    self._verdict(verdict, say)
                case Complain(message=message, next_step=next_step):
                    self._console.print(f"  [red]{escape(message)}[/red] {escape(next_step)}")
                case Park(say=say) if say:
                    self._console.print(f"  {escape(say)}")
                case _:
                    pass

    def note(self, text: str) -> None:
        """Print a line of the program itself."""
        self._console.print(f"[dim]{escape(text)}[/dim]")

    def heard(self, source: str, text: str) -> None:
        """Print what was heard, and where it came from."""
        self._console.print(f"[cyan]> {escape(text)}[/cyan]  [dim]{escape(source)}[/dim]")

    def _belief(self, belief: Belief) -> None:
        table = Table.grid(padding=(0, 1))
        for repair, probability in belief.repairs[:_BARS]:
            filled = round(_WIDTH * probability)
            bar = "█" * filled + "·" * (_WIDTH - filled)
            table.add_row(f"{probability:4.0%}", f"[green]{bar}[/green]", escape(repair))
        self._console.print(Padding(table, (0, 0, 0, 2)))

    def _verdict(self, verdict: Verdict, say: str) -> None:
        self._console.print(Panel(escape(say), title="verdict", border_style="green", expand=False))
        for line in verdict.evidence:
            self._console.print(f"  - {escape(line)}")
        if verdict.reply:
            self._console.print(
                Panel(escape(verdict.reply), title="reply to the customer", expand=False)
            )
