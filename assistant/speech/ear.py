"""Which ear hears: by the settings, and by what can be loaded on this machine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.readings import words_of_all_grammars
from assistant.speech.ear_both import BothEars
from assistant.speech.ear_sphinx import SphinxEar
from assistant.speech.ear_vosk import BuiltinEar, VoskModelEar
from assistant.speech.events import GraphSource, Recogniser, spoken_graph
from assistant.speech.parts import MissingPartError

if TYPE_CHECKING:
    from collections.abc import Collection

    from assistant.settings import Settings
    from assistant.speech.calibration import Calibration

__all__ = ["open_ear"]


def open_ear(
    settings: Settings | None = None,
    *,
    graphs: GraphSource = spoken_graph,
    figures: Calibration | None = None,
    words: Collection[str] | None = None,
) -> Recogniser:
    """Give the ear of the settings.

    ``figures`` are for the built-in network (``BuiltinEar``). ``words`` are those of ``graphs``
    where they are others than those of the grammars.

    ``settings.recogniser`` ``auto`` is vosk, or pocketsphinx where vosk does not load; ``vosk``
    and ``pocketsphinx`` are that one alone; ``both`` is vosk, and where it is not sure
    pocketsphinx too, which takes a while. ``settings.model_dir`` is another vosk model than the
    built-in one. Raises ``MissingPartError`` where none loads and ``GivenError`` on a model
    directory that cannot be used.
    """
    which = settings.recogniser if settings is not None else "auto"
    model_dir = settings.model_dir if settings is not None else None
    if which == "pocketsphinx":
        return SphinxEar(graphs)
    try:
        if model_dir is None:
            first: Recogniser = BuiltinEar(graphs, figures)
        else:
            first = VoskModelEar(model_dir, words or words_of_all_grammars(), graphs)
    except MissingPartError:
        if which != "auto":
            raise
        return SphinxEar(graphs)
    return BothEars(first, SphinxEar(graphs)) if which == "both" else first
