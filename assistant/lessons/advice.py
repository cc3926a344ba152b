"""One or two sentences of advice after a lesson, computed from what happened in it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.lessons.run import percent

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.lessons.review import Review
    from assistant.lessons.run import Run, Told

__all__ = ["advice_for"]

_MOST: Final = 2
_SURE: Final = 0.5
_SLOW: Final = 1.25
_QUICK: Final = 1.05
_POOR: Final = 0.8
_SETTLED: Final = 0.9
_AMPLIFIER: Final = "send_amplifier_in"


def advice_for(review: Review) -> tuple[str, ...]:
    """Give the one or two sentences that matter most; safety comes first."""
    found: list[str] = []
    for sentence in _sentences(review):
        found.append(sentence)
        if len(found) == _MOST:
            break
    return tuple(found)


def _sentences(review: Review) -> Iterator[str]:
    yield from _on_safety(review)
    yield from _on_repairs(review)
    if not review.trainee.right:
        yield _where_it_was(review)
    yield from _on_idle_checks(review)
    if review.trainee.right:
        yield from _on_time(review)


def _on_safety(review: Review) -> Iterator[str]:
    if review.dangers:
        count = len(review.dangers)
        times = {1: "once", 2: "twice"}.get(count, f"{count} times")
        yield (
            f"You went at a circuit that was still on {times}, first at the check "
            f'"{review.dangers[0].check}": switch everything off before ohms and before unplugging.'
        )


def _on_repairs(review: Review) -> Iterator[str]:
    told = review.trainee.told
    vain = [item for item in told if item.turn.kind == "repair" and not item.turn.mended]
    early = [item for item in vain if (item.named or 0.0) < _SURE]
    if review.missed and any(item.turn.id == _AMPLIFIER for item in vain):
        groups = ", ".join(missed.group for missed in review.missed)
        yield (
            f"You blamed the amplifier with {groups} not cleared; clear supply, load and signal "
            "first, because the amplifier is the dearest guess."
        )
    elif early:
        first = early[0]
        yield (
            f"You repaired at minute {first.turn.start:.0f} on a belief of "
            f"{percent(first.named or 0.0)}, and it cost {first.turn.minutes:.0f} minutes: one "
            "more check is cheaper than a repair in vain."
        )


def _on_idle_checks(review: Review) -> Iterator[str]:
    idle = review.told_nothing
    if idle:
        wasted = sum(item.turn.minutes for item in idle)
        worst = max(idle, key=lambda item: item.turn.minutes)
        checks = "1 check" if len(idle) == 1 else f"{len(idle)} checks"
        yield (
            f"{checks} told nothing and cost {wasted:.1f} minutes, the dearest being "
            f'"{worst.turn.name}": ask before each check which answer would change your mind.'
        )


def _on_time(review: Review) -> Iterator[str]:
    trainee, program, ratio = review.trainee, review.program, review.ratio
    if ratio is not None and ratio > _SLOW:
        mine, other = _opening(trainee), _opening(program)
        sure = _sure_from(trainee)
        if mine is not None and other is not None and _rate(mine) < _POOR * _rate(other):
            yield (
                f'Your first check "{mine.turn.name}" told {_rate(mine):.2f} bits a minute, the '
                f'program\'s "{other.turn.name}" {_rate(other):.2f}: begin where a short check '
                "parts the most suspects."
            )
        elif trainee.checks > program.checks and sure is not None:
            yield (
                f"The readings had it at {percent(sure[1])} after minute {sure[0]:.0f} of "
                f"{trainee.minutes:.0f}: stop measuring when a further check costs more than it "
                "can save."
            )
    if ratio is not None and ratio <= _QUICK and not trainee.vain:
        yield "You were as quick as the program on this car: take a harder level or another seed."
    else:
        yield _next_time(review)


def _where_it_was(review: Review) -> str:
    best = _most_moving(review.program)
    if best is None:
        return "Measure something before you give up: the list of checks is grouped by place."
    return (
        f'The check that showed the program most was "{best.turn.name}" at minute '
        f"{best.turn.start:.0f}: it moved the right repair from {percent(best.before)} to "
        f"{percent(best.after)}."
    )


def _next_time(review: Review) -> str:
    best = _most_moving(review.trainee)
    if best is None:
        return "You named the repair without measuring: that was luck, and luck does not last."
    return (
        f'Your best check was "{best.turn.name}": it moved the right repair from '
        f"{percent(best.before)} to {percent(best.after)} in {best.turn.minutes:.1f} minutes."
    )


def _most_moving(run: Run) -> Told | None:
    """Give the check that raised the belief in the right repair most."""
    return max(
        (told for told in run.told if told.turn.kind == "check"),
        key=lambda told: told.after - told.before,
        default=None,
    )


def _opening(run: Run) -> Told | None:
    return next((told for told in run.told if told.turn.kind == "check"), None)


def _rate(told: Told) -> float:
    return told.bits / told.turn.minutes if told.turn.minutes else 0.0


def _sure_from(run: Run) -> tuple[float, float] | None:
    """Give the first minute, and the belief then, from which 90 % stood with checks to come."""
    checks = [told for told in run.told if told.turn.kind == "check"]
    for at, told in enumerate(checks[:-1]):
        if all(later.after >= _SETTLED for later in checks[at:]):
            return told.turn.end, told.after
    return None
