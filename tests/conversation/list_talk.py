"""A microphone and a loudspeaker that are two lists, for what is spoken through."""

from __future__ import annotations

from assistant.readings.fusion import Hypothesis
from assistant.speech.events import Heard as SpeechHeard


class ListTalk:
    """Says into a list and hears from one; None is a silence, the end is Ctrl-C."""

    def __init__(self, *heard: str | None) -> None:
        self._heard = list(heard)
        self.said: list[tuple[str, bool, bool]] = []
        self.grammars: list[str] = []

    def say(self, text: str, *, slow: bool = False, can_be_cut: bool = True) -> bool:
        self.said.append((text, slow, can_be_cut))
        return True

    def listen(self, grammar: str, *, patience_s: float) -> SpeechHeard | None:
        assert patience_s == 7.0
        self.grammars.append(grammar)
        if not self._heard:
            raise KeyboardInterrupt
        text = self._heard.pop(0)
        if text is None:
            return None
        if text == "~":
            return SpeechHeard(kind="silence")
        if text == "?":
            return SpeechHeard(kind="other_words")
        return SpeechHeard(kind="phrase", hypotheses=(Hypothesis(text=text, score=0.0),))
