"""What a trainee may say of one car: its grammar, and what each phrase of it asks for.

``grammars/lesson.yaml`` holds the words. For a car it is made concrete: only checks, repairs,
speakers and signal pairs that the car has, every check also by the name that is read out, every
repair also by its id and by the faults that it mends.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from assistant.readings.grammarfile import GrammarFile, Sentence, load_file
from assistant.readings.graphs import graph_of_file
from assistant.readings.matcher import Matcher
from assistant.readings.number_words import digit_words
from assistant.readings.tokens import tokens_of

if TYPE_CHECKING:
    from collections.abc import Container, Iterable, Mapping

    from assistant.lessons.lesson import Lesson
    from assistant.readings.matcher import Match
    from assistant.readings.wordgraph import WordGraph

__all__ = ["ORDERS", "Vocabulary", "Wish", "grammar_name", "plain_words"]

ORDERS: Final = ("repeat", "slower", "undo", "help", "safety", "stop", "pause", "later")
"""The orders of ``commands.yaml`` that a lesson has."""
_FILE: Final = "lesson"
_AFTER_LIST: Final = "said_after_list"
_AFTER_QUESTION: Final = "said_after_question"
_NAMED: Final = ("check", "repair")
_FORMS: Final = ("position", "pair")
_ASIDE: Final = re.compile(r"\([^)]*\)")
_WORD: Final = re.compile(r"[a-z]+|\d")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What a phrase asks for. ``kind`` is an entry of the list ``said`` of the grammar file.

    ``name`` is the check, repair, number or order that was said; ``sort`` (voltage, ohms ...),
    ``place``, ``position`` and ``pair`` narrow the list of checks or of repairs, "" where they
    were not said.
    """

    kind: str
    name: str = ""
    sort: str = ""
    place: str = ""
    position: str = ""
    pair: str = ""


def plain_words(text: str) -> str:
    """Give a name as it is said: no asides, no possessive, digits as words."""
    plain = _ASIDE.sub(" ", text.lower()).replace("'s", "").replace("_", " ")
    return " ".join(
        digit_words()[int(word)] if word.isdigit() else word for word in _WORD.findall(plain)
    )


def _concrete(template: str, suffix: str, forms: GrammarFile) -> str:
    """Put the words of one position or pair where a template speaks of any."""
    for name in _FORMS:
        words = forms.lists[name].get(suffix, "")
        if words:
            template = template.replace(f"${name}", f"({words})")
    return template


def grammar_name(*, listed: bool, asked: bool) -> str:
    """Name the grammar that is open after a list was read out, after a question, both or neither.

    An ear asks ``Vocabulary.graph`` for it by this name.
    """
    return f"{_FILE}{'_list' * listed}{'_question' * asked}"


class Vocabulary:
    """The phrases of one lesson; the same car gives the same.

    ``known`` are the words that the ear has: a name with another word cannot be said, its number
    in a list can. Left out, every word is.
    """

    def __init__(self, lesson: Lesson, known: Container[str] | None = None) -> None:
        self._lists = _car_lists(lesson, known)
        self._matcher = Matcher(self._file(listed=True, asked=True))
        self._graphs: dict[str, WordGraph] = {}

    def _file(self, *, listed: bool, asked: bool) -> GrammarFile:
        said = {
            **self._lists["said"],
            **(self._lists[_AFTER_LIST] if listed else {}),
            **(self._lists[_AFTER_QUESTION] if asked else {}),
        }
        whole = Sentence(say="said=$said", gives="command")
        changed = {"lists": {**self._lists, "said": said}, "sentences": (whole,)}
        return load_file(_FILE).model_copy(update={"kind": "grammar", **changed})

    def graph(self, name: str) -> WordGraph:
        """Give the phrases that are open under a name of ``grammar_name``, as the ear gets them."""
        if name not in self._graphs:
            opened = {"listed": "_list" in name, "asked": "_question" in name}
            self._graphs[name] = graph_of_file(self._file(**opened))
        return self._graphs[name]

    @property
    def words(self) -> frozenset[str]:
        """Every word that the ear may need."""
        return self.graph(grammar_name(listed=True, asked=True)).words

    def wishes(self, text: str) -> tuple[Wish, ...]:
        """Give what a phrase may ask for, without repetition; none where it is no phrase.

        The name of a check or repair goes before the words that would only narrow a list.
        """
        tokens = tokens_of(text)
        found = dict.fromkeys(
            _wish(match) for match in self._matcher.matches(tokens) if match.end == len(tokens)
        )
        named = tuple(wish for wish in found if wish.kind in _NAMED)
        return named or tuple(found)


def _wish(match: Match) -> Wish:
    said = {name: slots[-1].entries[-1] for name, slots in match.slots.items()}
    return Wish(
        kind=said["said"],
        name=next((said[k] for k in (*_NAMED, "number", "command") if k in said), ""),
        sort=said.get("kind", ""),
        place=said.get("place", ""),
        position=said.get("position", ""),
        pair=said.get("pair", ""),
    )


def _car_lists(lesson: Lesson, known: Container[str] | None) -> dict[str, dict[str, str]]:
    """Give the lists of the grammar file with what this car has, and nothing else."""
    base = load_file(_FILE)
    checks = [entry.check for entry in lesson.checks.entries]
    orders = load_file("commands").lists["command"]
    mends: dict[str, list[str]] = {repair: [] for repair in lesson.repairs}
    for fault in lesson.faults.values():
        mends[fault.repair].append(fault.words)
    return {
        **base.lists,
        "position": _kept(base.lists["position"], (check.position for check in checks)),
        "pair": _kept(base.lists["pair"], (check.pair for check in checks)),
        "check": _named("check", {check.id: [check.name] for check in checks}, known),
        "repair": _named(
            "repair", {name: [name.replace(".", " "), *mends[name]] for name in mends}, known
        ),
        "command": {order: orders[order] for order in ORDERS},
    }


def _kept(entries: Mapping[str, str], wanted: Iterable[str | None]) -> dict[str, str]:
    keep = set(wanted)
    return {name: words for name, words in entries.items() if name in keep}


def _named(
    listed: str, names: Mapping[str, Iterable[str]], known: Container[str] | None
) -> dict[str, str]:
    """Give the template of each check or repair: its names, and what the file has for it."""
    base = load_file(_FILE)
    found: dict[str, str] = {}
    for name, called in names.items():
        stem, _, suffix = name.partition(".")
        options = [plain_words(one) for one in called]
        options = [
            one for one in options if known is None or all(word in known for word in one.split())
        ]
        template = base.lists[listed].get(f"{stem}.*" if suffix else stem, "")
        if template:
            options.append(_concrete(template, suffix, base))
        if options:
            found[name] = " / ".join(dict.fromkeys(options))
    return found
