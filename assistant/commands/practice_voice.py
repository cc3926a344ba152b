"""A lesson by voice: over a microphone, from recordings, or only said aloud while typing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from assistant.commands.listening import file_ear, heard_event, open_talk
from assistant.lessons.aloud import spoken_action
from assistant.lessons.events import Hinted
from assistant.lessons.spoken import SpokenLesson
from assistant.reports.phrases import complaint_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from assistant.commands.practice_screen import LessonScreen
    from assistant.commands.talk import Conversation
    from assistant.conversation.events import Heard
    from assistant.lessons.events import Action
    from assistant.lessons.lesson import Lesson
    from assistant.lessons.spoken import Reply
    from assistant.settings import Settings
    from assistant.speech.calibration import Calibration
    from assistant.speech.devices import Loudspeaker
    from assistant.speech.voice import Voice

__all__ = ["Speaker", "lesson_figures", "open_aloud", "speak_through", "talk_lesson"]

_LOOP_PER_PHONE: Final = 2.4
"""Limit on other words for each phone of a phrase. The network was trained on readings, and the
limit for them refuses most names of checks. Every phrase of a lesson is read back before anything
is done, so that one that is refused costs more than one that is misheard."""


def lesson_figures() -> Calibration:
    """Give the ear's figures for a lesson: those of the built-in network, with a wider limit."""
    from assistant.speech.calibration import builtin_calibration

    return builtin_calibration().model_copy(update={"loop_per_phone": _LOOP_PER_PHONE})


def speak_through(
    spoken: SpokenLesson, *, tell: Callable[[Reply], None], hear: Callable[[str], Heard | None]
) -> None:
    """Speak and listen until the lesson is over or ``hear`` has nothing more to give."""
    tell(spoken.opening())
    while not spoken.over:
        heard = hear(spoken.grammar)
        if heard is None:
            return
        tell(spoken.handle(heard))


def talk_lesson(
    lesson: Lesson,
    settings: Settings,
    screen: LessonScreen,
    files: Path | None,
    advise: Callable[[], str],
) -> None:
    """Run a lesson by voice, or from the recordings of ``files`` in their order.

    ``advise`` reviews a lesson that has ended and gives what is said of it. Raises ``GivenError``
    where there is no ear, no microphone or no recording.
    """
    from assistant.speech.ear import open_ear
    from assistant.speech.lexicon import builtin_lexicon

    spoken = SpokenLesson(lesson, complaint_words, known=builtin_lexicon())

    def show(reply: Reply) -> None:
        if reply.action is not None:
            screen.show(reply.action)
        if reply.action is None or isinstance(reply.action, Hinted):
            screen.said(reply.say)  # of what the lesson answers, more is shown than is said

    vocabulary = spoken.vocabulary
    ear = open_ear(
        settings, graphs=vocabulary.graph, figures=lesson_figures(), words=vocabulary.words
    )
    if missing := getattr(ear, "missing", ()):
        screen.note(f"The recogniser does not know: {', '.join(missing)}. Numbers do as well.")
    if files is not None:
        hear_next = _recorded(_in_order(files), file_ear(ear=ear), screen)
        speak_through(spoken, tell=show, hear=hear_next)
        if lesson.ended:
            screen.said(advise())
        return
    with open_talk(settings, ear=ear, note=screen.note) as talk:

        def tell(reply: Reply) -> None:
            show(reply)
            talk.say(reply.say, slow=reply.slow, can_be_cut=not reply.careful)

        try:
            hear = _listener(talk, screen, settings.silence_seconds)
            speak_through(spoken, tell=tell, hear=hear)
        except KeyboardInterrupt:
            return
        if lesson.ended:
            advice = advise()
            screen.said(advice)
            talk.say(advice)


def _listener(
    talk: Conversation, screen: LessonScreen, patience_s: float
) -> Callable[[str], Heard | None]:
    """Give what waits for speech; silence is never nagged at."""

    def hear(grammar: str) -> Heard:
        while True:
            heard = talk.listen(grammar, patience_s=patience_s)
            if heard is not None and heard.kind != "silence":
                screen.heard("", heard.text or "(other words)")
                return heard_event(heard)

    return hear


def _in_order(path: Path) -> Iterator[Path]:
    from assistant.commands.recorded import load_recordings

    for found in load_recordings(path).values():
        yield from found if isinstance(found, list) else [found]


def _recorded(
    paths: Iterator[Path], ear: Callable[[Path, str], Heard], screen: LessonScreen
) -> Callable[[str], Heard | None]:
    """Give what hears one recording after the other; None when they are used up."""

    def hear(grammar: str) -> Heard | None:
        path = next(paths, None)
        if path is None:
            return None
        heard = ear(path, grammar)
        best = max(heard.alternatives, key=lambda one: one.weight, default=None)
        screen.heard(path.name, "(nothing)" if best is None else best.text)
        return heard

    return hear


# --- only said aloud -------------------------------------------------------------------------


class Speaker:
    """Renders and plays; waits for the end of each text."""

    def __init__(self, voice: Voice, loudspeaker: Loudspeaker, lesson: Lesson) -> None:
        self._voice = voice
        self._loudspeaker = loudspeaker
        self._lesson = lesson

    def tell(self, action: Action) -> None:
        """Say an action."""
        self.say(spoken_action(action, self._lesson))

    def say(self, text: str) -> None:
        """Say a text to its end."""
        sound = self._voice.render(text)
        if len(sound.samples):
            self._loudspeaker.play(sound).wait()

    def close(self) -> None:
        """Let go of the voice and the loudspeaker."""
        self._loudspeaker.stop()
        self._voice.close()


def open_aloud(settings: Settings, lesson: Lesson) -> Speaker:
    """Open voice and loudspeaker; raise ``GivenError`` where there is no speech engine."""
    from assistant.speech.devices import Loudspeaker
    from assistant.speech.voice import open_voice

    voice = open_voice(wanted=True, rate=settings.voice_rate)
    return Speaker(voice, Loudspeaker(), lesson)
