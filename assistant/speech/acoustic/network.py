"""The phone network: affine layers over shifted frames, with shortcuts, ending in CTC outputs.

Layer 0 sees frames -4 to 4 and steps by three; the layers after it see their input at three
places, ``STEPS`` outputs apart; each is affine, batch norm, rectifier, and from layer 2 on the
input is the sum of all layers before. The last layer gives 40 outputs: the blank and the 39
phones. Parameters lie in a dictionary under the names of the weights file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import torch
import torch.nn.functional as fn

from assistant.speech.acoustic.export import EPSILON, layer_count

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

__all__ = [
    "OUTPUTS",
    "STEPS",
    "STRIDE",
    "Parameters",
    "context",
    "fresh_parameters",
    "grown",
    "load_parameters",
    "log_posteriors",
    "narrowed",
    "output_frames",
    "save_parameters",
    "trained_names",
]

Parameters = dict[str, Any]
OUTPUTS: Final = 40
STRIDE: Final = 3
STEPS: Final = (1, 1, 1, 2, 2, 3)
"""Steps of the layers after the first; a network of fewer layers has the first of these."""
_MOMENTUM: Final = 0.02


def output_frames(frames: Any) -> Any:
    """Give the outputs of so many input frames; one of three, the first included."""
    return (frames + STRIDE - 1) // STRIDE


def context(layers: int) -> int:
    """Give the input frames that an output sees on either side, of a network of ``layers``."""
    return 4 + STRIDE * sum(STEPS[: layers - 2])


def load_parameters(path: Path, device: str) -> Parameters:
    """Read a weights file (``.npz``)."""
    with np.load(path) as held:
        names = [name for name in held.files if held[name].dtype.kind == "f"]
        return {name: torch.tensor(held[name]).float().to(device) for name in names}


def save_parameters(parameters: Mapping[str, Any], path: Path) -> None:
    """Write a weights file."""
    np.savez(path, **{name: one.detach().cpu().numpy() for name, one in parameters.items()})


def fresh_parameters(
    mean: Any,
    deviation: Any,
    *,
    width: int = 256,
    layers: int = 7,
    seed: int = 0,
    device: str = "cpu",
) -> Parameters:
    """Give random parameters for inputs of ``mean`` and ``deviation``, 40 values each."""
    source = torch.Generator().manual_seed(seed)
    sizes = [(width, 9 * 40), *[(width, 3 * width)] * (layers - 2), (OUTPUTS, width)]
    made: Parameters = {"mu": torch.as_tensor(mean), "sd": torch.as_tensor(deviation)}
    for number, (rows, columns) in enumerate(sizes):
        spread = (2.0 / columns) ** 0.5
        made[f"c.{number}.weight"] = torch.randn(rows, columns, generator=source) * spread
        made[f"c.{number}.bias"] = torch.zeros(rows)
        if number < len(sizes) - 1:
            made[f"b.{number}.weight"] = torch.ones(rows)
            made[f"b.{number}.bias"] = torch.zeros(rows)
            made[f"b.{number}.running_mean"] = torch.zeros(rows)
            made[f"b.{number}.running_var"] = torch.ones(rows)
    return {name: one.to(device) for name, one in made.items()}


def grown(
    parameters: Parameters, width: int, layers: int, seed: int = 0, device: str = "cpu"
) -> Parameters:
    """Give a network of ``width`` and ``layers`` that computes almost what a smaller one does.

    New units have random inputs and are not yet listened to; new layers speak at a tenth.
    """
    had = layer_count(parameters)
    narrow = parameters["c.0.bias"].shape[0]
    if (narrow, had) == (width, layers):
        return {name: one.to(device) for name, one in parameters.items()}
    made = fresh_parameters(
        parameters["mu"], parameters["sd"], width=width, layers=layers, seed=seed
    )
    for number in range(layers):
        old = had - 1 if number == layers - 1 else number
        if number != layers - 1 and number >= had - 1:
            made[f"b.{number}.weight"] *= 0.1
            continue
        for name in [one for one in parameters if one.startswith((f"c.{old}.", f"b.{old}."))]:
            part, target = (parameters[name], made[name.replace(f".{old}.", f".{number}.")])
            if part.dim() < 2 or old == 0:
                target[: part.shape[0]] = part
            else:
                places = part.shape[1] // narrow
                seen = target.view(target.shape[0], places, width)
                seen[: part.shape[0]] = 0.0
                seen[: part.shape[0], :, :narrow] = part.view(part.shape[0], places, narrow)
    return {name: one.to(device) for name, one in made.items()}


def narrowed(parameters: Parameters, width: int) -> Parameters:
    """Give a network of ``width`` units a layer, of one that has as many or more.

    Units of all layers at one place are one channel, since layers are summed. Kept are the
    channels that move the layers which listen to them most: by the power that the norms make a
    channel expect, times the weights it is heard with.
    """
    had = parameters["c.0.bias"].shape[0]
    if had <= width:
        return parameters
    power, moves = torch.zeros(had), torch.zeros(had)
    last = layer_count(parameters) - 1
    for number in range(last):
        power += _expected_power(parameters, number)
        heard = parameters[f"c.{number + 1}.weight"].float().cpu()
        if number + 1 < last:
            norm = parameters[f"b.{number + 1}.weight"], parameters[f"b.{number + 1}.running_var"]
            heard = heard * (norm[0] * torch.rsqrt(norm[1] + EPSILON)).cpu()[:, None]
        moves += power * heard.view(len(heard), -1, had).square().sum((0, 1))
    kept = moves.argsort(descending=True)[:width].sort().values
    made: Parameters = {}
    for name, one in parameters.items():
        made[name] = one
        chosen = kept.to(one.device)
        if name.startswith("c.") and one.dim() > 1 and not name.startswith("c.0."):
            seen = one.view(len(one), -1, had)[:, :, chosen]
            made[name] = seen.reshape(len(one), -1)
        if name[:2] in {"c.", "b."} and not name.startswith(f"c.{last}."):
            made[name] = made[name][chosen]
    return {name: one.contiguous() for name, one in made.items()}


def _expected_power(parameters: Parameters, layer: int) -> Any:
    """Give the mean square of a rectified normal of the layer's shift and scale, by unit."""
    scale = parameters[f"b.{layer}.weight"].abs().float().cpu().clamp(min=EPSILON)
    shift = parameters[f"b.{layer}.bias"].float().cpu()
    at = shift / scale
    density = torch.exp(-at.square() / 2) / (2 * torch.pi) ** 0.5
    return (shift.square() + scale.square()) * torch.special.ndtr(at) + shift * scale * density


def trained_names(parameters: Mapping[str, Any], upper: int = 0) -> list[str]:
    """Name the parameters that training changes by gradients.

    With ``upper`` they are those of so many of the upper layers only.
    """
    ends = ("weight", "bias")
    names = [name for name in parameters if name[:2] in {"c.", "b."} and name.endswith(ends)]
    layer = {name: int(name.split(".")[1]) for name in names}
    lowest = 1 + max(layer.values()) - upper if upper else 0
    return [name for name in names if layer[name] >= lowest]


def _normed(
    parameters: Parameters,
    layer: int,
    x: Any,
    valid: Any | None,
    into: tuple[Parameters | None, float],
) -> Any:
    """Batch norm over the frames that ``valid`` marks, or by what was gathered before.

    ``x`` is clips x units x 1 x time. ``into`` are parameters that gather and the share of this
    batch in them; where they are others than ``parameters``, the norm is as it was before.
    """
    name = f"b.{layer}."
    mean, var = parameters[name + "running_mean"], parameters[name + "running_var"]
    if valid is not None:
        marks = valid[:, None, None].to(x.dtype)
        count = marks.sum()
        here = (x * marks).sum((0, 2, 3)) / count
        spread = ((x - here[:, None, None]).square() * marks).sum((0, 2, 3)) / count
        gathered, share = into
        target = parameters if gathered is None else gathered
        with torch.no_grad():
            target[name + "running_mean"].lerp_(here, share)
            target[name + "running_var"].lerp_(spread, share)
        if gathered is None:
            mean, var = here, spread
    scale = parameters[name + "weight"] * torch.rsqrt(var + EPSILON)
    shift = parameters[name + "bias"] - mean * scale
    return torch.addcmul(shift[:, None, None], x, scale[:, None, None])


def _layer(parameters: Parameters, layer: int, x: Any, *, stride: int = 1, step: int = 1) -> Any:
    """Affine over shifted frames; a picture one high, whose units a GPU may keep side by side."""
    weight = parameters[f"c.{layer}.weight"]
    kernel = weight.view(weight.shape[0], 1, -1, x.shape[1]).permute(0, 3, 1, 2)
    bias = parameters[f"c.{layer}.bias"]
    return fn.conv2d(x, kernel, bias, stride=(1, stride), dilation=(1, step))


def log_posteriors(
    parameters: Parameters,
    features: Any,
    lengths: Any,
    *,
    live: bool = False,
    dropped: float = 0.0,
    into: Parameters | None = None,
    share: float = _MOMENTUM,
) -> tuple[Any, Any]:
    """Give log posteriors, clips x outputs in time x 40, and the outputs of each clip.

    ``features`` is clips x frames x 40 and ``lengths`` the frames of each clip. Past its ends a
    clip goes on with its edge frames, as in Kaldi. ``live`` norms by this batch and gathers;
    ``dropped`` is the share of each layer's outputs that is left out. With ``into`` nothing is
    normed by this batch, but its mean and spread before each norm are gathered there; ``share``
    is that of this batch in what is gathered.
    """
    outputs = output_frames(lengths)
    most = int(outputs.max())
    device = features.device
    last = layer_count(parameters) - 1
    steps = STEPS[: last - 1]
    around = context(last + 1)
    spots = torch.arange(-around, STRIDE * (most - 1) + around + 1, device=device)
    held = spots[None].clamp(min=0).minimum(lengths[:, None] - 1)
    x = (features - parameters["mu"]) / parameters["sd"]
    x = x.gather(1, held[:, :, None].expand(-1, -1, x.shape[2]))[:, None].permute(0, 3, 1, 2)

    def valid(side: int) -> Any | None:
        if not live and into is None:
            return None
        return torch.arange(most + 2 * side, device=device)[None] < outputs[:, None] + 2 * side

    side = sum(steps)
    x = _layer(parameters, 0, x, stride=STRIDE)
    total = fn.dropout(torch.relu(_normed(parameters, 0, x, valid(side), (into, share))), dropped)
    for layer, step in enumerate(steps, start=1):
        side -= step
        x = _layer(parameters, layer, total, step=step)
        x = fn.dropout(
            torch.relu(_normed(parameters, layer, x, valid(side), (into, share))), dropped
        )
        total = total[..., step:-step] + x
    scores = _layer(parameters, last, total)[:, :, 0].transpose(1, 2)
    return scores.log_softmax(-1), outputs
