"""The plot of the belief: right heights, labels apart, same data as the steps."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from assistant.diagnosis.records import Belief
from assistant.reports.belief_plot import belief_curves, belief_svg, spread_labels
from assistant.reports.textfit import text_width

if TYPE_CHECKING:
    from assistant.diagnosis.casefile import CaseFile


def drawing(case: CaseFile) -> etree._Element:
    return etree.fromstring(str(belief_svg(case, lambda repair: f"do {repair}")))


def points(element: etree._Element) -> list[tuple[float, float]]:
    return [
        (float(x), float(y))
        for x, y in (pair.split(",") for pair in (element.get("points") or "").split())
    ]


def test_curves_hold_the_belief_before_and_after_each_step(sample_case: CaseFile) -> None:
    curves = belief_curves(sample_case.steps)
    assert curves[0].repair == "tighten_main_fuse"
    for curve in curves:
        assert len(curve.values) == len(sample_case.steps) + 1
        assert curve.values[0] == dict(sample_case.steps[0].before.repairs)[curve.repair]
        for step, value in zip(sample_case.steps, curve.values[1:], strict=True):
            assert value == dict(step.after.repairs)[curve.repair]


def test_heights_are_on_the_scale_of_the_grid(sample_case: CaseFile) -> None:
    tree = drawing(sample_case)
    grid = {}
    for line, text in zip(tree.iterfind(".//line[@class='grid']"), tree.iter("text"), strict=False):
        grid[text.text] = float(line.get("y1") or "nan")
    zero, whole = grid["0%"], grid["100%"]
    leader = tree.find(".//g[@class='rank-0']/polyline[@class='curve']")
    assert leader is not None
    heights = [(zero - y) / (zero - whole) for _, y in points(leader)]
    wanted = belief_curves(sample_case.steps)[0].values
    assert heights == pytest.approx(list(wanted), abs=0.001)
    steps = [x for x, _ in points(leader)]
    gaps = {round(b - a, 0) for a, b in itertools.pairwise(steps)}
    assert len(gaps) <= 2


def test_verdicts_repair_is_drawn_first_and_named(sample_case: CaseFile) -> None:
    assert sample_case.verdict is not None
    verdict = replace(sample_case.verdict, repair="renew_power_connections")
    tree = drawing(replace(sample_case, verdict=verdict))
    first = tree.find(".//g[@class='rank-0']")
    assert first is not None
    assert "do renew_power_connections" in "".join(first.itertext())
    assert "2%" in "".join(first.itertext())


def test_many_repairs_leave_six_named_and_the_rest_faint(sample_case: CaseFile) -> None:
    crowd = Belief(repairs=tuple((f"repair_{i:02}", 0.09) for i in range(11)), faults=())
    steps = tuple(replace(step, before=crowd, after=crowd) for step in sample_case.steps)
    tree = drawing(replace(sample_case, steps=steps, verdict=None))
    assert len(tree.findall(".//text[@class='share']")) == 6
    assert len(tree.findall(".//polyline[@class='curve faint']")) == 5


def test_labels_stay_inside_and_apart(sample_case: CaseFile) -> None:
    tree = drawing(sample_case)
    _, _, width, height = (float(part) for part in (tree.get("viewBox") or "").split())
    rows: list[float] = []
    for name in ("share", "curve-name"):
        for text in tree.iterfind(f".//text[@class='{name}']"):
            x, y = float(text.get("x") or "nan"), float(text.get("y") or "nan")
            assert x + text_width(text.text or "", 13) <= width
            assert 10 <= y <= height
            rows.append(y)
    rows.sort()
    assert min(b - a for a, b in itertools.pairwise(rows)) >= 14


def test_no_steps_no_plot(sample_case: CaseFile) -> None:
    assert str(belief_svg(replace(sample_case, steps=()), str)) == ""


def test_long_cases_thin_out_the_numbers(sample_case: CaseFile) -> None:
    tree = drawing(replace(sample_case, steps=sample_case.steps * 10))
    numbers = [int(t.text or "0") for t in tree.iterfind(".//text[@class='number-text']")]
    assert numbers[-1] == 90
    xs = [float(c.get("cx") or "nan") for c in tree.iterfind(".//circle[@class='number']")]
    assert min(b - a for a, b in itertools.pairwise(xs)) > 19


@given(
    labels=st.lists(st.tuples(st.floats(0, 300), st.floats(10, 50)), min_size=1, max_size=8).map(
        sorted
    )
)
def test_spread_labels_never_overlap_and_keep_their_order(
    labels: list[tuple[float, float]],
) -> None:
    wanted, heights = zip(*labels, strict=True)
    middles = spread_labels(wanted, heights, 0.0, 400.0)
    tops = [m - h / 2 for m, h in zip(middles, heights, strict=True)]
    ends = [m + h / 2 for m, h in zip(middles, heights, strict=True)]
    assert all(end <= top + 1e-6 for end, top in zip(ends, tops[1:], strict=False))
    assert tops[0] >= -1e-6
    assert ends[-1] <= max(400.0, sum(heights)) + 1e-6


def test_labels_with_room_stay_where_they_point() -> None:
    assert spread_labels((50.0, 120.0), (20.0, 20.0), 0.0, 200.0) == (50.0, 120.0)
