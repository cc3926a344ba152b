"""The second network, computed with numpy: log posteriors of phones for a whole sound.

It is small, sees all of a sound at once, and gives another opinion on what vosk's network lists.
``acoustic.attending`` has the same network for training and says how it is built. Its matrices
lie in 8 bits an entry with a scale for each row.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.speech.modeldir import builtin_directory

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["HEADS", "REACH", "SIDE", "SecondNet", "builtin_second", "turns", "write_second"]

HEADS: Final = 4
REACH: Final = 11
_SLOWEST: Final = 1000.0
SIDE: Final = 4
_STRIDE: Final = 3
_MOST: Final = 127
_EPSILON: Final = 1e-5
"""What torch's layer norm adds to a variance."""


def turns(places: int, pairs: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Give cosines and sines, places x pairs, by which questions and answers are rotated."""
    speeds = _SLOWEST ** (-np.arange(pairs) / pairs)
    angles = np.arange(places)[:, None] * speeds
    return np.cos(angles).astype(np.float32), np.sin(angles).astype(np.float32)


@dataclass(frozen=True, slots=True)
class _Affine:
    """A matrix in 8 bits, transposed (inputs x outputs), the scale of its columns, the bias."""

    matrix: NDArray[np.int8]
    scale: NDArray[np.float32]
    bias: NDArray[np.float32]

    def __call__(self, x: NDArray[np.float32]) -> NDArray[np.float32]:
        made: NDArray[np.float32] = x @ self.matrix.astype(np.float32)
        made *= self.scale
        made += self.bias
        return made


class SecondNet:
    """The network of a file that ``write_second`` wrote.

    A sound has few outputs, so numpy's own steps weigh as much as the products: they are kept few
    and in place.
    """

    def __init__(self, path: Path) -> None:
        with np.load(path) as held:
            values = {name: held[name] for name in held.files}
        self._affines = {
            name: _Affine(values[f"{name}.steps"], values[f"{name}.step"], values[f"{name}.bias"])
            for name in (one.removesuffix(".steps") for one in values if one.endswith(".steps"))
        }
        self._values = values
        self._blocks = sum(name.endswith("gate") for name in self._affines)
        self._kernels = [
            np.ascontiguousarray(values[f"{block}.deep.weight"].T) for block in range(self._blocks)
        ]
        width = len(values["in.bias"])
        self._share = np.full(width, 1.0 / width, dtype=np.float32)

    def posteriors(self, features: NDArray[np.float32]) -> NDArray[np.float32]:
        """Give log posteriors, outputs in time x 40, of features, frames x 40."""
        outputs = (len(features) + _STRIDE - 1) // _STRIDE
        x = (features - self._values["mu"]) / self._values["sd"]
        spots = _STRIDE * np.arange(outputs)[:, None] + np.arange(-SIDE, SIDE + 1)
        x = x[spots.clip(0, len(features) - 1)].reshape(outputs, -1).astype(np.float32)
        x = np.maximum(self._affines["in"](x), 0.0)
        cos, sin = turns(outputs, x.shape[1] // HEADS // 2)
        for block in range(self._blocks):
            x += self._convolved(block, x)
            x += self._attended(f"{block}.", x, cos, sin)
            wide = self._affines[f"{block}.wider"](self._normed(f"{block}.wide", x))
            x += self._affines[f"{block}.wide"](np.maximum(wide, 0.0, out=wide))
        scores = self._affines["out"](self._normed("out", x))
        scores -= scores.max(1, keepdims=True)
        whole: NDArray[np.float32] = scores - np.log(np.exp(scores).sum(1, keepdims=True))
        return whole

    def _normed(self, name: str, x: NDArray[np.float32]) -> NDArray[np.float32]:
        whole: NDArray[np.float32] = x - (x @ self._share)[:, None]
        power = np.einsum("ij,ij->i", whole, whole) / np.float32(x.shape[1])
        whole *= (1.0 / np.sqrt(power + np.float32(_EPSILON)))[:, None]
        whole *= self._values[f"{name}.scale"]
        whole += self._values[f"{name}.shift"]
        return whole

    def _convolved(self, block: int, x: NDArray[np.float32]) -> NDArray[np.float32]:
        gated = self._affines[f"{block}.gate"](self._normed(f"{block}.conv", x))
        width = x.shape[1]
        closed = np.exp(-gated[:, width:])
        closed += 1.0
        around = np.zeros((len(x) + REACH - 1, width), dtype=np.float32)
        np.divide(gated[:, :width], closed, out=around[REACH // 2 :][: len(x)])
        seen, part = np.zeros_like(x), np.empty_like(x)
        for place, kernel in enumerate(self._kernels[block]):
            np.multiply(around[place : place + len(x)], kernel, out=part)
            seen += part
        passed = self._normed(f"{block}.deep", seen)
        return self._affines[f"{block}.conv"](np.maximum(passed, 0.0, out=passed))

    def _attended(
        self,
        here: str,
        x: NDArray[np.float32],
        cos: NDArray[np.float32],
        sin: NDArray[np.float32],
    ) -> NDArray[np.float32]:
        places, width = x.shape
        asked = self._affines[f"{here}ask"](self._normed(f"{here}attend", x))
        parts = asked.reshape(places, 3, HEADS, width // HEADS).transpose(1, 2, 0, 3)
        half = width // HEADS // 2
        low, high = parts[:2, ..., :half], parts[:2, ..., half:]
        turned = np.concatenate([low * cos - high * sin, low * sin + high * cos], -1)
        turned[0] *= np.float32((width // HEADS) ** -0.5)
        likeness = turned[0] @ turned[1].transpose(0, 2, 1)
        likeness -= likeness.max(-1, keepdims=True)
        np.exp(likeness, out=likeness)
        heard = likeness @ parts[2]
        heard /= likeness.sum(-1, keepdims=True)
        return self._affines[f"{here}attend"](heard.transpose(1, 0, 2).reshape(places, width))


def write_second(parameters: Mapping[str, NDArray[Any]], path: Path) -> None:
    """Write the network's file from trained parameters; matrices are rounded to 8 bits."""
    made: dict[str, Any] = {}
    for name, one in parameters.items():
        if not name.endswith(".weight") or name.endswith("deep.weight"):
            made[name] = np.asarray(one, np.float32)
            continue
        matrix = np.asarray(one, np.float64)
        step = np.abs(matrix).max(1) / _MOST
        steps = np.round(matrix / np.maximum(step, 1e-12)[:, None])
        short = name.removesuffix(".weight")
        made[f"{short}.steps"] = np.ascontiguousarray(steps.T.astype(np.int8))
        made[f"{short}.step"] = step.astype(np.float32)
    np.savez(path, **made)


@cache
def builtin_second() -> SecondNet:
    """Give the second network that comes with the package."""
    return SecondNet(builtin_directory() / "am" / "second.npz")
