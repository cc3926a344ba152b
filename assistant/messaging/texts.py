"""The sentences and wordings of the text channel, from one validated data file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from string import Formatter
from typing import TYPE_CHECKING, Annotated, Any, Final

from pydantic import BaseModel, ConfigDict, Field, model_validator

from assistant.errors import MisuseError
from assistant.messaging.datafile import Pattern, read_data
from assistant.readings.reading import SEEN_ANSWERS, Quantity

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["TextFile", "load_texts", "means", "numbered", "say", "spoken_words"]

_Sentence = Annotated[str, Field(min_length=1)]


_MARKS: Final = re.compile(r"[^\w\s\U0001f300-\U0001faff\u2700-\u27bf]|_")


def spoken_words(text: str) -> str:
    """Give the words of ``text`` in small letters, apostrophes left out, marks as spaces."""
    joined = re.sub(r"['\u2019\u2018`\u00b4]", "", text.casefold())
    return " ".join(_MARKS.sub(" ", joined).split())


class TextFile(BaseModel):
    """The content of ``texts.yaml``.

    ``confirm`` are the ids of cautions that are waited for until they are confirmed.
    ``answers`` gives the words for each answer of a quantity that needs no meter, ``prompt_ends``
    what is cut off the prompts of checks, ``patterns`` words that may stand anywhere in a text,
    ``wordings`` whole texts by what they mean.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    sentences: Mapping[str, _Sentence]
    confirm: frozenset[str]
    answers: Mapping[Quantity, Mapping[str, _Sentence]]
    prompt_ends: tuple[str, ...]
    patterns: Mapping[str, Pattern]
    wordings: Mapping[str, tuple[str, ...]]

    @model_validator(mode="after")
    def _answers_of_the_contract(self) -> TextFile:
        for quantity, known in SEEN_ANSWERS.items():
            if tuple(self.answers.get(quantity, ())) != known:
                raise ValueError(f"the answers of {quantity} are {known}, in this order")
        for key, texts in self.wordings.items():
            for text in texts:
                if text != spoken_words(text):
                    raise ValueError(f"wording {text!r} of {key} is not in plain small letters")
        return self


@cache
def load_texts() -> TextFile:
    """Read and validate the sentences of this house."""
    return read_data("texts.yaml", TextFile)


def say(key: str, **slots: str) -> str:
    """Fill a sentence; raise ``MisuseError`` unless exactly its slots are given."""
    template = load_texts().sentences.get(key)
    wanted = {name for _, name, _, _ in Formatter().parse(template or "") if name}
    if template is None or wanted != set(slots):
        raise MisuseError(
            f"There is no sentence {key!r} with the slots {sorted(slots)}.",
            next_step="Give every slot of a sentence in texts.yaml and no other.",
        )
    return template.format(**slots)


def means(text: str, *keys: str) -> bool:
    """Tell whether a whole text is one of the wordings of ``keys``."""
    wordings: Mapping[str, Any] = load_texts().wordings
    said = spoken_words(text)
    return any(said in wordings[key] for key in keys)


def numbered(words: Sequence[str]) -> str:
    """Put numbers from 1 in front of choices: "1 = off, 2 = lit"."""
    return ", ".join(f"{n} = {word}" for n, word in enumerate(words, start=1))
