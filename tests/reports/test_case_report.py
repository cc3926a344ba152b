"""The page as a whole: well formed, complete, self-contained, safe with hostile text."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import html5lib
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree

from assistant.errors import GivenError
from assistant.knowledge import load
from assistant.knowledge.schema import Installation
from assistant.reports import render_case, write_report
from assistant.reports.page import clean
from assistant.reports.phrases import reading_words

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from xml.etree.ElementTree import Element

    from assistant.diagnosis.casefile import CaseFile

HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</pre></style></title><svg onload=alert(1)>",
    "{{ 7 * 7 }}{% include 'report.css' %}",
    "&lt;b&gt; & ' \" `",
    "\x00\x1b[2J\u202egnp.exe\ud800\ufffe",
    "]]><!--",
)


def parse(page: str) -> Element:
    """Parse strictly by the WHATWG algorithm (html5lib): any parse error raises."""
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    tree: Element = parser.parse(page)
    return tree


def elements(tree: Element) -> Iterator[Element]:
    return (element for element in tree.iter() if isinstance(element.tag, str))


def words_of(element: Element) -> str:
    return " ".join("".join(element.itertext()).split())


def tag_names(tree: Element) -> set[str]:
    return {element.tag for element in elements(tree)}


def section(tree: Element, name: str) -> Element:
    return next(e for e in elements(tree) if e.get("aria-labelledby") == name)


def test_page_is_well_formed_html(sample_case: CaseFile, crowded_case: CaseFile) -> None:
    for case in (sample_case, crowded_case, replace(sample_case, verdict=None, steps=())):
        assert parse(render_case(case)) is not None


def test_drawings_are_well_formed_xml(sample_case: CaseFile) -> None:
    drawings = re.findall(r"<svg.*?</svg>", render_case(sample_case), flags=re.DOTALL)
    assert sum('class="drawing' in drawing for drawing in drawings) == 2
    for drawing in drawings:
        assert etree.fromstring(drawing).tag == "svg"


def test_verdict_stands_before_all_else(sample_case: CaseFile) -> None:
    page = words_of(parse(render_case(sample_case)))
    repair = load().repairs(sample_case.installation)["tighten_main_fuse"].words
    order = [
        page.index("Repair first"),
        page.index(repair, page.index("Repair first")),
        page.index("96% sure"),
        page.index("It would be surer after"),
        page.index("Reply for the customer"),
        page.index("Order of repairs"),
        page.index("Evidence"),
        page.index("Wiring and what was measured"),
        page.index("How the belief moved"),
        page.index("Every check"),
        page.index("Cautions that applied"),
        page.index("Where your part of the job stops"),
    ]
    assert order == sorted(order)


def test_every_reading_stands_in_table_and_list(
    sample_case: CaseFile, crowded_case: CaseFile
) -> None:
    for case in (sample_case, crowded_case):
        tree = parse(render_case(case))
        rows = [words_of(row) for row in section(tree, "checks").iter("tr")][1:]
        listed = [words_of(item) for item in section(tree, "wiring").iter("li")]
        assert len(rows) == len(case.steps)
        for number, (step, row) in enumerate(zip(case.steps, rows, strict=True), start=1):
            assert row.startswith(str(number))
            if step.reading is None:
                continue
            assert reading_words(step.reading) in row
            entry = next(item for item in listed if item.startswith(f"{number} "))
            assert entry.startswith(f"{number} {reading_words(step.reading)}")


def test_row_tells_state_setup_expectation_and_minutes(sample_case: CaseFile) -> None:
    tree = parse(render_case(sample_case))
    rows = [words_of(row) for row in section(tree, "checks").iter("tr")][1:]
    assert "engine off; all speakers unplugged" in rows[4]
    assert "open line (93%), or 0.2 to 30 Ω" in rows[4]
    assert "outside what was expected" in rows[2]
    assert "outside what was expected" not in rows[1]
    assert "2 min" in rows[2]
    assert "could not be done: the customer is not here" in rows[7]
    assert "Work in all: 18 min" in words_of(section(tree, "checks"))


def test_cautions_of_the_checks_are_told(sample_case: CaseFile) -> None:
    told = words_of(section(parse(render_case(sample_case)), "cautions"))
    cautions = load().cautions
    met = {c for step in sample_case.steps if step.check for c in step.check.cautions}
    assert met
    for caution in {"procedures_first", *met}:
        assert " ".join(cautions[caution].text.split()) in told
    assert cautions["cranking"].text not in told


def test_where_the_users_job_stops(sample_case: CaseFile) -> None:
    verdict = sample_case.verdict
    assert verdict is not None
    charging = replace(verdict, repair="mend_regulator", faults=(("supply.charging_high", 0.9),))
    tree = parse(render_case(replace(sample_case, verdict=charging)))
    beyond = load().repairs(sample_case.installation)["mend_regulator"].beyond_user
    assert beyond
    assert beyond in words_of(section(tree, "verdict"))
    always = words_of(section(parse(render_case(sample_case)), "limits"))
    assert "vehicle maker's procedure and local rules come first" in always


def test_open_and_early_closed_cases_say_so(sample_case: CaseFile) -> None:
    still_open = words_of(parse(render_case(replace(sample_case, verdict=None))))
    assert "No verdict yet" in still_open
    assert "Repair first" not in still_open
    assert "suspect, " not in still_open
    assert sample_case.verdict is not None
    early = replace(sample_case.verdict, holds=False, probability=0.41)
    closed = words_of(parse(render_case(replace(sample_case, verdict=early))))
    assert "Closed early" in closed
    assert "41% sure: the best bet, but open" in closed


def test_repair_that_helped_is_told_as_confirmed(sample_case: CaseFile) -> None:
    verdict = sample_case.verdict
    assert verdict is not None
    done = replace(
        sample_case.steps[-1],
        kind="repaired",
        check=None,
        reading=None,
        repair=verdict.repair,
        note="it helped",
        expected=None,
    )
    steps = (*sample_case.steps, done)
    certain = replace(verdict, probability=1.0)
    page = words_of(parse(render_case(replace(sample_case, steps=steps, verdict=certain))))
    assert "Found, and confirmed by the repair" in page
    assert "Repair first" not in page
    assert "Repair done: Clean and tighten" in page
    tried = words_of(parse(render_case(replace(sample_case, steps=steps))))
    assert "confirmed by the repair" not in tried


def test_faults_of_the_verdicts_repair_come_first(sample_case: CaseFile) -> None:
    verdict = sample_case.verdict
    assert verdict is not None
    faults = (("amp.internal", 0.4), ("supply.main_fuse_loose", 0.3), ("remote.low", 0.02))
    told = words_of(
        section(
            parse(render_case(replace(sample_case, verdict=replace(verdict, faults=faults)))),
            "verdict",
        )
    )
    known = load().faults(sample_case.installation)
    assert f"Most likely behind it: {known['supply.main_fuse_loose'].words} (30%)." in told
    assert f"Also suspected: {known['amp.internal'].words} (40%)." in told
    assert known["remote.low"].words not in told


def test_bare_installation_is_enough(sample_case: CaseFile) -> None:
    bare = replace(sample_case, installation=Installation(), steps=(), opened=None, workshop="")
    page = words_of(parse(render_case(bare)))
    assert "gauge not given" in page
    assert "No check was done." in page
    assert "How the belief moved" not in page


def test_unknown_names_are_spelt_out(sample_case: CaseFile) -> None:
    verdict = sample_case.verdict
    assert verdict is not None
    other = replace(verdict, repair="oil_the_hinges", faults=(("door.hinge_dry", 0.9),), order=())
    page = words_of(parse(render_case(replace(sample_case, verdict=other))))
    assert "Oil the hinges" in page
    assert "Door, hinge dry (90%)" in page


def test_page_needs_nothing_else(sample_case: CaseFile, crowded_case: CaseFile) -> None:
    for case in (sample_case, crowded_case):
        page = render_case(case)
        tree = parse(page)
        assert not tag_names(tree) & {"script", "link", "img", "iframe", "object", "a", "form"}
        for element in elements(tree):
            assert not {"src", "href", "srcset", "data", "action", "style"} & set(element.keys())
        assert not re.search(r"https?:|//[a-z]|url\(|@import", page)
        assert "default-src 'none'" in page


def test_same_case_gives_the_same_page(sample_case: CaseFile) -> None:
    assert render_case(sample_case) == render_case(sample_case)
    assert sample_case.verdict is not None
    other = replace(sample_case.verdict, reply="Hello")
    assert render_case(replace(sample_case, verdict=other)) != render_case(sample_case)


hostile_text = st.one_of(
    st.sampled_from(HOSTILE),
    st.text(st.characters(codec=None), max_size=60),
    st.tuples(st.sampled_from(HOSTILE), st.text(max_size=20)).map("".join),
)


def poisoned(case: CaseFile, text: str) -> CaseFile:
    """Put ``text`` wherever text from outside can stand."""
    verdict = case.verdict
    assert verdict is not None
    # The installation's model refuses lone surrogates before any report is made.
    kept = text
    text = kept.encode("utf-8", "replace").decode()
    raw = case.installation.model_dump(by_alias=True, exclude_none=True)
    raw["source"] = {"kind": text, text or "k": 1}
    raw["supply"]["main_fuse"]["kind"] = text
    raw["supply"]["battery"] = text
    raw["vehicle"]["charging"] = text
    raw["amplifier"]["class"] = text
    raw["speakers"]["sub"]["origin"] = text
    text = kept
    steps = tuple(
        replace(
            step,
            note=text,
            check=step.check
            and step.check.model_copy(update={"name": text, "cautions": (text, "airbag")}),
        )
        for step in case.steps
    )
    told = replace(steps[0], kind="repaired", check=None, reading=None, repair=text)
    return replace(
        case,
        case_id=text,
        workshop=text,
        opened=text,
        installation=Installation.model_validate(raw),
        steps=(*steps, told),
        verdict=replace(
            verdict,
            repair=text,
            faults=((text, 0.9), ("speaker." + text, 0.5)),
            evidence=(text,),
            reply=text,
            surer=text or "more",
        ),
    )


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(text=hostile_text)
def test_hostile_text_stays_text(sample_case: CaseFile, text: str) -> None:
    page = render_case(poisoned(sample_case, text))
    page.encode("utf-8")
    tree = parse(page)
    harmless = parse(render_case(poisoned(sample_case, "harmless")))
    assert tag_names(tree) <= tag_names(harmless)
    for element in elements(tree):
        assert not [name for name in element.keys() if name.startswith("on")]  # noqa: SIM118
    reply = next((e for e in tree.iter("pre")), None)
    if text:
        assert reply is not None
        # A parser drops one newline right after <pre> (WHATWG HTML, "in body" insertion mode).
        assert reply.text in {clean(text), clean(text).removeprefix("\n") or None}


@pytest.mark.parametrize("text", HOSTILE)
def test_each_known_attack(sample_case: CaseFile, text: str) -> None:
    tree = parse(render_case(poisoned(sample_case, text)))
    assert not tag_names(tree) & {"script", "img"}
    assert "49" not in words_of(section(tree, "reply"))
    assert clean(text).strip() in "".join(section(tree, "reply").itertext())


def test_report_is_written_and_a_bad_path_says_what_to_do(
    sample_case: CaseFile, tmp_path: Path
) -> None:
    target = tmp_path / "case.html"
    write_report(sample_case, target)
    assert target.read_text(encoding="utf-8") == render_case(sample_case)
    with pytest.raises(GivenError) as caught:
        write_report(sample_case, tmp_path / "nowhere" / "case.html")
    assert "nowhere" in caught.value.message
    assert caught.value.next_step
