"""Networks of another size than what they go on from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="torch comes with the extra 'train' only")

from assistant.errors import GivenError  # noqa: E402
from assistant.speech.acoustic.attending import (  # noqa: E402
    attending_posteriors,
    deepened,
    fresh_attending,
)
from assistant.speech.acoustic.export import folded, posteriors  # noqa: E402
from assistant.speech.acoustic.network import (  # noqa: E402
    fresh_parameters,
    grown,
    log_posteriors,
    narrowed,
)

if TYPE_CHECKING:
    from assistant.speech.acoustic.network import Parameters


def _first(width: int, seed: int = 0) -> Parameters:
    made = fresh_parameters(torch.zeros(40), torch.ones(40), width=width, seed=seed)
    source = torch.Generator().manual_seed(seed + 1)
    for name, one in made.items():
        if name.startswith("b."):
            made[name] = one + torch.rand(one.shape, generator=source)
    return made


def _second(blocks: int) -> Parameters:
    return fresh_attending(torch.zeros(40), torch.ones(40), width=16, blocks=blocks, seed=2)


def _scores(network: Parameters) -> tuple[Any, Any]:
    source = torch.Generator().manual_seed(9)
    features, lengths = torch.randn(2, 60, 40, generator=source), torch.tensor([60, 41])
    return log_posteriors(network, features, lengths)


def test_a_wider_network_computes_what_it_grew_from() -> None:
    small = _first(16, 3)
    large = grown(small, 24, 7, seed=4)
    assert large["c.1.weight"].shape == (24, 72)
    before, outputs = _scores(small)
    after, same = _scores(large)
    assert torch.equal(outputs, same)
    assert torch.allclose(before, after, atol=1e-4)


def test_a_deeper_network_agrees_with_the_one_in_numpy() -> None:
    deep = grown(_first(16, 5), 16, 8, seed=6)
    features = torch.randn(1, 70, 40)
    wanted, _ = log_posteriors(deep, features, torch.tensor([70]))
    layers = folded({name: one.numpy() for name, one in deep.items()})
    assert len(layers) == 8
    assert np.abs(posteriors(layers, features[0].numpy()) - wanted[0].numpy()).max() < 1e-3


def test_channels_that_nothing_hears_go_first() -> None:
    small = _first(16)
    scores, outputs = _scores(small)
    made = narrowed(grown(small, 24, 7, seed=4), 16)
    assert {name: one.shape for name, one in made.items()} == {
        name: one.shape for name, one in small.items()
    }
    again, same = _scores(made)
    assert torch.equal(outputs, same)
    assert torch.allclose(scores, again, atol=1e-4)


def test_channels_that_never_speak_go_before_those_that_do() -> None:
    network = _first(16)
    for name in [one for one in network if one.startswith("b.") and one.endswith(("ias", "ight"))]:
        network[name][3:7] = -9.0 if name.endswith("bias") else 0.1
    again, _ = _scores(narrowed(network, 12))
    assert torch.allclose(_scores(network)[0], again, atol=1e-4)


def test_what_moves_the_layers_after_it_more_is_kept() -> None:
    network = _first(16)
    for layer in range(1, 7):
        network[f"c.{layer}.weight"].view(-1, 3 if layer < 6 else 1, 16)[:, :, 5] *= 100
    assert torch.equal(narrowed(network, 1)["c.0.bias"], network["c.0.bias"][5:6])


def test_a_network_that_is_no_wider_stays() -> None:
    network = _first(16)
    assert narrowed(network, 16) is network
    assert narrowed(network, 20) is network


def test_new_blocks_add_nothing_yet_but_can_learn() -> None:
    small = _second(2)
    deep = deepened(small, 4, seed=7)
    features, lengths = torch.randn(2, 60, 40), torch.tensor([60, 41])
    before, outputs = attending_posteriors(small, features, lengths)
    for name in ("2.conv.weight", "3.wide.weight", "2.attend.weight"):
        deep[name].requires_grad_(requires_grad=True)
    after, same = attending_posteriors(deep, features, lengths)
    assert torch.equal(outputs, same)
    assert torch.equal(before, after)
    after[:, :, 1].sum().backward()
    for name in ("2.conv.weight", "3.wide.weight", "2.attend.weight"):
        assert float(deep[name].grad.abs().max()) > 0


def test_blocks_are_not_taken_away() -> None:
    with pytest.raises(GivenError, match="3 blocks, more than the 2") as caught:
        deepened(_second(3), 2)
    assert caught.value.next_step == "Give --attending 3 or more."
