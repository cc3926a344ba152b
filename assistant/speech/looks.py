"""Several hearings of one sound: by two networks, and changed a little where those leave it close.

A network reads sounds between two phones now so, now so: another network, or the same a little
slower, may decide otherwise. What is right mostly stays. So each phrase is scored by the mean of
all hearings, and the winner is less sure than that where a rival came nearer to it in one of them.
Both were measured, see the model card. Quiet at the ends of a sound is not heard again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from assistant.readings.fusion import Hypothesis
from assistant.speech.audio import EAR_RATE, Samples, resample
from assistant.speech.quietends import FRAME, QUIET

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

__all__ = ["Look", "changed", "spoken_part", "together"]

_FULL: Final = 32767
_KEPT: Final = 15
"""Frames of quiet that are kept around what is heard again."""
_UNLISTED: Final = 10.0
"""What a phrase is behind the best where it is not listed: decoders list what is up to 9 behind."""


class Look(BaseModel):
    """How a sound is changed before it is heard again.

    ``pace`` is how fast it is played, pitch and all; 1 is as it was. ``tilt`` in (-1, 1) is taken
    from each sample of the one before, as loud on the whole as it was: below 0 it is duller,
    above 0 sharper.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    pace: Annotated[float, Field(ge=0.5, le=2.0)] = 1.0
    tilt: Annotated[float, Field(gt=-1.0, lt=1.0)] = 0.0


def spoken_part(sound: Samples) -> Samples:
    """Give the sound without most of the quiet before and after speech; all of it in loud noise."""
    frames = sound[: len(sound) // FRAME * FRAME].reshape(-1, FRAME)
    power = np.mean(frames.astype(np.float64) ** 2, axis=1)
    loud = np.flatnonzero(power > QUIET * power.max(initial=0.0))
    if not len(loud):
        return sound
    first, last = max(0, loud[0] - _KEPT), loud[-1] + 1 + _KEPT
    return sound[first * FRAME : last * FRAME if last < len(frames) else len(sound)]


def changed(sound: Samples, look: Look) -> Samples:
    """Give the sound as ``look`` has it."""
    if look.pace != 1.0:
        sound = resample(sound, round(EAR_RATE * look.pace), EAR_RATE)
    if look.tilt and len(sound):
        sound = _tilted(sound, look.tilt)
    return sound


def _tilted(sound: Samples, tilt: float) -> Samples:
    plain = sound.astype(np.float64)
    filtered = plain - tilt * np.concatenate([[0.0], plain[:-1]])
    power = float(np.mean(filtered**2))
    if power > 0:
        filtered *= np.sqrt(np.mean(plain**2) / power)
    filtered /= max(1.0, float(np.abs(filtered).max()) / _FULL)
    whole: Samples = filtered.round().astype(np.int16)
    return whole


def together(
    hearings: Sequence[Sequence[Hypothesis]],
    apart: Collection[str] = (),
    worst: float = 1.0,
    first: float = 1.0,
) -> list[Hypothesis]:
    """Join what was heard in several looks at one sound; best first, each text once.

    A text's score is its mean over the hearings, of which the first counts ``first`` times and
    the others once, below the best of each, and ``_UNLISTED`` below it where it was not listed.
    Texts beside the winner are raised towards where they came nearest to it, by the share
    ``worst`` of the way, but not above it. Those of ``apart``, such as silence, keep their mean
    and never win. A hearing that lists nothing is left out.
    """
    listed = [{one.text: one.score for one in hearing} for hearing in hearings if hearing]
    relative: dict[str, list[float]] = {
        text: [] for text in dict.fromkeys(text for scores in listed for text in scores)
    }
    for scores in listed:
        best = max(scores.values())
        unlisted = min(-_UNLISTED, min(scores.values()) - best)
        for text, found in relative.items():
            found.append(scores[text] - best if text in scores else unlisted)
    shares = np.ones(len(listed))
    shares[:1] = first
    means = {text: float(shares @ found / shares.sum()) for text, found in relative.items()}
    phrases = [text for text in means if text not in apart]
    winner = max(phrases, key=means.__getitem__, default=None)
    if winner is not None:
        top = means[winner]
        for text in phrases:
            nearest = min(a - b for a, b in zip(relative[winner], relative[text], strict=True))
            behind = worst * nearest + (1 - worst) * (top - means[text])
            means[text] = top - max(0.0, behind)
    ranked = [Hypothesis(text=text, score=score) for text, score in means.items()]
    return sorted(ranked, key=lambda one: (-one.score, one.text != winner))
