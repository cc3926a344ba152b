"""Phrases that a clip might be taken for, to train the network to prefer what was said.

CTC alone makes what was said likely; how far it is ahead of "sixteen" for "sixty" is left to
chance. So for each clip some rivals are drawn: a word exchanged for one of the grammars that
sounds like it, more of them a teen for its ten, a word left out or put in, a single phone
exchanged. The loss of a clip is the
negative log of its share among them (maximum mutual information over a sample; L. R. Bahl et al.,
ICASSP 1986).
"""

from __future__ import annotations

from bisect import bisect
from itertools import accumulate, product
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.speech.acoustic.clips import word_ways
from assistant.speech.lexicon import PHONES, VOWELS

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Mapping, Sequence

    from numpy.typing import NDArray

__all__ = ["Phones", "Rivals", "distances", "word_parts"]

Phones = tuple[int, ...]
"""Numbers of phones, from 1 as in ``lexicon.PHONES``."""

_VOWELS: Final = frozenset(k for k, phone in enumerate(PHONES, start=1) if phone in VOWELS)
_ALIKE: Final = 0.5
_UNLIKE: Final = 1.0
_MORE: Final = 0.7
"""Costs of another phone of the same kind (vowel, consonant), of another, of one more or less."""
_STEEP: Final = 1.2
_NEAREST: Final = 16
_LEFT_OUT: Final = 0.08
_PUT_IN: Final = 0.16
_ONE_PHONE: Final = 0.30
_EXCHANGED: Final = 0.85
"""Bounds, in turn, of the shares of a word left out, one put in, a phone exchanged, and a word
exchanged for any that sounds like it. What is left sets a number against its nearest one."""
_NEAREST_NUMBER: Final = 0.75
"""As far as a teen is from its ten, or "eight" from "eighty": one phone more or less."""
_TWICE: Final = 0.15
"""Share of rivals of words in which two are changed."""
_NUMBERS: Final = (
    *("oh", "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"),
    *("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen"),
    *("eighteen", "nineteen", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty"),
    *("ninety", "hundred", "thousand", "point", "half", "minus"),
)


def _kinds() -> NDArray[np.float64]:
    """Give what it costs to take one phone for another, 40 x 40."""
    vowel = np.array([k in _VOWELS for k in range(len(PHONES) + 1)])
    costs = np.where(vowel[:, None] == vowel[None], _ALIKE, _UNLIKE)
    np.fill_diagonal(costs, 0.0)
    return costs


_COSTS: Final = _kinds()


def distances(phones: Phones, others: Sequence[Phones]) -> NDArray[np.float64]:
    """Give how far ``phones`` is from each of ``others``: a weighted edit distance.

    Another vowel for a vowel, or consonant for a consonant, costs 0.5, another phone 1, one more
    or less 0.7. (Weights: chosen, no source.)
    """
    most = max(map(len, others))
    table = np.zeros((len(others), most), dtype=int)
    for k, one in enumerate(others):
        table[k, : len(one)] = one
    row = np.repeat(np.arange(most + 1)[None] * _MORE, len(others), 0)
    for phone in phones:
        new = np.empty_like(row)
        new[:, 0] = row[:, 0] + _MORE
        for j in range(1, most + 1):
            other = row[:, j - 1] + _COSTS[phone, table[:, j - 1]]
            new[:, j] = np.minimum(other, np.minimum(row[:, j], new[:, j - 1]) + _MORE)
        row = new
    ends = row[np.arange(len(others)), [len(one) for one in others]]
    return np.asarray(ends)


def word_parts(
    words: Sequence[str], way: Phones, ways_of: Callable[[str], Sequence[Phones]]
) -> tuple[Phones, ...] | None:
    """Split ``way`` into what is said for each of ``words``; None where ``ways_of`` can't tell."""
    for parts in product(*map(ways_of, words)):
        if sum(parts, ()) == way:
            return parts
    return None


class Rivals:
    """Draws rivals of what is said, by the words of the grammars (``words``).

    ``known`` gives more words' pronunciations in ARPAbet, as CMUdict does: a clip of other words
    is set against the grammars' words that sound like them.
    """

    def __init__(
        self, words: Collection[str], known: Mapping[str, list[list[str]]], seed: int
    ) -> None:
        self._rng = np.random.default_rng(seed)
        self._known = known
        self._words = [(word, way) for word in sorted(words) for way in word_ways(word, known)]
        self._numbers = [(word, way) for word, way in self._words if word in _NUMBERS]
        phones = range(1, len(PHONES) + 1)
        self._kinds = [[k for k in phones if (k in _VOWELS) == vowel] for vowel in (False, True)]
        # Kept in dictionaries, as what is drawn may be drawn in another process
        self._nearest: dict[Phones, tuple[list[Phones], list[float]]] = {}
        self._split: dict[tuple[str, Phones], tuple[Phones, ...] | None] = {}
        self._twins: dict[Phones, list[Phones]] = {}

    def draw(self, said: Sequence[Sequence[tuple[str, Phones]]], count: int) -> list[list[Phones]]:
        """Give ``count`` rivals of each row of ``said``: phrases and the ways their phones run.

        None of them runs as the row does; some may be drawn twice. Where nothing was said they
        are single number words.
        """
        chances = iter(self._rng.random((len(said) * count, 4)).tolist())
        drawn = []
        for row in said:
            way: Phones = sum((one for _, one in row), ())
            split = [self._parts(words, one) for words, one in row]
            parts: tuple[Phones, ...] = (
                () if None in split else sum((one or () for one in split), ())
            )
            drawn.append([self._rival(way, parts, next(chances)) for _ in range(count)])
        return drawn

    def _rival(self, way: Phones, parts: tuple[Phones, ...], chance: list[float]) -> Phones:
        """Draw a rival of ``way``; ``parts`` are its words, none where they are not known."""
        sort, place, which, again = chance
        if not way:
            return self._numbers[int(which * len(self._numbers))][1]
        made = way
        if parts and (sort < _PUT_IN or sort >= _ONE_PHONE):
            close = self._close(parts) if sort >= _EXCHANGED else []
            if close:
                return close[int(which * len(close))]
            changed = self._changed(parts, sort, place, which)
            if again < _TWICE and changed:
                changed = self._changed(changed, sort, 1 - place, 1 - which)
            made = sum(changed, ())
        return made if made and made != way else self._one_phone(way, place, which)

    def _changed(
        self, parts: tuple[Phones, ...], sort: float, place: float, which: float
    ) -> tuple[Phones, ...]:
        """Leave out a word, put in a number, or exchange a word for one that sounds like it."""
        at = int(place * len(parts))
        if sort < _LEFT_OUT:
            return (*parts[:at], *parts[at + 1 :])
        if sort < _PUT_IN:
            return (*parts[:at], self._numbers[int(which * len(self._numbers))][1], *parts[at:])
        others, bounds = self._near(parts[at])
        return (*parts[:at], others[bisect(bounds, which * bounds[-1])], *parts[at + 1 :])

    def _close(self, parts: tuple[Phones, ...]) -> list[Phones]:
        """Give ``parts`` with one number exchanged for another that is all but the same."""
        return [
            sum((*parts[:at], other, *parts[at + 1 :]), ())
            for at, part in enumerate(parts)
            for other in self._nearest_numbers(part)
        ]

    def _nearest_numbers(self, phones: Phones) -> list[Phones]:
        if phones not in self._twins:
            own = {word for word, way in self._numbers if way == phones}
            ways = [way for word, way in self._numbers if own and word not in own]
            far = distances(phones, ways) if ways else np.zeros(0)
            self._twins[phones] = [ways[k] for k in np.flatnonzero(far <= _NEAREST_NUMBER)]
        return self._twins[phones]

    def _one_phone(self, way: Phones, place: float, which: float) -> Phones:
        at = int(place * len(way))
        kind = [k for k in self._kinds[way[at] in _VOWELS] if k != way[at]]
        return (*way[:at], kind[int(which * len(kind))], *way[at + 1 :])

    def _near(self, phones: Phones) -> tuple[list[Phones], list[float]]:
        """Give the words to take ``phones`` for, and the running sums of their chances."""
        if phones in self._nearest:
            return self._nearest[phones]
        own = {word.rstrip("s") for word, way in self._words if way == phones}
        number = any(way == phones for _, way in self._numbers)

        def other(pool: Sequence[tuple[str, Phones]]) -> list[Phones]:
            return [way for word, way in pool if word.rstrip("s") not in own and way != phones]

        others = other(self._numbers)
        if not number:
            words = other(self._words)
            nearest = np.argsort(distances(phones, words), kind="stable")[:_NEAREST]
            others = list(dict.fromkeys([*(words[k] for k in nearest), *others]))
        chances = np.exp(-_STEEP * distances(phones, others))
        self._nearest[phones] = (others, list(accumulate(chances.tolist())))
        return self._nearest[phones]

    def _parts(self, words: str, way: Phones) -> tuple[Phones, ...] | None:
        if (words, way) not in self._split:
            parts = word_parts(words.split(), way, lambda word: word_ways(word, self._known))
            self._split[words, way] = parts
        return self._split[words, way]
