"""How the belief moved, check by check, as inline SVG: one line a repair, named at its end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from markupsafe import Markup

from assistant.reports.page import environment
from assistant.reports.phrases import percent
from assistant.reports.textfit import wrap

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.diagnosis.casefile import CaseFile
    from assistant.diagnosis.records import Step

__all__ = ["Curve", "belief_curves", "belief_svg", "spread_labels"]

_WIDTH: Final = 960.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 56.0, 622.0, 20.0, 340.0
_LABEL_X: Final = 668.0
_LABEL_ROOM: Final = 286.0
_LABEL_LINE: Final = 15.0
_NAMED: Final = 6
_LEAST: Final = 0.08


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Probability of one repair before any answer and after each step, in [0, 1]."""

    repair: str
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drawn:
    rank: int
    points: tuple[tuple[float, float, str], ...]
    path: str
    label_y: float
    lines: tuple[str, ...]
    share: str


def belief_curves(steps: Sequence[Step]) -> tuple[Curve, ...]:
    """Give the curve of every repair, highest at the end first; empty without steps.

    A repair that a belief does not list counts as 0 there.
    """
    if not steps:
        return ()
    beliefs = [dict(steps[0].before.repairs), *(dict(step.after.repairs) for step in steps)]
    repairs = sorted({repair for belief in beliefs for repair in belief})
    curves = [
        Curve(repair=repair, values=tuple(belief.get(repair, 0.0) for belief in beliefs))
        for repair in repairs
    ]
    return tuple(sorted(curves, key=lambda curve: (-curve.values[-1], -max(curve.values))))


def spread_labels(
    wanted: Sequence[float], heights: Sequence[float], low: float, high: float
) -> tuple[float, ...]:
    """Move label middles as little as a simple sweep can so that none overlap.

    ``wanted`` are middles from top to bottom, ``heights`` the labels' heights. Labels are kept
    in order within ``low`` to ``high`` as long as they fit there; else they run over ``high``.
    """
    tops: list[float] = []
    edge = low
    for middle, height in zip(wanted, heights, strict=True):
        top = max(middle - height / 2, edge)
        tops.append(top)
        edge = top + height
    edge = max(high, low + sum(heights))
    for index in range(len(tops) - 1, -1, -1):
        tops[index] = min(tops[index], edge - heights[index])
        edge = tops[index]
    return tuple(top + height / 2 for top, height in zip(tops, heights, strict=True))


def _named(curves: Sequence[Curve], first: str | None) -> tuple[Curve, ...]:
    able = [curve for curve in curves if max(curve.values) >= _LEAST or curve.repair == first]
    able.sort(key=lambda curve: (curve.repair != first, -max(curve.values)))
    chosen = able[:_NAMED]
    return tuple(sorted(chosen, key=lambda curve: (curve.repair != first, -curve.values[-1])))


def belief_svg(case: CaseFile, words: Callable[[str], str]) -> Markup:
    """Draw the plot; empty markup while nothing was told. ``words`` names a repair."""
    curves = belief_curves(case.steps)
    if not curves:
        return Markup()
    last = len(case.steps)
    step = (_RIGHT - _LEFT) / last

    def x_of(index: int) -> float:
        return round(_LEFT + index * step, 1)

    def y_of(value: float) -> float:
        return round(_BOTTOM - min(max(value, 0.0), 1.0) * (_BOTTOM - _TOP), 1)

    def path(curve: Curve) -> str:
        return " ".join(f"{x_of(i):g},{y_of(v):g}" for i, v in enumerate(curve.values))

    named = _named(curves, case.verdict.repair if case.verdict else None)
    by_height = sorted(named, key=lambda curve: (-curve.values[-1], curve.repair))
    lines = {c.repair: wrap(words(c.repair), _LABEL_ROOM, 13, most=2) for c in named}
    heights = [(len(lines[c.repair]) + 1) * _LABEL_LINE + 6 for c in by_height]
    middles = spread_labels(
        [y_of(c.values[-1]) for c in by_height], heights, _TOP - 12, _BOTTOM + 40
    )
    places = dict(zip((c.repair for c in by_height), middles, strict=True))
    drawn = [
        _Drawn(
            rank=rank,
            points=tuple((x_of(i), y_of(v), percent(v)) for i, v in enumerate(curve.values)),
            path=path(curve),
            label_y=round(places[curve.repair], 1),
            lines=lines[curve.repair],
            share=percent(curve.values[-1]),
        )
        for rank, curve in enumerate(named)
    ]
    faint = [path(curve) for curve in curves if curve not in named]
    lowest = max((middle + height / 2 for middle, height in zip(middles, heights, strict=True)))
    template = environment().get_template("belief.svg.j2")
    every = 1 + last // 18
    return Markup(  # noqa: S704 - the template escapes
        template.render(
            width=_WIDTH,
            height=max(_BOTTOM + 56, lowest + 10),
            left=_LEFT,
            right=_RIGHT,
            bottom=_BOTTOM,
            label_x=_LABEL_X,
            label_line=_LABEL_LINE,
            grid=[(y_of(v / 100), f"{v}%") for v in (0, 25, 50, 75, 100)],
            ticks=[(x_of(i), i) for i in range(1, last + 1) if i % every == 0 or i == last],
            drawn=drawn,
            faint=faint,
        )
    )
