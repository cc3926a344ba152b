"""The figures that go with the built-in network: costs in its graphs and limits on its scores."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Annotated

import yaml
from pydantic import BaseModel, ConfigDict, Field

from assistant.speech.looks import Look

__all__ = ["Calibration", "builtin_calibration"]

_Cost = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]


class Calibration(BaseModel):
    """Costs and limits, natural logarithms against the network's log posteriors.

    ``blank`` is paid for each frame (30 ms) of blank or silence, because a CTC network is too
    sure of blank; ``word`` for each word, ``unusual`` for each odd turn of a phrase
    (``habits.oddities``), ``loop_phone`` for each phone of the loop. ``expected`` is given to an
    answer in words where the check asks for one (``habits.is_expected``). The loop's score counts
    as that of other words when ``loop_ahead`` is taken from it, and ``loop_per_phone`` for each of
    its phones: a long phrase gathers more. Up to ``asked_behind`` behind that a phrase is still
    given, to be asked back, a number of one word up to ``number_behind``; further behind the sound
    is other words. A phrase must be ``silence_behind`` better than silence: noise makes phrases
    that hardly are. With ``second`` the second network is asked too. Where one of these
    comparisons, or that of the best phrase with the next, comes out closer than ``doubt``, it
    hears the sound again in each of ``looks`` (``looks.py``); ``worst``, 0 to 1, is how much the
    nearest of all hearings counts against their mean, in which the first network's counts
    ``first`` times where the second has heard the sound more than once. Every rival of the best
    phrase counts as ``nearer`` than it came, at most as near as can be: networks are too sure of
    their best.
    ``listed_behind``, at most 8, is how much further behind other words phrases are listed than
    what the decoder gives: the second network may find them better.
    ``sharpness`` scales scores to natural logarithms of weights.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    blank: _Cost
    word: _Cost
    unusual: _Cost
    expected: _Cost
    loop_phone: _Cost
    loop_ahead: Annotated[float, Field(ge=-100, le=1000)]
    loop_per_phone: Annotated[float, Field(ge=0, le=10)]
    asked_behind: _Cost
    number_behind: _Cost
    silence_behind: _Cost
    second: bool
    doubt: _Cost
    looks: tuple[Look, ...]
    worst: Annotated[float, Field(ge=0, le=1)]
    first: Annotated[float, Field(gt=0, le=10)]
    nearer: _Cost
    listed_behind: Annotated[float, Field(ge=0, le=8)]
    sharpness: Annotated[float, Field(gt=0, le=10)]


@cache
def builtin_calibration() -> Calibration:
    """Give the figures of the built-in network."""
    source = files("assistant.speech").joinpath("builtin", "calibration.yaml")
    return Calibration.model_validate(yaml.safe_load(source.read_text(encoding="utf-8")))
