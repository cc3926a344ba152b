"""The report of a lesson: well formed, needs nothing else, and carries the lesson's figures."""

from __future__ import annotations

import re
from importlib.resources import files
from itertools import pairwise

import html5lib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree, html

from assistant.errors import GivenError
from assistant.lessons.advice import advice_for
from assistant.lessons.events import AskHint, Pick, RepairNamed
from assistant.lessons.lesson import Lesson
from assistant.lessons.plan import plan_lesson
from assistant.lessons.review import Review, review_of
from assistant.reports.lesson_plot import lesson_svg, ticks_of
from assistant.reports.lesson_report import render_lesson, write_lesson_report
from assistant.reports.phrases import percent, reading_words

WORLDS = 2000


@pytest.fixture(scope="module")
def review() -> Review:
    """Play with a hint, live ohms, slips, and one repair in vain."""
    plan = plan_lesson(3, kind="van_mono", misread=0.2)
    lesson = Lesson(plan, worlds=WORLDS)
    lesson.handle(AskHint())
    for check in ("amp_supply", "load_ohms.sub", "amp_supply_running"):
        lesson.handle(Pick(check=check, go=True))
    for _ in range(12):
        if not any(turn.slip for turn in lesson.turns):
            lesson.handle(Pick(check="amp_supply_running", go=True))
    lesson.handle(RepairNamed(repair="set_gain"))
    lesson.handle(RepairNamed(repair="renew_main_fuse"))
    return review_of(lesson, worlds=WORLDS)


@pytest.fixture(scope="module")
def page(review: Review) -> str:
    return render_lesson(review)


def words_of(page: str) -> str:
    return " ".join(html.fromstring(page).text_content().split())


def test_the_page_is_well_formed_by_the_html_standard(page: str) -> None:
    # html5lib implements the parsing of the HTML standard; strict refuses every parse error.
    html5lib.HTMLParser(strict=True).parse(page)
    assert page.startswith("<!DOCTYPE html>")


def test_the_page_needs_nothing_else(page: str) -> None:
    assert "<script" not in page
    assert not re.search(r"(?:src|href)\s*=|url\(|@import", page)
    assert "default-src 'none'" in page


def test_the_picture_is_well_formed_and_told_in_words(review: Review) -> None:
    root = etree.fromstring(str(lesson_svg(review.trainee, review.program)))
    assert root.get("role") == "img"
    named = root.get("aria-labelledby").split()
    texts = [root.xpath(f"//*[@id='{name}']")[0].text for name in named]
    assert all(texts)
    assert percent(review.trainee.curve[-1][1]) in texts[1]


def test_the_points_stand_where_the_belief_was(review: Review) -> None:
    root = etree.fromstring(str(lesson_svg(review.trainee, review.program)))
    axis = {
        node.text: float(node.get("y")) - 4
        for node in root.iter("text")
        if node.get("text-anchor") == "end"
    }
    zero, full = axis["0%"], axis["100%"]
    circles = [node for node in root.iter("circle") if node.get("class") == "mark"]
    assert len(circles) == len(review.trainee.curve)
    for node, (_, value) in zip(circles, review.trainee.curve, strict=True):
        shown = (zero - float(node.get("cy"))) / (zero - full)
        assert shown == pytest.approx(value, abs=0.002)
    squares = [node for node in root.iter("rect") if node.get("class") == "mark"]
    assert len(squares) == len(review.program.curve)
    across = [float(node.get("cx")) for node in circles]
    assert across == sorted(across)


def test_the_page_carries_the_figures_of_the_lesson(review: Review, page: str) -> None:
    said = words_of(page)
    assert "The main fuse is open" in said
    assert "Found, after one repair in vain" in said
    figures = {row[0].text: [cell.text for cell in row[1:]] for row in
               html.fromstring(page).xpath("//table[@class='figures']//tbody/tr")}  # fmt: skip
    assert figures["Minutes"] == [f"{run.minutes:.1f}" for run in (review.trainee, review.program)]
    assert figures["Checks"] == [str(run.checks) for run in (review.trainee, review.program)]
    assert figures["Repairs in vain"][0] == "1"
    assert figures["Hints asked for"][0] == "1"
    for sentence in advice_for(review):
        assert " ".join(sentence.split()) in said
    for told in (*review.trainee.told, *review.program.told):
        if told.turn.reading is not None:
            assert reading_words(told.turn.reading) in said
            assert f"{told.bits:.2f} bits" in said


def test_both_orders_stand_side_by_side(review: Review, page: str) -> None:
    rows = html.fromstring(page).xpath("//table[@class='minutes']//tbody/tr")
    minutes = [int(row[0].text) for row in rows]
    assert minutes == sorted(set(minutes))
    for column, run in ((1, review.trainee), (2, review.program)):
        names = [
            name.text.removeprefix("Repair: ").lower()
            for row in rows
            for name in row[column].iter("strong")
        ]
        assert names == [told.turn.name.lower() for told in run.told]


def test_what_could_be_better_is_named(review: Review, page: str) -> None:
    said = words_of(page)
    assert review.dangers
    assert review.slips
    assert "Cautions not heeded" in said
    assert "Readings that had slipped" in said
    assert "with the circuit still on" in said


def test_headings_go_down_one_by_one(page: str) -> None:
    # WCAG 2.1, technique H42: headings in order, so that a screen reader can walk through them.
    levels = [int(node.tag[1]) for node in html.fromstring(page).iter("h1", "h2", "h3")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    ids = html.fromstring(page).xpath("//@id")
    assert len(ids) == len(set(ids))
    for label in html.fromstring(page).xpath("//section/@aria-labelledby"):
        assert label in ids


def test_colour_alone_tells_nothing_apart() -> None:
    # WCAG 2.1, success criterion 1.4.1: the two lines differ in dash, width and mark too.
    sheet = files("assistant.reports").joinpath("templates/lesson.css").read_text(encoding="utf-8")
    assert "stroke-dasharray" in sheet.split(".program .course", 1)[1].split("}", 1)[0]
    assert "stroke-dasharray" not in sheet.split(".trainee .course", 1)[1].split("}", 1)[0]


def test_the_same_review_gives_the_same_page(review: Review, page: str) -> None:
    assert render_lesson(review) == page


def test_a_path_that_cannot_be_written_is_said(review: Review) -> None:
    with pytest.raises(GivenError, match="could not be written"):
        write_lesson_report(review, "/nowhere/at/all/lesson.html")


@given(st.floats(0, 5000))
def test_ticks_are_whole_few_and_reach_the_end(minutes: float) -> None:
    ticks = ticks_of(minutes)
    assert ticks[0] == 0
    assert ticks[-1] >= minutes
    assert ticks[-1] > 0
    assert len(ticks) <= 18
    assert len({after - before for before, after in pairwise(ticks)}) == 1
