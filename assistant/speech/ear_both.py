"""Two ears: where the first is not sure, the second is asked.

The first hears fast and most of it; the second knows other voices and words, and is slower. What
both hear is almost never wrong. The second is asked only when two phrases of the first are close,
never about sound that the first refused as other words, because it takes too much of that for a
reading, and never about long sounds, over which it would take long.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from assistant.speech.events import Heard, Hypothesis

if TYPE_CHECKING:
    from assistant.speech.audio import Samples
    from assistant.speech.events import Recogniser, Stream

__all__ = ["BothEars", "agreed"]

_SURE: Final = 3.0
_AGREEMENT: Final = 4.0
_LONGEST_S: Final = 8.0


class BothEars:
    """A recogniser that asks ``second`` where ``first`` is not sure."""

    def __init__(self, first: Recogniser, second: Recogniser) -> None:
        self._first = first
        self._second = second

    @property
    def name(self) -> str:
        """What it is, in words for a person."""
        return f"{self._first.name}; {self._second.name} where that is not sure"

    @property
    def missing(self) -> tuple[str, ...]:
        """Words of the grammars that the first does not know."""
        return tuple(getattr(self._first, "missing", ()))

    def begin(self, grammar: str) -> BothStream:
        """Open a stream for ``grammar`` on the first; the second is opened if it is needed."""
        return BothStream(self._first.begin(grammar), self._second, grammar)


class BothStream:
    """One utterance; its sound is kept for the second ear."""

    def __init__(self, first: Stream, second: Recogniser, grammar: str) -> None:
        self._first = first
        self._second = second
        self._grammar = grammar
        self._sound: list[Samples] = []

    def feed(self, pcm: Samples) -> None:
        """Take more sound."""
        self._first.feed(pcm)
        self._sound.append(pcm)

    def finish(self) -> Heard:
        """Tell what the first heard, or what both make of it."""
        heard = self._first.finish()
        if heard.kind != "phrase" or heard.margin >= _SURE or heard.seconds > _LONGEST_S:
            return heard
        stream = self._second.begin(self._grammar)
        for pcm in self._sound:
            stream.feed(pcm)
        return agreed(heard, stream.finish())


def agreed(first: Heard, second: Heard) -> Heard:
    """Join what two ears heard.

    Where the first refused, that stands. Where the second's best phrase is among the first's,
    that phrase gains; where it is not, it joins them as one as likely as the best, so that it is
    asked. Other words of the second change nothing: the first did hear a phrase.
    """
    if first.kind != "phrase" or second.kind != "phrase":
        return first
    text = second.text
    scores = {one.text: one.score for one in first.hypotheses}
    scores[text] = scores[text] + _AGREEMENT if text in scores else first.hypotheses[0].score
    ranked = sorted(scores.items(), key=lambda pair: -pair[1])
    return replace(
        first,
        hypotheses=tuple(Hypothesis(text=text, score=score) for text, score in ranked),
        recogniser=f"{first.recogniser} and {second.recogniser}",
    )
