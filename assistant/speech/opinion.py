"""Another opinion: the second network's scores of what the first has listed.

They are those that a decoder would give in the same graph with the second network, phrase by
phrase (``alignments``): a test holds the same computation with the first network to vosk's scores.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import product
from typing import TYPE_CHECKING, Final

import numpy as np

from assistant.readings.fusion import Hypothesis
from assistant.speech.alignments import any_phones, only_silence, phone_paths
from assistant.speech.filterbank import filter_bank
from assistant.speech.lexicon import PHONES
from assistant.speech.phonegraph import OTHER_WORDS
from assistant.speech.roomtone import RoomTone

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    from numpy.typing import NDArray

    from assistant.speech.audio import Samples
    from assistant.speech.lexicon import Lexicon
    from assistant.speech.phonegraph import GraphCosts

__all__ = ["Opinion"]

_NUMBERS: Final = {phone: number for number, phone in enumerate(PHONES, start=1)}
_MOST_WAYS: Final = 64
_AROUND: Final = 0.08
"""Seconds of room tone around the sound: this network hears tight cuts best with little."""


class Opinion:
    """What a network, given by its log posteriors of features, makes of phrases.

    ``costs`` are those of the graph as far as the decoder counts them.
    """

    def __init__(
        self,
        posteriors: Callable[[NDArray[np.float32]], NDArray[np.float32]],
        lexicon: Lexicon,
        costs: GraphCosts,
    ) -> None:
        self._posteriors = posteriors
        self._lexicon = lexicon
        self._costs = costs
        self._ways = lru_cache(maxsize=1024)(self._all_ways)

    def of(self, sound: Samples, texts: Collection[str]) -> list[Hypothesis]:
        """Score ``texts`` in ``sound``, and other words and silence, which are no texts."""
        tone = RoomTone(_AROUND)
        around = np.concatenate([tone.before(), tone.under(sound), tone.after()])
        return self.scored(self._posteriors(filter_bank(around)), texts)

    def scored(self, scores: NDArray[np.float32], texts: Collection[str]) -> list[Hypothesis]:
        """Score ``texts`` in log posteriors, outputs in time x 40."""
        costs = self._costs
        phrases = [text for text in texts if text not in {"", OTHER_WORDS}]
        loop = any_phones(scores, costs.blank, costs.loop_phone) - costs.other_words
        found = {OTHER_WORDS: loop, "": only_silence(scores, costs.blank)}
        if phrases:
            ways = [self._ways(text) for text in phrases]
            paths = phone_paths(scores, [way for some in ways for way in some], costs.blank)
            ends = np.cumsum([len(some) for some in ways])[:-1]
            for text, some in zip(phrases, np.split(paths, ends), strict=True):
                found[text] = float(some.max()) - costs.word * len(text.split())
        return [Hypothesis(text=text, score=score) for text, score in found.items()]

    def _all_ways(self, text: str) -> list[tuple[int, ...]]:
        """Give the ways to say a phrase; of very many the first, which are the common ones."""
        said = [self._lexicon[word] for word in text.split()]
        while np.prod([len(some) for some in said]) > _MOST_WAYS:
            said = [some[: max(1, len(some) - 1)] for some in said]
        return [tuple(_NUMBERS[phone] for part in way for phone in part) for way in product(*said)]
