"""What customers tell in sentences of their own: the outcome of a repair, sound, being afraid."""

from __future__ import annotations

import re
from typing import Literal

from assistant.messaging.texts import load_texts, spoken_words

__all__ = ["is_afraid", "outcome_of", "sound_of"]


def _whole(key: str) -> str:
    return rf"(?<!\w)(?:{load_texts().patterns[key]})(?!\w)"


def _holds(key: str, said: str) -> bool:
    return bool(re.search(_whole(key), said))


def is_afraid(text: str) -> bool:
    """Tell whether a text asks if a step is safe, or says that its writer is afraid of it."""
    return _holds("afraid", spoken_words(text))


def outcome_of(text: str) -> Literal["fixed", "not_fixed"] | None:
    """Tell what a text says of a repair; None for plans, questions and all that is not plain."""
    said = spoken_words(text)
    if "?" in text or _holds("not_yet", said):
        return None
    told: tuple[Literal["fixed", "not_fixed"], ...] = ("fixed", "not_fixed")
    found = [key for key in told if _holds(key, said)]
    return found[0] if len(found) == 1 else None


def sound_of(text: str) -> str | None:
    """Give the answer of ``SEEN_ANSWERS`` that a text tells of a speaker; None unless just one.

    "Not playing" is silent and does not count as playing.
    """
    said = spoken_words(text)
    if "?" in text:
        return None
    found: list[str] = []
    if _holds("silent", said):
        found.append("no")
        said = re.sub(_whole("silent"), " ", said)
    if _holds("distorted", said):
        found.append("distorted")
    if _holds("plays", said):
        found.append("yes")
    return found[0] if len(found) == 1 else None
