"""Whether each part of hearing and speaking is ready, and what to install if not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from assistant.errors import ProbetellError
from assistant.readings import words_of_all_grammars
from assistant.speech.devices import NoSoundCardError, sound_cards, try_devices
from assistant.speech.ear import open_ear
from assistant.speech.lexicon import builtin_lexicon
from assistant.speech.parts import MissingPartError, want
from assistant.speech.voice import EngineVoice

if TYPE_CHECKING:
    from assistant.settings import Settings

__all__ = ["Readiness", "speech_readiness"]

_VOICE_EXTRA: Final = "pip install 'probetell[voice]'"


@dataclass(frozen=True, slots=True, kw_only=True)
class Readiness:
    """One part: whether it is ready, in what form, and what to do if it is not."""

    part: str
    ready: bool
    detail: str
    install: str = ""


def speech_readiness(settings: Settings | None = None) -> list[Readiness]:
    """Try the recogniser, its words, the sound files, speech edges, the voice and the sound card.

    Loads what it reports on, so that "ready" means that it worked just now. Never raises.
    """
    return [
        *_recogniser(settings),
        _library("sound files", "miniaudio", "reads WAV, FLAC, OGG Vorbis and MP3"),
        _library("resampling", "soxr", "brings any rate to 16 kHz"),
        _library("speech edges", "webrtcvad", "finds where speech begins and ends"),
        _voice(settings),
        *_sound_card(),
    ]


def _library(part: str, module: str, detail: str) -> Readiness:
    if want(module) is None:
        return Readiness(
            part=part, ready=False, detail=f"{module} does not load", install=_VOICE_EXTRA
        )
    return Readiness(part=part, ready=True, detail=detail)


def _recogniser(settings: Settings | None) -> list[Readiness]:
    words = words_of_all_grammars()
    try:
        ear = open_ear(settings)
        ear.begin("commands").finish()
    except ProbetellError as error:
        return [
            Readiness(part="recogniser", ready=False, detail=error.message, install=error.next_step)
        ]
    missing = sorted(getattr(ear, "missing", ()) or words - builtin_lexicon().keys())
    return [
        Readiness(part="recogniser", ready=True, detail=ear.name),
        Readiness(
            part="words of the grammars",
            ready=not missing,
            detail=f"{len(words) - len(missing)} of {len(words)} known"
            + (f"; missing: {', '.join(missing)}" if missing else ""),
            install="Use another model, or leave these words out." if missing else "",
        ),
    ]


def _voice(settings: Settings | None) -> Readiness:
    if settings is not None and settings.voice == "off":
        return Readiness(part="voice", ready=True, detail="switched off; words are printed")
    try:
        voice = EngineVoice()
        try:
            seconds = voice.render("ready").seconds
        finally:
            voice.close()
    except ProbetellError as error:
        return Readiness(
            part="voice",
            ready=False,
            detail=f"{error.message} Words are printed instead.",
            install=error.next_step or _VOICE_EXTRA,
        )
    return Readiness(part="voice", ready=seconds > 0, detail=voice.name)


def _sound_card() -> list[Readiness]:
    found = []
    for part in ("microphone", "loudspeaker"):
        try:
            try_devices(part)
            cards = sound_cards()
            names = cards.microphones if part == "microphone" else cards.loudspeakers
            found.append(Readiness(part=part, ready=True, detail=", ".join(names) or "opens"))
        except (NoSoundCardError, MissingPartError) as error:
            install = _VOICE_EXTRA if isinstance(error, MissingPartError) else error.next_step
            found.append(Readiness(part=part, ready=False, detail=error.message, install=install))
    return found
