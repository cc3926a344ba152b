"""How well phones explain log posteriors: the best path of phrases, of any phones, of silence.

The paths are those of the decoding graphs (``phonegraph``): a phone lasts as long as it likes,
blanks may stand between any two and must between equal ones, and each frame of blank is paid for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["any_phones", "only_silence", "phone_paths"]

_NEVER: Final = np.float32(-1e30)


def phone_paths(
    scores: NDArray[np.float32], ways: Sequence[Sequence[int]], blank: float
) -> NDArray[np.float32]:
    """Give the score of the best path of each of ``ways``, numbers of phones from 1.

    ``scores`` are log posteriors, outputs in time x 40, of which 0 is the blank; ``blank`` is
    paid for each of its frames. A way of more phones than there is time for gets -1e30.
    """
    most = 2 * max(map(len, ways)) + 1
    labels = np.zeros((len(ways), most), dtype=np.intp)
    for row, way in zip(labels, ways, strict=True):
        row[1 : 2 * len(way) : 2] = way
    leaps = np.full(labels.shape, _NEVER, dtype=np.float32)
    leaps[:, 2:][(labels[:, 2:] != 0) & (labels[:, 2:] != labels[:, :-2])] = 0.0
    paid = scores.astype(np.float32)
    paid[:, 0] -= np.float32(blank)
    path = np.full((len(ways), most + 2), _NEVER, dtype=np.float32)
    here = path[:, 2:]
    here[:, 0], here[:, 1] = paid[0, 0], paid[0, labels[:, 1]]
    for frame in paid[1:]:
        leapt = path[:, :-2] + leaps
        here[:] = np.maximum(np.maximum(here, path[:, 1:-1]), leapt) + frame[labels]
    ends = 2 * np.array([len(way) for way in ways])
    rows = np.arange(len(ways))
    best: NDArray[np.float32] = np.maximum(here[rows, ends], here[rows, ends - 1])
    return best


def any_phones(scores: NDArray[np.float32], blank: float, phone: float) -> float:
    """Give the score of the best path through any phones, at least one; each costs ``phone``."""
    silence = scores[:, 0] - np.float32(blank)
    ahead = np.concatenate([[0.0], np.cumsum(silence)])
    last = np.full(scores.shape[1] - 1, _NEVER, dtype=np.float32)
    spoken = gap = float(_NEVER)
    for time, frame in enumerate(scores):
        entered = max(float(ahead[time]), gap, spoken) - phone
        gap = max(gap, spoken) + float(silence[time])
        last = np.maximum(last, np.float32(entered)) + frame[1:]
        spoken = float(last.max())
    return max(spoken, gap)


def only_silence(scores: NDArray[np.float32], blank: float) -> float:
    """Give the score of blanks alone."""
    return float(scores[:, 0].sum() - blank * len(scores))
