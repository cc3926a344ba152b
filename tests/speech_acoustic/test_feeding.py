"""Batches drawn in another process, noise that is kept, and how a batch is laid out; on the CPU."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="torch comes with the extra 'train' only")

from assistant.errors import MisuseError  # noqa: E402
from assistant.speech.acoustic.augment import Augmenter, SoundBank  # noqa: E402
from assistant.speech.acoustic.clips import Clip, Pack, Packed  # noqa: E402
from assistant.speech.acoustic.drawing import Drawer  # noqa: E402
from assistant.speech.acoustic.feeding import DrawnAhead, Feeder  # noqa: E402
from assistant.speech.acoustic.kept_noise import KINDS, KeptNoise  # noqa: E402
from assistant.speech.acoustic.noises import ComputedNoise  # noqa: E402
from assistant.speech.acoustic.rivals import Rivals  # noqa: E402
from assistant.speech.acoustic.train import Plan  # noqa: E402

RATE = 16_000
KEPT = 56_000


def drawer(seed: int = 3) -> Drawer:
    words = (("oh", (27,)), ("six", (29, 18, 20, 29)), ("oh", (27,)))
    clips = tuple(
        Packed(
            clip=Clip(file=f"{k}", words=said, speaker="s", set="espeak"),
            start=0,
            size=1,
            ways=(way,),
        )
        for k, (said, way) in enumerate(words)
    )
    pack = Pack(clips, tuple(np.ones(RATE // 2, np.int16) for _ in clips))
    plan = Plan(seconds=20.0, rivals=2, seed=seed)
    rivals = Rivals(["oh", "six", "sixty", "no"], {}, seed)
    return Drawer(pack, [one.ways[0] for one in clips], {2}, plan, rivals=rivals)


def test_another_process_draws_the_same_batches() -> None:
    ahead = DrawnAhead(drawer())
    there = list(itertools.islice(ahead, 15))
    ahead.close()
    assert there == list(itertools.islice(drawer(), 15))
    assert there != list(itertools.islice(drawer(4), 15))
    picked = {pick for one in there for row in one.picks for pick in row}
    assert picked - {-1} == {0, 1}
    assert all(len(row) == 2 for one in there for row in one.rivals)


def test_a_process_that_has_ended_is_told_and_not_waited_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("assistant.speech.acoustic.feeding._PATIENCE", 0.2)
    ahead = DrawnAhead(drawer())
    next(ahead)
    ahead.close()
    with pytest.raises(MisuseError, match="has ended"):
        list(itertools.islice(ahead, 100))


def test_on_the_cpu_batches_are_made_when_asked_for() -> None:
    rng = np.random.default_rng(5)
    sound = (rng.normal(size=RATE // 2) * 2000).astype(np.int16)
    speech, noise = SoundBank([sound] * 3, "cpu"), SoundBank([sound], "cpu")
    feeder = Feeder(Augmenter(speech, noise, torch.Generator().manual_seed(1)), drawer())
    features, frames, targets, rivals = next(feeder)
    feeder.close()
    assert len(features) == len(frames) == len(targets) == len(rivals)
    assert targets == next(iter(drawer())).targets


def kept_noise(seed: int) -> KeptNoise:
    return KeptNoise(ComputedNoise(torch.Generator().manual_seed(seed)))


@pytest.mark.parametrize("kind", KINDS)
def test_kept_noise_begins_anew_past_its_end(kind: str) -> None:
    noise = kept_noise(2).draw(kind, 3, KEPT + 900)
    assert noise.shape == (3, KEPT + 900)
    assert torch.equal(noise[:, KEPT:], noise[:, :900])
    assert not torch.allclose(noise[0], noise[1])
    same = kept_noise(2).draw(kind, 3, KEPT + 900)
    assert torch.equal(noise, same)


def heard(kept: KeptNoise, kind: str) -> set[float]:
    """The loudest sample of each of many sounds that are drawn: it tells one from another."""
    return {float(one) for one in kept.draw(kind, 400, KEPT).abs().amax(1)}


def test_kept_noise_is_made_anew_kind_after_kind_and_the_oldest_let_go() -> None:
    kept = kept_noise(3)
    first, other = heard(kept, KINDS[0]), heard(kept, KINDS[1])
    kept.renew()
    assert first < heard(kept, KINDS[0])
    assert heard(kept, KINDS[1]) == other
    for _ in range(4 * len(KINDS)):
        kept.renew()
    assert not first & heard(kept, KINDS[0])


def test_parts_are_laid_one_after_another_each_as_long_as_it_is() -> None:
    t = np.arange(int(0.6 * RATE)) / RATE
    tone = np.round(8000 * np.sin(2 * np.pi * 440 * t)).astype(np.int16)
    quiet = SoundBank([np.zeros(RATE, np.int16)], "cpu")
    speech = SoundBank([tone, tone[: RATE // 4], tone], "cpu")
    made = Augmenter(speech, quiet, torch.Generator().manual_seed(4))
    features, frames = made.batch(torch.tensor([[0, 1, 2], [1, -1, -1]] * 4), near_clean=1.0)
    loud = features.amax(2) > features.amax(2).amax(1, keepdim=True) - 2.0
    said = [int(row.sum()) for row in loud]
    for row in range(0, 8, 2):
        assert said[row] == pytest.approx(145, abs=12)
        assert said[row + 1] == pytest.approx(25, abs=4)
        begun = torch.diff(loud[row].int(), prepend=torch.zeros(1).int()) == 1
        assert 1 <= int(begun.sum()) <= 3
        assert int(frames[row]) > int(frames[row + 1])
