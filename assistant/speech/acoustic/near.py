"""Words that sound nearly like a word of the grammars, to train on as other words.

"Gas" and "yes", "saw" and "stop" differ by a sound: a network that has heard both tells them
apart, one that knows the grammars' words only hears the nearest of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

__all__ = ["draw_near", "near_words"]

_SHORT: Final = 4
"""Words of more phones than this may differ by two."""


def _stems(phones: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """Give the phones with one of them open, left out, or one more put in (open)."""
    for k in range(len(phones)):
        yield (*phones[:k], "_", *phones[k + 1 :])
    for k in range(len(phones) + 1):
        yield (*phones[:k], "_", *phones[k:])


def _forms(phones: tuple[str, ...]) -> set[tuple[str, ...]]:
    """Give what two words have in common exactly if they are so near."""
    once = set(_stems(phones))
    if len(phones) <= _SHORT:
        return once
    return once | {again for form in once for again in _stems(form) if again.count("_") > 1}


def near_words(
    words: Collection[str], known: Mapping[str, Sequence[Sequence[str]]]
) -> tuple[str, ...]:
    """Give the words of ``known`` that differ from one of ``words`` by one phone, sorted.

    One phone is another, left out or put in; of words with more than four phones two phones.
    ``known`` gives each word's pronunciations, lists of ARPAbet phones; stress is not looked at.
    Words that sound like one of ``words`` are left out.
    """
    plain = {
        word: {tuple(phone.rstrip("012") for phone in way) for way in ways}
        for word, ways in known.items()
    }
    own = {way for word in words for way in plain.get(word, ())}
    forms = {form for way in own for form in _forms(way)}
    lengths = {len(way) + extra for way in own for extra in range(-2, 3)}
    found = {
        word
        for word, ways in plain.items()
        if word not in words and not ways & own
        if any(len(way) in lengths and not forms.isdisjoint(_forms(way)) for way in ways)
    }
    return tuple(sorted(found))


def draw_near(
    count: int, seed: int, *, near: Sequence[str], grammar: Sequence[str]
) -> tuple[str, ...]:
    """Draw one word of ``near``, two, or one beside one or two words of the grammars."""
    rng = np.random.default_rng(seed)

    def pick(words: Sequence[str]) -> str:
        return words[int(rng.integers(len(words)))]

    drawn = []
    for _ in range(count):
        said = [pick(near)]
        turn = rng.random()
        if turn > 0.85:
            said.append(pick(near))
        elif turn > 0.65:
            said += [pick(grammar) for _ in range(int(rng.integers(1, 3)))]
            rng.shuffle(said)
        drawn.append(" ".join(said))
    return tuple(drawn)
