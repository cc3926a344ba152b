"""From trained weights to ``final.mdl`` as vosk loads it.

The file is Kaldi's binary form of a transition model and an nnet3 acoustic model. Mean and
deviation of the input and the batch norm are folded into the affine layers. Their matrices are
written in 8 bits an entry, those of the first and the last layer, which are small, in 16.
``posteriors`` computes the folded network with numpy alone.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from assistant.errors import GivenError
from assistant.speech.acoustic.matrixfile import matrix_bytes, read_matrix
from assistant.speech.lexicon import PHONES
from assistant.speech.phonegraph import builtin_phones
from assistant.speech.secondnet import write_second

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    Layers = list[tuple[NDArray[np.float32], NDArray[np.float32]]]

__all__ = [
    "EPSILON",
    "between",
    "folded",
    "is_model",
    "is_second",
    "layer_count",
    "model_bytes",
    "output_of_phone",
    "posteriors",
    "read_layers",
    "read_model",
    "write_second_from",
]

_HALF: Final = 0.5
EPSILON: Final = 1e-5
"""What batch norm adds to a variance."""
_SHIFTS: Final = (3, 3, 3, 6, 6, 9)
_STRIDE: Final = 3
_HEAD: Final = b"<LinearParams> "


def output_of_phone(name: str) -> int:
    """Give the network's output of a phone of ``phones.txt``; silence and blank share 0."""
    base = name.rsplit("_", 1)[0]
    return 1 + PHONES.index(base) if base in PHONES else 0


def layer_count(weights: Mapping[str, Any]) -> int:
    """Count the first network's layers in its parameters or a weights file, the last included."""
    return sum(name.startswith("c.") and name.endswith("weight") for name in weights)


def folded(weights: Mapping[str, NDArray[Any]]) -> Layers:
    """Fold the input's mean and deviation and the batch norm into the affines.

    ``weights`` are those of a weights file; gives matrix (outputs x inputs) and bias of each
    layer.
    """
    layers = []
    for number in range(layer_count(weights)):
        matrix = np.asarray(weights[f"c.{number}.weight"], np.float64)
        bias = np.asarray(weights[f"c.{number}.bias"], np.float64)
        if number == 0:
            places = matrix.shape[1] // len(weights["mu"])
            matrix = matrix / np.tile(np.asarray(weights["sd"], np.float64), places)
            bias = bias - matrix @ np.tile(np.asarray(weights["mu"], np.float64), places)
        if f"b.{number}.weight" in weights:
            var = np.asarray(weights[f"b.{number}.running_var"], np.float64)
            scale = weights[f"b.{number}.weight"] / np.sqrt(var + EPSILON)
            bias = (bias - weights[f"b.{number}.running_mean"]) * scale
            bias = bias + weights[f"b.{number}.bias"]
            matrix = matrix * scale[:, None]
        layers.append((matrix.astype(np.float32), bias.astype(np.float32)))
    return layers


def is_model(path: Path) -> bool:
    """Tell a ``final.mdl`` from a weights file, by its name."""
    return path.suffix == ".mdl"


def read_layers(path: Path) -> Layers:
    """Read folded layers from a ``final.mdl``, or fold those of a weights file."""
    if is_model(path):
        return read_model(path)
    with np.load(path) as weights:
        return folded(dict(weights))


def is_second(path: Path) -> bool:
    """Tell a weights file of the second network from one of the first."""
    if is_model(path):
        return False
    with np.load(path) as weights:
        return "in.weight" in weights.files


def write_second_from(path: Path, out: Path) -> None:
    """Write the second network's file from its weights file."""
    with np.load(path) as weights:
        write_second(dict(weights), out)


def between(layers: Layers, others: Layers, share: float) -> Layers:
    """Give a network between two, of which one went on from the other: ``share`` is of ``others``.

    Folded layers lie side by side whatever norm each run gathered. Raises ``GivenError`` when the
    two are not of the same size or ``share`` is not from 0 to 1.
    """
    if [one.shape for one, _ in layers] != [one.shape for one, _ in others]:
        raise GivenError(
            "The two networks are not of the same size, so none lies between them.",
            next_step="Give weights of two runs of which one went on from the other.",
        )
    if not 0 <= share <= 1:
        raise GivenError(
            f"A share of {share:g} is not between the two networks.",
            next_step="Give a share from 0, the first network, to 1, the second.",
        )
    own = 1 - share
    return [
        (own * matrix + share * other, own * bias + share * shift)
        for (matrix, bias), (other, shift) in zip(layers, others, strict=True)
    ]


def posteriors(layers: Layers, features: NDArray[Any]) -> NDArray[np.float64]:
    """Give log posteriors, outputs in time x 40, of features, frames x 40."""
    outputs = (len(features) + _STRIDE - 1) // _STRIDE
    shifts = _SHIFTS[: len(layers) - 2]
    around = 4 + sum(shifts)
    spots = np.arange(-around, _STRIDE * (outputs - 1) + around + 1)
    padded = np.asarray(features, np.float64)[spots.clip(0, len(features) - 1)]
    # Layer 0 at every output's place and at those that the layers after it need on either side
    places = outputs + 2 * sum(shifts) // _STRIDE
    rows = [padded[_STRIDE * k : _STRIDE * k + 9].ravel() for k in range(places)]
    total = np.maximum(np.array(rows) @ layers[0][0].T + layers[0][1], 0.0)
    for (matrix, bias), shift in zip(layers[1:-1], shifts, strict=True):
        step = shift // _STRIDE
        seen = [total[: -2 * step], total[step:-step], total[2 * step :]]
        total = total[step:-step] + np.maximum(np.hstack(seen) @ matrix.T + bias, 0.0)
    scores = total @ layers[-1][0].T + layers[-1][1]
    return np.asarray(scores - np.log(np.exp(scores).sum(1, keepdims=True)))


def _int(value: int) -> bytes:
    return b"\x04" + struct.pack("<i", value)


def _float(value: float) -> bytes:
    return b"\x04" + struct.pack("<f", value)


def _vector(values: NDArray[Any]) -> bytes:
    return b"FV " + _int(len(values)) + np.asarray(values, "<f4").tobytes()


def _ints(values: list[int]) -> bytes:
    """Kaldi's vector of int32: the size of one, the count, the values."""
    return b"\x04" + struct.pack("<i", len(values)) + struct.pack(f"<{len(values)}i", *values)


def _transitions(names: list[str]) -> bytes:
    """Every phone has one state with a loop and a way on, both of one half."""
    phones = len(names)
    entry = (
        _int(2)
        + (_int(0) + _int(2) + _int(0) + _float(_HALF) + _int(1) + _float(_HALF))
        + (_int(-1) + _int(0))
    )
    topology = _ints([*range(1, phones + 1)]) + _ints([-1, *[0] * phones]) + _int(1) + entry
    triples = b"".join(
        _int(k) + _int(0) + _int(output_of_phone(name)) for k, name in enumerate(names, start=1)
    )
    logs = np.full(2 * phones + 1, np.log(_HALF))
    logs[0] = 0.0
    return (
        b"<TransitionModel> <Topology> "
        + topology
        + b"</Topology> <Triples> "
        + (_int(phones) + triples)
        + b"</Triples> <LogProbs> "
        + _vector(logs)
        + b"</LogProbs> </TransitionModel> "
    )


def _shifted(name: str, offset: int) -> str:
    return name if offset == 0 else f"Offset({name}, {offset})"


def _summed(layers: int, offset: int) -> str:
    """Name the sum of the first ``layers`` rectifiers; Sum takes two at a time."""
    terms = [_shifted(f"l{k}.relu", offset) for k in range(layers)]
    whole = terms[-1]
    for term in reversed(terms[:-1]):
        whole = f"Sum({term}, {whole})"
    return whole


def _configuration(layers: int, bands: int) -> str:
    last = layers - 1
    rows = [f"input-node name=input dim={bands}"]
    for number in range(last):
        if number == 0:
            seen = ", ".join(_shifted("input", offset) for offset in range(-4, 5))
        else:
            shift = _SHIFTS[number - 1]
            seen = ", ".join(_summed(number, offset) for offset in (-shift, 0, shift))
        for kind, source in (("affine", f"Append({seen})"), ("relu", f"l{number}.affine")):
            name = f"l{number}.{kind}"
            rows.append(f"component-node name={name} component={name} input={source}")
    ends = ((f"l{last}.affine", _summed(last, 0)), ("output.log-softmax", f"l{last}.affine"))
    for name, seen in ends:
        rows.append(f"component-node name={name} component={name} input={seen}")
    rows.append("output-node name=output input=output.log-softmax objective=linear")
    return "\n".join(rows) + "\n\n"


def _affine(
    name: str, matrix: NDArray[Any], bias: NDArray[Any], *, one_byte: bool = False
) -> bytes:
    kind = "FixedAffineComponent"
    head = f"<ComponentName> {name} <{kind}> <LinearParams> ".encode()
    return (
        head
        + matrix_bytes(matrix, one_byte=one_byte)
        + b"<BiasParams> "
        + _vector(bias)
        + f"</{kind}> ".encode()
    )


def _pointwise(name: str, kind: str, size: int) -> bytes:
    nothing = _vector(np.zeros(0))
    return (
        f"<ComponentName> {name} <{kind}> <Dim> ".encode()
        + (_int(size) + b"<ValueAvg> " + nothing + b"<DerivAvg> " + nothing)
        + (b"<Count> " + _float(0.0) + b"<NumDimsSelfRepaired> " + _float(0.0))
        + (b"<NumDimsProcessed> " + _float(0.0) + f"</{kind}> ".encode())
    )


def model_bytes(layers: Layers) -> bytes:
    """Give the whole ``final.mdl`` for folded layers and the built-in phones."""
    table = builtin_phones().ids
    names = sorted(table, key=lambda name: table[name])
    bands = layers[0][0].shape[1] // 9
    parts = [
        b"\0B",
        _transitions(names),
        b"<Nnet3> \n",
        _configuration(len(layers), bands).encode(),
    ]
    parts.append(b"<NumComponents> " + _int(2 * len(layers)))
    for number, (matrix, bias) in enumerate(layers[:-1]):
        parts.append(_affine(f"l{number}.affine", matrix, bias, one_byte=number > 0))
        parts.append(_pointwise(f"l{number}.relu", "RectifiedLinearComponent", len(bias)))
    parts.append(_affine(f"l{len(layers) - 1}.affine", *layers[-1]))
    parts.append(_pointwise("output.log-softmax", "LogSoftmaxComponent", len(layers[-1][1])))
    ends = _int(0) + b"<RightContext> " + _int(0) + b"<Priors> " + _vector(np.zeros(0))
    return b"".join([*parts, b"</Nnet3> <LeftContext> ", ends])


def read_model(path: Path) -> Layers:
    """Read the folded layers back from a ``final.mdl`` of ours, compressed or not."""
    data = path.read_bytes()
    layers, at = [], 0
    while (at := data.find(_HEAD, at)) >= 0:
        matrix, at = read_matrix(data, at + len(_HEAD))
        at += len(b"<BiasParams> FV ")
        layers.append((matrix, np.frombuffer(data, "<f4", len(matrix), at + 5)))
    return layers
