"""Which ear hears: by the settings, and by what can be loaded on this machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.readings import words_of_all_grammars
from assistant.speech.ear_sphinx import SphinxEar
from assistant.speech.ear_vosk import BuiltinEar, VoskModelEar
from assistant.speech.events import GraphSource, Recogniser, spoken_graph
from assistant.speech.parts import MissingPartError

if TYPE_CHECKING:
    from assistant.settings import Settings

__all__ = ["open_ear"]


def open_ear(settings: Settings | None = None, *, graphs: GraphSource = spoken_graph) -> Recogniser:
    """Give the ear of the settings; left to itself vosk, and pocketsphinx where vosk fails.

    ``settings.recogniser`` is ``auto``, ``vosk`` or ``pocketsphinx``; ``settings.model_dir`` is
    another vosk model than the built-in one. Raises ``MissingPartError`` where none loads and
    ``GivenError`` on a model directory that cannot be used.
    """
    which = settings.recogniser if settings is not None else "auto"
    model_dir = settings.model_dir if settings is not None else None
    if which == "pocketsphinx":
        return SphinxEar(graphs)
    try:
        if model_dir is not None:
            return VoskModelEar(model_dir, words_of_all_grammars(), graphs)
        return BuiltinEar(graphs)
    except MissingPartError:
        if which == "vosk":
            raise
    return SphinxEar(graphs)
