"""Turns uniform latents into parameter values by the quantile function of their spread."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from assistant.knowledge.templates import Spread

__all__ = ["quantile"]


def quantile(spread: Spread, latent: NDArray[np.float32]) -> NDArray[np.float32]:
    """Give the values of ``spread`` at ``latent`` in [0, 1), same shape.

    ``opposite`` is no distribution: the caller derives it from the other parameter.
    """
    if spread.uniform is not None:
        low, high = spread.uniform
        return np.asarray(low + (high - low) * latent, dtype=np.float32)
    if spread.loguniform is not None:
        low, high = np.log(spread.loguniform)
        return np.exp(np.asarray(low + (high - low) * latent, dtype=np.float32))
    if spread.chance is not None:
        return np.asarray(latent < spread.chance, dtype=np.float32)
    if spread.pick is not None:
        edges = np.cumsum(list(spread.pick.values()))
        index = np.searchsorted(edges / edges[-1], latent, side="right")
        values = np.asarray(list(spread.pick.keys()), dtype=np.float32)
        return values[np.minimum(index, len(values) - 1)]
    value = 0.0 if spread.const is None else spread.const
    return np.full(latent.shape, value, dtype=np.float32)
