"""The report of one lesson as one HTML file that needs nothing else."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant.errors import GivenError
from assistant.lessons.advice import advice_for
from assistant.lessons.plan import KIND_WORDS
from assistant.reports.lesson_plot import lesson_svg
from assistant.reports.lesson_words import installation_lines, rows_of, slip_words
from assistant.reports.page import clean, environment
from assistant.reports.phrases import complaint_words, percent

if TYPE_CHECKING:
    from assistant.lessons.review import Review

__all__ = ["figures_of", "outcome_words", "render_lesson", "write_lesson_report"]


def outcome_words(review: Review) -> str:
    """Say in a few words how the lesson ended."""
    if not review.right:
        return "Given up. It was:"
    if review.trainee.vain:
        times = "one repair" if review.trainee.vain == 1 else f"{review.trainee.vain} repairs"
        return f"Found, after {times} in vain"
    return "Found at the first repair" if len(review.faults) == 1 else "Found, and nothing in vain"


def figures_of(review: Review) -> tuple[tuple[str, str, str], ...]:
    """Give the figures of both as (name, trainee's, program's)."""
    pairs = (review.trainee, review.program)
    mine, other = pairs

    def both(name: str, first: object, second: object) -> tuple[str, str, str]:
        return name, str(first), str(second)

    bits = [sum(told.bits for told in run.told) for run in pairs]
    return (
        both("Minutes", f"{mine.minutes:.1f}", f"{other.minutes:.1f}"),
        both("Checks", mine.checks, other.checks),
        both("Repairs in vain", mine.vain, other.vain),
        both("Found it", "yes" if mine.right else "no", "yes" if other.right else "no"),
        both("Bits that the checks were worth", f"{bits[0]:.2f}", f"{bits[1]:.2f}"),
        both("Belief in the right repair at the end",
             percent(mine.curve[-1][1]), percent(other.curve[-1][1])),
        both("Hints asked for", mine.hints, "–"),
    )  # fmt: skip


def render_lesson(review: Review) -> str:
    """Render a lesson as one HTML page: no script, no network, the same text for the same one.

    It holds the fault, the advice, the figures of both, the course of the belief, both orders
    minute by minute, and what could be better.
    """
    lesson = review.lesson
    return (
        environment()
        .get_template("lesson.html.j2")
        .render(
            plan=review.plan,
            kind=KIND_WORDS[review.plan.kind],
            slip_chance=percent(review.plan.misread),
            complaint=complaint_words(lesson.complaint),
            installation=installation_lines(lesson.installation),
            right=review.right,
            outcome=outcome_words(review),
            faults=[words[:1].upper() + words[1:] for words in review.fault_words],
            repairs=review.repairs,
            advice=advice_for(review),
            figures=figures_of(review),
            plot=lesson_svg(review.trainee, review.program),
            rows=rows_of(review.trainee, review.program),
            dangers=review.dangers,
            idle=review.told_nothing,
            missed=review.missed,
            slips=[(told.turn.name, slip_words(told.turn.slip)) for told in review.slips],
        )
        .lstrip()
    )


def write_lesson_report(review: Review, path: Path | str) -> None:
    """Write the report to ``path`` as UTF-8; raise ``GivenError`` when it can't be."""
    target = Path(path)
    try:
        target.write_text(render_lesson(review), encoding="utf-8", newline="\n")
    except OSError as failure:
        raise GivenError(
            f"The report could not be written to {clean(str(target))}: {failure.strerror}.",
            next_step="Give a path in a folder that exists and that you may write to.",
        ) from failure
