"""Prints the review of a lesson: outcome, advice, figures, both orders minute by minute."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group
from rich.markup import escape
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from assistant.lessons.advice import advice_for
from assistant.reports.lesson_report import figures_of, outcome_words
from assistant.reports.lesson_words import rows_of, slip_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from assistant.lessons.review import Review
    from assistant.reports.lesson_words import Moment

__all__ = ["show_review"]


def _cell(moments: Sequence[Moment]) -> Group:
    lines: list[Text] = []
    for moment in moments:
        lines.append(Text(moment.name))
        told = ", ".join(part for part in (moment.told, moment.belief) if part)
        second = "  ".join(part for part in (moment.reading, told) if part)
        if second:
            lines.append(Text(f"  {second}", style="bold" if moment.reading else ""))
        lines += [Text(f"  {note}", style="yellow") for note in moment.notes]
    return Group(*lines)


def show_review(console: Console, review: Review) -> None:
    """Print everything that the report holds, but the picture."""
    border = "green" if review.right else "red"
    faults = "\n".join(f"{words[:1].upper()}{words[1:]}." for words in review.fault_words)
    console.print(
        Panel(escape(faults), title=outcome_words(review), border_style=border, expand=False)
    )
    for sentence in advice_for(review):
        console.print(f"  * {escape(sentence)}")
    figures = Table(box=None, padding=(0, 2))
    for name in ("", "you", "program"):
        figures.add_column(name, justify="left" if not name else "right")
    for name, mine, other in figures_of(review):
        figures.add_row(f"  {name}", mine, other)
    console.print(figures)
    table = Table(title="minute by minute, belief in the right repair", padding=(0, 1))
    table.add_column("min", justify="right")
    table.add_column("you", ratio=1)
    table.add_column("program", ratio=1)
    for row in rows_of(review.trainee, review.program):
        table.add_row(str(row.minute), _cell(row.trainee), _cell(row.program), end_section=True)
    console.print(table)
    _lists(console, review)


def _lists(console: Console, review: Review) -> None:
    for danger in review.dangers:
        console.print(
            f"  [yellow]Caution not heeded[/yellow] at minute {danger.minute:.1f}, "
            f"{escape(danger.check)}: {escape(danger.caution)}"
        )
    for told in review.told_nothing:
        console.print(
            f"  Told nothing: {escape(told.turn.name)} ({told.bits:.2f} bits for "
            f"{told.turn.minutes:.1f} min)."
        )
    for missed in review.missed:
        console.print(
            f"  Not cleared: {missed.group}; for instance by {escape(missed.check)} "
            f"({missed.minutes:.1f} min)."
        )
    for told in review.slips:
        console.print(f"  A slip: {escape(told.turn.name)}, {slip_words(told.turn.slip)}.")
