"""Speech that is no phrase of a grammar, to train on: everyday words and sentences.

The phone loop, which stands for other words, is only as good as the network knows their sounds.
But for little words such as "the", no word of a grammar is drawn, so that nothing here can be
taken for a phrase. Words and templates are in ``everyday.yaml``.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Final

import numpy as np
import yaml
from pydantic import BaseModel, ConfigDict

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

__all__ = ["draw_sentences", "everyday_words"]

_MARKS: Final = {"n": "names", "t": "things", "v": "acts", "k": "kinds"}


class _Everyday(BaseModel):
    """The file: lists of words, each one text, and sentences with marks for them."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    names: str
    things: str
    acts: str
    kinds: str
    little: str
    templates: tuple[str, ...]


@cache
def _everyday() -> _Everyday:
    source = files("assistant.speech.acoustic").joinpath("everyday.yaml")
    return _Everyday.model_validate(yaml.safe_load(source.read_text(encoding="utf-8")))


def everyday_words() -> tuple[str, ...]:
    """Give the words of the lists, in order."""
    held = _everyday()
    lists = (held.names, held.things, held.acts, held.kinds)
    return tuple(sorted({word for words in lists for word in words.split()}))


def draw_sentences(
    count: int, seed: int, *, without: Collection[str], others: Sequence[str] = ()
) -> tuple[str, ...]:
    """Draw ``count`` sentences in which no word but little ones is one of ``without``.

    A sentence has at least one other word. A third are one to four words of ``others``, in any
    order, where there are any.
    """
    rng = np.random.default_rng(seed)
    held = _everyday()
    little = frozenset(held.little.split())
    barred = frozenset(without) - little
    lists = {mark: getattr(held, name).split() for mark, name in _MARKS.items()}

    def pick(words: Sequence[str]) -> str:
        return words[int(rng.integers(len(words)))]

    drawn: list[str] = []
    while len(drawn) < count:
        if others and rng.random() < 1 / 3:
            words = [pick(others) for _ in range(int(rng.integers(1, 5)))]
        else:
            said = pick(held.templates)
            for mark, choice in lists.items():
                while f"{{{mark}}}" in said:
                    said = said.replace(f"{{{mark}}}", pick(choice), 1)
            words = said.split()
        words = [word for word in words if word not in barred]
        if set(words) - little:
            drawn.append(" ".join(words))
    return tuple(drawn)
