"""The questions before a case is opened by text: one a message, each of them may be skipped.

What a text tells is taken wherever it comes; only what is then still missing is asked.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, get_args

from pydantic import ValidationError

from assistant.conversation.events import Opened
from assistant.knowledge import positions_of
from assistant.knowledge.complaint_words import SYMPTOMS, WHEN
from assistant.knowledge.schema import POSITIONS, Complaint, Installation, Symptom, model_error
from assistant.messaging.facts import Facts, facts_of, load_intake, says_nothing
from assistant.messaging.memory import Draft, Topic, When
from assistant.messaging.texts import means, numbered, say, spoken_words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from assistant.messaging.shop import Shop

__all__ = ["TOPICS", "Taken", "ask", "label_of", "next_topic", "opening", "summary", "take"]

TOPICS: Final[tuple[Topic, ...]] = get_args(Topic)
_PARTS: Final[tuple[Topic, ...]] = ("channels", "speakers", "source", "supply")
_DIGITS: Final = re.compile(r"\d+")
_FEW_OHMS: Final = 16.0
_MOST_WHY: Final = 120
_TRIES: Final[Mapping[Topic, int]] = {"symptom": 3, "when": 2, "where": 2, "meter": 2}


class Taken:
    """What came of a text: the draft, what was noted of it in words, or why nothing was."""

    def __init__(self, draft: Draft, noted: Sequence[str] = (), problem: str = "") -> None:
        self.draft = draft
        self.noted = tuple(noted)
        self.problem = problem


def next_topic(draft: Draft) -> Topic | None:
    """Name the topic to ask about next, None when the case can be opened."""
    for topic in TOPICS:
        if topic not in draft.done and _matters(topic, draft):
            return topic
    return None


def _matters(topic: Topic, draft: Draft) -> bool:
    return topic != "where" or draft.symptom == "silent_channel"


def _choices(topic: Topic, draft: Draft) -> Mapping[str, str]:
    """Give what may be chosen for a topic, in the order of its numbers."""
    match topic:
        case "symptom":
            return {str(s): words for s, words in load_intake().symptom_choices.items()}
        case "when":
            words = load_intake().when_choices
            return {w: words[w] for w in draft.when_open or get_args(When)}
        case "where":
            return {p: p.replace("_", " ") for p in POSITIONS}
        case "source":
            return load_intake().source_choices
        case _:
            return {}


def ask(draft: Draft, topic: Topic) -> str:
    """Put the question of a topic."""
    if topic == "when" and draft.when_open:
        return say("ask_when_open", choices=numbered(list(_choices(topic, draft).values())))
    choices = _choices(topic, draft)
    if choices:
        return say(f"ask_{topic}", choices=numbered(list(choices.values())))
    return say(f"ask_{topic}")


# --- taking --------------------------------------------------------------------------------


def take(draft: Draft, text: str) -> Taken:
    """Take what a text tells into the draft; ``asked`` of the draft says which question is open."""
    if means(text, "go"):
        return Taken(_done(draft, *_PARTS, "meter"))
    facts = facts_of(text)
    if draft.asked is not None:
        if (answer := _answer(draft, draft.asked, text)) is not None:
            return _merged(draft, answer, draft.asked)
        if says_nothing(text):
            return Taken(_done(draft, draft.asked))
        if not facts:
            return _in_vain(draft, draft.asked)
    return _merged(draft, facts, None)


def _in_vain(draft: Draft, topic: Topic) -> Taken:
    """Note an answer that cannot be used; parts are left after one, the trouble after two."""
    if draft.tries + 1 < _TRIES.get(topic, 1):
        tried = draft.model_copy(update={"tries": draft.tries + 1})
        return Taken(tried, problem=say("not_taken"))
    return Taken(_done(draft, topic), problem=f"{say('not_taken')} {say('never_mind')}")


def _done(draft: Draft, *topics: Topic) -> Draft:
    return draft.model_copy(update={"done": tuple(dict.fromkeys((*draft.done, *topics)))})


def _numbers(text: str, most: int) -> list[int] | None:
    """Give the numbers of a text that holds nothing else, None when one is no choice."""
    said = spoken_words(text).replace(" and ", " ").split()
    if not said or not all(_DIGITS.fullmatch(word) and len(word) < 3 for word in said):
        return None
    numbers = [int(word) for word in said]
    return numbers if all(0 < n <= most for n in numbers) else None


def _answer(draft: Draft, topic: Topic, text: str) -> Facts | None:
    """Read the short answers that only the open question makes plain."""
    names = list(_choices(topic, draft))
    if names:
        numbers = _numbers(text, len(names))
        if numbers is None:
            return None
        return _picked(topic, [names[n - 1] for n in dict.fromkeys(numbers)])
    said = spoken_words(text)
    if topic == "meter":
        have = dict.fromkeys(("1", "yes", "yeah", "yea", "yep", "i do", "sure"), True)
        have |= dict.fromkeys(("2", "no", "nope", "nah", "i dont", "none"), False)
        if said in have:
            return Facts(meter=have[said])
        told, first = facts_of(text), said.partition(" ")[0]
        # "yes, an old one", "nope sorry"
        return replace(told, meter=have[first]) if told.meter is None and first in have else None
    return _short_part(topic, said)


def _picked(topic: Topic, names: list[str]) -> Facts | None:
    complaint = {"symptom": "protects"}
    if topic == "source":
        return Facts(installation={"source": {"kind": names[0]}}) if len(names) == 1 else None
    if topic == "symptom":
        known: tuple[Symptom, ...] = get_args(Symptom)
        return Facts(symptom=next(s for s in known if s == names[0])) if len(names) == 1 else None
    found = Complaint.model_validate({**complaint, topic: names})
    return Facts(when=found.when, where=found.where)


def _short_part(topic: Topic, said: str) -> Facts | None:
    words = {
        "one": "1",
        "mono": "1",
        "two": "2",
        "three": "3",
        "four": "4",
        "five": "5",
        "six": "6",
    }
    numbers = [float(words.get(w, w)) for w in said.split() if words.get(w, w).isdecimal()]
    bare = len(numbers) == len(said.split()) and all(n > 0 for n in numbers)
    if not bare or not numbers:
        return None
    if topic == "channels" and len(numbers) == 1:
        return Facts(installation={"amplifier": {"channels": int(numbers[0])}})
    if topic == "speakers" and len(numbers) == 1 and numbers[0] <= _FEW_OHMS:
        return Facts(installation={"speakers": {"all": {"nominal_ohms": numbers[0]}}})
    if topic == "supply" and len(numbers) == 2 and numbers[0] < numbers[1]:
        gauge, amps = numbers
        supply = {"wire": {"gauge": f"{gauge:g} AWG"}, "main_fuse": {"amps": amps}}
        return Facts(installation={"supply": supply})
    return None


def _merged(draft: Draft, facts: Facts, topic: Topic | None) -> Taken:
    """Put facts into the draft; parts that the schema refuses are left out, and why is said."""
    tree = _deep(draft.installation, facts.installation)
    try:
        checked = Installation.model_validate(_spread(tree))
    except ValidationError as error:
        return Taken(draft, problem=say("not_taken_car", why=model_error(error)[:_MOST_WHY]))
    changes: dict[str, Any] = {"installation": tree}
    if facts.symptom and (draft.symptom is None or topic == "symptom"):
        changes["symptom"] = facts.symptom
    if facts.when:
        changes |= {"when": tuple(dict.fromkeys((*draft.when, *facts.when))), "when_open": ()}
    elif facts.when_open and not draft.when:
        changes["when_open"] = facts.when_open
    if facts.where and ("speakers" not in facts.installation or topic == "where"):
        changes["where"] = tuple(dict.fromkeys((*draft.where, *facts.where)))
    if facts.meter is not None:
        changes["meter"] = facts.meter
    merged = draft.model_copy(update={**changes, "tries": 0})
    told = [name for name, known in _told(merged, checked).items() if known]
    answered = [topic] if topic else []
    noted = _noted(facts, symptom="symptom" in changes)
    return Taken(_done(merged, *(t for t in TOPICS if t in told), *answered), noted)


def _told(draft: Draft, installation: Installation) -> dict[Topic, bool]:
    supply = installation.supply
    return {
        "symptom": draft.symptom is not None,
        "when": bool(draft.when),
        "where": bool(draft.where),
        "meter": draft.meter is not None,
        "channels": installation.amplifier.channels is not None,
        "speakers": bool(draft.installation.get("speakers")),
        "source": installation.source.kind is not None,
        "supply": supply.main_fuse is not None and supply.wire is not None,
    }


def _noted(facts: Facts, *, symptom: bool) -> list[str]:
    """Give what was taken, in words; the symptom only where it was not known before."""
    words: list[str] = []
    if symptom and facts.symptom:
        words.append(SYMPTOMS[facts.symptom])
    words += [WHEN[w] for w in facts.when]
    if facts.where and "speakers" not in facts.installation:
        words.append(", ".join(p.replace("_", " ") for p in facts.where))
    if facts.meter is not None:
        words.append("meter at hand" if facts.meter else "no meter")
    return [*words, *_parts_noted(facts.installation)]


def _parts_noted(tree: Mapping[str, Any]) -> list[str]:
    words: list[str] = []
    amplifier = tree.get("amplifier", {})
    if "channels" in amplifier:
        words.append(f"{amplifier['channels']} channels")
    if "watts_per_channel" in amplifier:
        words.append(f"{amplifier['watts_per_channel']:g} W a channel")
    if "class" in amplifier:
        words.append(f"class {amplifier['class']}")
    for place, speaker in tree.get("speakers", {}).items():
        name = "speakers" if place == "all" else place.replace("_", " ")
        ohms = speaker.get("nominal_ohms")
        words.append(name if ohms is None else f"{name} {ohms:g} ohm")
    if kind := tree.get("source", {}).get("kind"):
        words.append(load_intake().source_choices[kind])
    supply = tree.get("supply", {})
    if "wire" in supply:
        words.append(f"{supply['wire']['gauge']} wire")
    if "main_fuse" in supply:
        words.append(f"{supply['main_fuse']['amps']:g} A fuse")
    if "second_battery" in supply:
        joined = {"direct": ", joined directly", "charge_relay": " with a relay"}
        words.append("second battery" + joined.get(supply["second_battery"].get("joined"), ""))
    return words


def _deep(known: Mapping[str, Any], fresh: Mapping[str, Any]) -> dict[str, Any]:
    """Give ``known`` with what ``fresh`` tells put over it."""
    merged = dict(known)
    for key, value in fresh.items():
        inner = merged.get(key)
        both = isinstance(inner, dict) and isinstance(value, dict)
        merged[key] = _deep(inner, value) if both and inner is not None else value
    return merged


def _spread(tree: Mapping[str, Any]) -> dict[str, Any]:
    """Give the ohms that were told for all speakers to every one that has none of its own."""
    speakers = dict(tree.get("speakers", {}))
    every = speakers.pop("all", None)
    made = {**tree, "speakers": speakers} if "speakers" in tree else dict(tree)
    if every is not None:
        places = positions_of(Installation.model_validate({**made, "speakers": {}}))
        made["speakers"] = {**dict.fromkeys(places, every), **speakers}
    return made


# --- opening -------------------------------------------------------------------------------


def summary(noted: Sequence[str]) -> str:
    """Read back what was taken from a text; empty when nothing was."""
    return say("noted", what=", ".join(noted)) if noted else ""


def opening(draft: Draft, shop: Shop, case_id: str) -> Opened:
    """Make the event that opens the case of a draft."""
    tree = _spread(draft.installation)
    if draft.where and tree.get("speakers"):
        # a place that was complained of is there, even when its ohms were not told
        tree["speakers"] = {**{place: {} for place in draft.where}, **tree["speakers"]}
    return Opened(
        installation=Installation.model_validate(tree),
        complaint=draft.complaint,
        seed=shop.seed_of(case_id),
        channel="text",
        worlds=shop.worlds,
    )


def label_of(draft: Draft) -> str:
    """Name a case by its trouble, for lists of cars."""
    return load_intake().symptom_choices[draft.complaint.symptom]
