"""The belief in the right repair over the minutes of a lesson, for trainee and program, as SVG."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from assistant.reports.page import environment
from assistant.reports.phrases import percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.lessons.run import Run

__all__ = ["lesson_svg", "ticks_of"]

_WIDTH: Final = 960.0
_HEIGHT: Final = 400.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 60.0, 830.0, 24.0, 340.0
_STEPS: Final = (1, 2, 5, 10, 20, 30, 60, 120, 300)
_MOST_TICKS: Final = 12
_LABEL: Final = 18.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    name: str
    style: str
    path: str
    dots: tuple[tuple[float, float, str], ...]
    share: str
    label_y: float
    end: tuple[float, float]


def ticks_of(minutes: float) -> tuple[int, ...]:
    """Give whole minutes from 0 to at least ``minutes``, at most twelve steps of them."""
    step = next((s for s in _STEPS if minutes / s <= _MOST_TICKS), _STEPS[-1])
    last = max(1, math.ceil(minutes / step))
    return tuple(step * at for at in range(last + 1))


def _path(points: Sequence[tuple[float, float]]) -> str:
    """Draw what is believed until the next answer as a level, then the step to it."""
    words = [f"M{points[0][0]:g} {points[0][1]:g}"]
    for x, y in points[1:]:
        words += [f"H{x:g}", f"V{y:g}"]
    return " ".join(words)


def lesson_svg(trainee: Run, program: Run) -> Markup:
    """Draw both curves; each is also told in words, and each point has its own title."""
    ticks = ticks_of(max(trainee.minutes, program.minutes))

    def place(minute: float, value: float) -> tuple[float, float]:
        x = _LEFT + (_RIGHT - _LEFT) * minute / ticks[-1]
        y = _BOTTOM - (_BOTTOM - _TOP) * min(max(value, 0.0), 1.0)
        return round(x, 1), round(y, 1)

    lines = []
    for name, style, run in (("you", "trainee", trainee), ("program", "program", program)):
        points = [place(minute, value) for minute, value in run.curve]
        dots = tuple(
            (x, y, f"{name}, minute {minute:.1f}: {percent(value)}")
            for (x, y), (minute, value) in zip(points, run.curve, strict=True)
        )
        lines.append(
            _Line(
                name=name,
                style=style,
                path=_path(points),
                dots=dots,
                share=percent(run.curve[-1][1]),
                label_y=points[-1][1],
                end=points[-1],
            )
        )
    return Markup(  # noqa: S704 - the template escapes
        environment()
        .get_template("lesson.svg.j2")
        .render(
            width=_WIDTH,
            height=_HEIGHT,
            left=_LEFT,
            right=_RIGHT,
            bottom=_BOTTOM,
            grid=[(place(0, v / 100)[1], f"{v}%") for v in (0, 25, 50, 75, 100)],
            ticks=[(place(tick, 0)[0], tick) for tick in ticks],
            lines=lines,
            labels=_labels(lines),
        )
    )


def _labels(lines: Sequence[_Line]) -> list[float]:
    """Keep the two names apart, each as near to the end of its line as can be."""
    first, second = (line.label_y for line in lines)
    gap = 2 * _LABEL - abs(first - second)
    if gap > 0:
        down = gap / 2
        first, second = (
            (first + down, second - down) if first >= second else (first - down, second + down)
        )
    low = min(first, second)
    shift = max(0.0, _TOP - low) - max(0.0, max(first, second) - _BOTTOM)
    return [round(first + shift, 1), round(second + shift, 1)]
