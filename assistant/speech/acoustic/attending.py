"""The second network: small, sees a whole sound at once, and scores what the first lists.

The first layer sees frames -4 to 4 and steps by three, as the first network's does. Each block
after it adds three things to what comes in, each of a layer norm of it: a gated convolution over
``REACH`` outputs, attention of ``HEADS`` heads with rotated places, and two affines with a
rectifier between them. The last layer gives 40 outputs, the blank and the 39 phones. (Convolution
beside attention: A. Gulati et al., Interspeech 2020; rotated places: J. Su et al., 2021.)
Parameters lie in a dictionary; ``assistant.speech.secondnet`` computes the same with numpy.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import torch
import torch.nn.functional as fn

from assistant.errors import GivenError
from assistant.speech.acoustic.network import (
    OUTPUTS,
    STRIDE,
    log_posteriors,
    output_frames,
    trained_names,
)
from assistant.speech.secondnet import HEADS, REACH, SIDE, turns

if TYPE_CHECKING:
    from collections.abc import Mapping

    from assistant.speech.acoustic.network import Parameters

__all__ = [
    "attending_posteriors",
    "deepened",
    "fresh_attending",
    "is_attending",
    "learnt_names",
    "posteriors_of",
]

_WIDER: Final = 3


def is_attending(parameters: Mapping[str, Any]) -> bool:
    """Tell parameters of the second network from those of the first."""
    return "in.weight" in parameters


def fresh_attending(
    mean: Any, deviation: Any, *, width: int, blocks: int, seed: int = 0, device: str = "cpu"
) -> Parameters:
    """Give random parameters for inputs of ``mean`` and ``deviation``, 40 values each."""
    source = torch.Generator().manual_seed(seed)
    made: Parameters = {"mu": torch.as_tensor(mean), "sd": torch.as_tensor(deviation)}

    def affine(name: str, rows: int, columns: int, share: float = 1.0) -> None:
        spread = share / columns**0.5
        made[f"{name}.weight"] = torch.randn(rows, columns, generator=source) * spread
        made[f"{name}.bias"] = torch.zeros(rows)

    def norm(name: str) -> None:
        made[f"{name}.scale"], made[f"{name}.shift"] = torch.ones(width), torch.zeros(width)

    affine("in", width, (2 * SIDE + 1) * 40)
    quiet = (3 * blocks) ** -0.5
    for block in range(blocks):
        here = f"{block}."
        for part in ("conv", "deep", "attend", "wide"):
            norm(f"{here}{part}")
        affine(f"{here}gate", 2 * width, width)
        made[f"{here}deep.weight"] = torch.randn(width, REACH, generator=source) * REACH**-0.5
        affine(f"{here}conv", width, width, quiet)
        affine(f"{here}ask", 3 * width, width)
        affine(f"{here}attend", width, width, quiet)
        affine(f"{here}wider", _WIDER * width, width)
        affine(f"{here}wide", width, _WIDER * width, quiet)
    norm("out")
    affine("out", OUTPUTS, width)
    return {name: one.float().to(device) for name, one in made.items()}


def deepened(parameters: Parameters, blocks: int, *, seed: int = 0) -> Parameters:
    """Give a network of so many ``blocks`` that computes what one of fewer does.

    New blocks come after the others, and add nothing yet. Raises ``GivenError`` where the network
    has more blocks.
    """
    had = _blocks(parameters)
    if had > blocks:
        raise GivenError(
            f"The network to go on from has {had} blocks, more than the {blocks} asked for.",
            next_step=f"Give --attending {had} or more.",
        )
    mean, deviation = parameters["mu"], parameters["sd"]
    width = len(parameters["in.bias"])
    made = fresh_attending(mean, deviation, width=width, blocks=blocks, seed=seed)
    for block in range(had, blocks):
        for part in ("conv", "attend", "wide"):
            made[f"{block}.{part}.weight"].zero_()
    return made | parameters


def _blocks(parameters: Mapping[str, Any]) -> int:
    return sum(name.endswith("gate.weight") for name in parameters)


def _affine(parameters: Parameters, name: str, x: Any) -> Any:
    return fn.linear(x, parameters[f"{name}.weight"], parameters[f"{name}.bias"])


def _normed(parameters: Parameters, name: str, x: Any) -> Any:
    return fn.layer_norm(x, x.shape[-1:], parameters[f"{name}.scale"], parameters[f"{name}.shift"])


def _convolved(parameters: Parameters, here: str, x: Any, valid: Any) -> Any:
    x = fn.glu(_affine(parameters, f"{here}gate", _normed(parameters, f"{here}conv", x)))
    x = fn.pad(x * valid[..., None], (0, 0, REACH // 2, REACH // 2))
    seen = x.unfold(1, REACH, 1)
    x = (seen * parameters[f"{here}deep.weight"]).sum(-1)
    return _affine(parameters, f"{here}conv", torch.relu(_normed(parameters, f"{here}deep", x)))


def _attended(parameters: Parameters, here: str, x: Any, valid: Any, angles: Any) -> Any:
    clips, most, width = x.shape
    asked = _affine(parameters, f"{here}ask", _normed(parameters, f"{here}attend", x))
    parts = asked.view(clips, most, 3, HEADS, width // HEADS).permute(2, 0, 3, 1, 4)
    cos, sin = angles
    half = width // HEADS // 2
    low, high = parts[:2, ..., :half], parts[:2, ..., half:]
    turned = torch.cat([low * cos - high * sin, low * sin + high * cos], -1)
    x = fn.scaled_dot_product_attention(
        turned[0], turned[1], parts[2], attn_mask=valid[:, None, None]
    )
    x = x.transpose(1, 2).reshape(clips, most, width)
    return _affine(parameters, f"{here}attend", x)


def attending_posteriors(
    parameters: Parameters, features: Any, lengths: Any, *, dropped: float = 0.0
) -> tuple[Any, Any]:
    """Give log posteriors, clips x outputs in time x 40, and the outputs of each clip.

    ``features`` is clips x frames x 40 and ``lengths`` the frames of each clip. ``dropped`` is the
    share that is left out of what each part of a block adds.
    """
    outputs = output_frames(lengths)
    most = int(outputs.max())
    device = features.device
    spots = torch.arange(-SIDE, STRIDE * (most - 1) + SIDE + 1, device=device)
    held = spots[None].clamp(min=0).minimum(lengths[:, None] - 1)
    x = (features - parameters["mu"]) / parameters["sd"]
    x = x.gather(1, held[:, :, None].expand(-1, -1, x.shape[2]))
    x = x.unfold(1, 2 * SIDE + 1, STRIDE).transpose(2, 3).flatten(2)
    x = torch.relu(_affine(parameters, "in", x))
    valid = torch.arange(most, device=device)[None] < outputs[:, None]
    pairs = x.shape[-1] // HEADS // 2
    angles = [torch.as_tensor(one, device=device) for one in turns(most, pairs)]
    for block in range(_blocks(parameters)):
        here = f"{block}."
        x = x + fn.dropout(_convolved(parameters, here, x, valid), dropped)
        x = x + fn.dropout(_attended(parameters, here, x, valid, angles), dropped)
        wide = _affine(parameters, f"{here}wider", _normed(parameters, f"{here}wide", x))
        x = x + fn.dropout(_affine(parameters, f"{here}wide", torch.relu(wide)), dropped)
    scores = _affine(parameters, "out", _normed(parameters, "out", x))
    return scores.log_softmax(-1), outputs


def posteriors_of(
    parameters: Parameters, features: Any, lengths: Any, *, live: bool = False, dropped: float = 0.0
) -> tuple[Any, Any]:
    """Give log posteriors and outputs of whichever network the parameters are of."""
    if is_attending(parameters):
        return attending_posteriors(parameters, features, lengths, dropped=dropped)
    return log_posteriors(parameters, features, lengths, live=live, dropped=dropped)


def learnt_names(parameters: Mapping[str, Any], upper: int = 0) -> list[str]:
    """Name what training changes by gradients, of whichever network the parameters are of.

    The second network is trained whole: ``upper`` is of the first.
    """
    if is_attending(parameters):
        return [name for name in parameters if name not in {"mu", "sd"}]
    return trained_names(parameters, upper)
