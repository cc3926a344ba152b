"""Weights to train on from a ``final.mdl``: training goes on where only the model file is left.

In the file the input's mean and deviation and the batch norm are folded into the affine layers
(``export.folded``). Which they were cannot be told from it, and need not be: any norm may be taken
out again if the layer makes up for it. Those taken out here are of the clips to train on, so that
training that norms by its batches begins with what the file computes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import torch

from assistant.speech.acoustic.export import EPSILON, is_model, read_model
from assistant.speech.acoustic.features import BANDS
from assistant.speech.acoustic.network import load_parameters, log_posteriors

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from assistant.speech.acoustic.network import Parameters

__all__ = ["read_parameters", "renormed"]


def read_parameters(path: Path, device: str) -> Parameters:
    """Read a weights file, or a ``final.mdl`` as parameters whose norms do nothing."""
    if not is_model(path):
        return load_parameters(path, device)
    layers = read_model(path)
    made: Parameters = {"mu": torch.zeros(BANDS), "sd": torch.ones(BANDS)}
    for number, (matrix, bias) in enumerate(layers):
        made[f"c.{number}.weight"] = torch.tensor(matrix)
        made[f"c.{number}.bias"] = torch.tensor(bias)
        if number < len(layers) - 1:
            made[f"b.{number}.weight"] = torch.full((len(bias),), (1 + EPSILON) ** 0.5)
            made[f"b.{number}.bias"] = torch.zeros(len(bias))
            made[f"b.{number}.running_mean"] = torch.zeros(len(bias))
            made[f"b.{number}.running_var"] = torch.ones(len(bias))
    return {name: one.contiguous().to(device) for name, one in made.items()}


def renormed(parameters: Parameters, batches: Iterable[tuple[Any, Any]]) -> Parameters:
    """Give parameters that compute the same and norm by the mean and spread of ``batches``.

    Each batch is features, clips x frames x 40, and the frames of each clip.
    """
    seen: Parameters = {
        name: torch.zeros_like(one) for name, one in parameters.items() if ".running_" in name
    }
    rows = []
    with torch.no_grad():
        for step, (features, frames) in enumerate(batches, start=1):
            log_posteriors(parameters, features, frames, into=seen, share=1 / step)
            held = torch.arange(features.shape[1], device=frames.device)[None] < frames[:, None]
            rows.append(features[held])
    spoken = torch.cat(rows)
    made = {name: one.clone() for name, one in parameters.items()}
    # The first layer makes up for the norm of the inputs, every layer for its own
    mean, spread = spoken.mean(0), spoken.std(0)
    places = made["c.0.weight"].shape[1] // BANDS
    shift = ((mean - parameters["mu"]) / parameters["sd"]).repeat(places)
    made["c.0.bias"] += made["c.0.weight"] @ shift
    made["c.0.weight"] *= (spread / parameters["sd"]).repeat(places)
    made["mu"], made["sd"] = mean, spread
    for name in seen:
        if not name.endswith("mean"):
            continue
        layer = name.split(".")[1]
        scale = (seen[f"b.{layer}.running_var"] + EPSILON).sqrt()
        norm = parameters[f"b.{layer}.weight"] * torch.rsqrt(
            parameters[f"b.{layer}.running_var"] + EPSILON
        )
        rest = parameters[f"b.{layer}.bias"] - parameters[name] * norm
        made[f"c.{layer}.weight"] /= scale[:, None]
        made[f"c.{layer}.bias"] /= scale
        made[f"b.{layer}.weight"] = norm * scale
        made[f"b.{layer}.bias"] = seen[name] * norm + rest
        made[name] = seen[name] / scale
        made[f"b.{layer}.running_var"] = torch.ones_like(scale) - EPSILON
    return made
