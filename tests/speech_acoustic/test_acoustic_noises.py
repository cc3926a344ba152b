"""Computed noise of a garage."""

from __future__ import annotations

from typing import Any

import pytest

torch = pytest.importorskip("torch", reason="torch comes with the extra 'train' only")

from assistant.speech.acoustic.noises import ComputedNoise  # noqa: E402

KINDS = ("hiss", "beating", "hum", "engine", "clanks", "air", "music")
SAMPLES = 16_000


def made(kind: str, seed: int = 1, rows: int = 6) -> Any:
    generator = torch.Generator().manual_seed(seed)
    return getattr(ComputedNoise(generator), kind)(rows, SAMPLES)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_finite_and_never_silent(kind: str) -> None:
    noise = made(kind)
    assert noise.shape == (6, SAMPLES)
    assert bool(torch.isfinite(noise).all())
    level = noise.square().mean(1).sqrt()
    assert float(level.min()) > 0.05
    assert float(level.max()) < 20


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_follows_its_generator(kind: str) -> None:
    assert torch.equal(made(kind, 2), made(kind, 2))
    assert not torch.allclose(made(kind, 2), made(kind, 3))
    rows = made(kind, 4)
    assert not torch.allclose(rows[0], rows[1])


def low_share(noise: Any) -> Any:
    """The share of the power below 1 kHz."""
    power = torch.fft.rfft(noise).abs().square()
    return power[:, :1000].sum(1) / power.sum(1)


def test_engines_are_dull_and_air_is_sharp() -> None:
    assert float(low_share(made("engine", rows=40)).median()) > 0.6
    assert float(low_share(made("air", rows=40)).median()) < 0.4


def test_clanks_come_and_go() -> None:
    """Blows: the loudest 20 ms stand far above the median, more than those of hiss do."""

    def peaks(noise: Any) -> Any:
        power = noise.reshape(len(noise), -1, 320).square().mean(2)
        return (power.amax(1) / power.median(1).values).median()

    assert float(peaks(made("clanks", rows=40))) > 3 * float(peaks(made("hiss", rows=40)))
