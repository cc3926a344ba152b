"""The grammar of a lesson is mirrored by ``lesson.yaml``: what a sentence asks for, and read back.

Of every kind of car: each check and each repair can be named, and no two share a sentence.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from assistant.conversation.events import Alternative, Heard
from assistant.knowledge import load
from assistant.knowledge.schema import Installation
from assistant.lessons.aloud import repair_name, sentence
from assistant.lessons.lesson import Lesson
from assistant.lessons.plan import KIND_WORDS, plan_lesson
from assistant.lessons.spoken import SpokenLesson
from assistant.lessons.vocabulary import Vocabulary, Wish, grammar_name, plain_words
from assistant.practice.draws import draw_installation
from assistant.practice.kinds import ALL_KINDS
from assistant.readings.grammarfile import load_file
from assistant.readings.template import parse_template, words_in
from assistant.reports.phrases import complaint_words
from assistant.speech.events import accepts
from assistant.speech.lexicon import builtin_lexicon

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.readings.wordgraph import WordGraph

MIRROR: dict[str, list[Any]] = yaml.safe_load(
    (Path(__file__).parent / "lesson.yaml").read_text(encoding="utf-8")
)
EVERYTHING = grammar_name(listed=True, asked=True)
CARS = sorted(KIND_WORDS)


@cache
def lesson_of(car: str) -> Lesson:
    seed = 4 if car == "hatch_four" else 3
    return Lesson(plan_lesson(seed, kind=car), worlds=500)


@cache
def words_of(car: str) -> Vocabulary:
    return Vocabulary(lesson_of(car))


def back(car: str, said: str) -> str:
    fresh = Lesson(lesson_of(car).plan, worlds=500)
    spoken = SpokenLesson(fresh, complaint_words)
    return spoken.handle(Heard(alternatives=(Alternative(text=said),))).say


def rows(part: str) -> list[Any]:
    return [pytest.param(row, id=row["say"]) for row in MIRROR[part]]


# --- the mirror ----------------------------------------------------------------------------


@pytest.mark.parametrize("row", rows("checks"))
def test_a_check_is_named_and_read_back(row: dict[str, str]) -> None:
    car = row.get("car", "coupe_five")
    assert words_of(car).wishes(row["say"]) == (Wish(kind="check", name=row["check"]),)
    entry = lesson_of(car).checks.by_id(row["check"])
    assert entry is not None
    assert back(car, row["say"]).startswith(row.get("back", f"{sentence(entry.check.name)}."))
    assert accepts(words_of(car).graph(EVERYTHING), tuple(row["say"].split()))


@pytest.mark.parametrize("row", rows("repairs"))
def test_a_repair_or_its_fault_is_named_and_read_back(row: dict[str, str]) -> None:
    car = row.get("car", "coupe_five")
    assert words_of(car).wishes(row["say"]) == (Wish(kind="repair", name=row["repair"]),)
    words = f"Repair: {lesson_of(car).repairs[row['repair']].words}"
    assert back(car, row["say"]).startswith(row.get("back", words))
    assert accepts(words_of(car).graph(EVERYTHING), tuple(row["say"].split()))


@pytest.mark.parametrize("row", rows("wishes"))
def test_a_sentence_asks_for_what_the_mirror_says(row: dict[str, Any]) -> None:
    vocabulary = words_of("coupe_five")
    assert vocabulary.wishes(row["say"]) == (Wish(**row["wish"]),)
    assert row.get("back", "") in back("coupe_five", row["say"])
    assert accepts(vocabulary.graph(EVERYTHING), tuple(row["say"].split()))


@pytest.mark.parametrize("said", MIRROR["none"])
def test_is_no_sentence_of_a_lesson(said: str) -> None:
    assert words_of("coupe_five").wishes(said) == ()
    assert not accepts(words_of("coupe_five").graph(EVERYTHING), tuple(said.split()))


def test_every_entry_of_the_file_stands_in_the_mirror() -> None:
    lists = load_file("lesson").lists
    for part in ("check", "repair"):
        named = {row[part] for row in MIRROR[f"{part}s"]}
        stems = {f"{stem}.*" if suffix else stem for stem, _, suffix in
                 (name.partition(".") for name in named)}  # fmt: skip
        assert set(lists[part]) <= stems
    said = {"check", "repair", *(row["wish"]["kind"] for row in MIRROR["wishes"])}
    parts = ("said", "said_after_list", "said_after_question")
    assert said == {kind for part in parts for kind in lists[part]}


# --- what is open when ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "listed", "asked"),
    [("number two", True, False), ("go on", True, False), ("drops", True, False),
     ("do it", False, True), ("no", False, True)],
)  # fmt: skip
def test_short_words_are_open_only_where_they_mean_something(
    said: str, listed: bool, asked: bool
) -> None:
    vocabulary = words_of("van_mono")
    words = tuple(said.split())
    assert accepts(vocabulary.graph(grammar_name(listed=listed, asked=asked)), words)
    assert accepts(vocabulary.graph(EVERYTHING), words)
    assert not accepts(vocabulary.graph(grammar_name(listed=False, asked=False)), words)


# --- every car -----------------------------------------------------------------------------


def phrases(graph: WordGraph) -> Iterator[str]:
    arcs: dict[int, list[tuple[str, int]]] = {}
    for arc in graph.arcs:
        arcs.setdefault(arc.source, []).append((arc.word, arc.target))
    todo: list[tuple[int, tuple[str, ...]]] = [(graph.start, ())]
    while todo:
        state, words = todo.pop()
        if state in graph.finals:
            yield " ".join(words)
        todo += [(target, (*words, word)) for word, target in arcs.get(state, ())]


@pytest.mark.parametrize("car", CARS)
def test_every_check_and_repair_can_be_named_as_it_is_read_out(car: str) -> None:
    lesson, vocabulary = lesson_of(car), words_of(car)
    opened = vocabulary.graph(grammar_name(listed=False, asked=False))
    named = [(plain_words(e.check.name), Wish(kind="check", name=e.check.id))
             for e in lesson.checks.entries]  # fmt: skip
    named += [
        (repair_name(repair), Wish(kind="repair", name=repair.id))
        for repair in lesson.repairs.values()
    ]
    named += [
        (plain_words(fault.words), Wish(kind="repair", name=fault.repair))
        for fault in lesson.faults.values()
    ]
    for words, wish in named:
        assert vocabulary.wishes(words) == (wish,), words
        assert accepts(opened, tuple(words.split())), words


@pytest.mark.parametrize("car", ["van_mono", "coupe_five", "hatch_four"])
def test_no_two_checks_or_repairs_share_a_sentence(car: str) -> None:
    """Every sentence that the ear may hear asks for one thing only."""
    vocabulary = words_of(car)
    heard: set[Wish] = set()
    for said in phrases(vocabulary.graph(EVERYTHING)):
        wishes = vocabulary.wishes(said)
        assert len(wishes) == 1, (said, wishes)
        heard.update(wishes)
    lesson = lesson_of(car)
    assert {wish.name for wish in heard if wish.kind == "check"} == {
        entry.check.id for entry in lesson.checks.entries
    }
    assert {wish.name for wish in heard if wish.kind == "repair"} == set(lesson.repairs)


@given(
    st.lists(st.sampled_from(sorted(words_of("coupe_five").graph(EVERYTHING).words)), max_size=9)
)
def test_the_ear_and_the_reader_know_the_same_sentences(words: list[str]) -> None:
    vocabulary = words_of("coupe_five")
    known = accepts(vocabulary.graph(EVERYTHING), tuple(words))
    wishes = vocabulary.wishes(" ".join(words))
    assert not known or wishes
    # commands.yaml has more ways to type an order than to say it
    assert known or all(wish.kind == "command" for wish in wishes)


# --- the words of the ear ------------------------------------------------------------------


def test_the_lexicon_says_every_word_of_the_file() -> None:
    file = load_file("lesson")
    templates = [*file.rules.values(), *(t for one in file.lists.values() for t in one.values())]
    words = {word for template in templates for word in words_in(parse_template(template))}
    assert sorted(words - builtin_lexicon().keys()) == []


@pytest.mark.parametrize("car", sorted(ALL_KINDS))
def test_the_lexicon_says_every_name_of_every_car(car: str) -> None:
    """A new check, fault or repair needs the phones of its words: builtin/lexicon.txt."""
    knowledge, missing = load(), set()
    for seed in range(12):
        drawn = draw_installation(np.random.default_rng(seed), car)
        installation = Installation.model_validate(drawn)
        names = [check.name for check in knowledge.checks(installation).values()]
        names += [fault.words for fault in knowledge.faults(installation).values()]
        names += [repair.replace(".", " ") for repair in knowledge.repairs(installation)]
        missing |= {w for name in names for w in plain_words(name).split()}
    assert sorted(missing - builtin_lexicon().keys()) == []


def test_a_name_with_a_word_that_the_ear_lacks_is_left_out() -> None:
    known = builtin_lexicon().keys() - {"ripple"}
    vocabulary = Vocabulary(lesson_of("van_mono"), known)
    assert vocabulary.wishes("drop across the main fuse")
    assert not vocabulary.wishes("the charging system puts ripple on the supply")
