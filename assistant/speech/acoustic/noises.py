"""Computed noise of a garage, for many clips at a time: engines, clanks, air, hum, music, hiss.

Every kind gives clips x samples at 16 kHz at a level of its own; who adds it sets the level. What
a garage sounds like here is common practice, no source. Nothing is recorded.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import torch

__all__ = ["ComputedNoise"]

RATE: Final = 16_000
_KNOCK: Final = 960
_CLANKS: Final = 4
_TONES: Final = 5
_NOTES: Final = 32


@dataclass(slots=True)
class ComputedNoise:
    """Draws noise from ``generator``, on its device. Each kind takes rows and samples."""

    generator: Any

    @property
    def _device(self) -> Any:
        return self.generator.device

    def _uniform(self, *shape: int) -> Any:
        return torch.rand(*shape, generator=self.generator, device=self._device)

    def _randn(self, *shape: int) -> Any:
        return torch.randn(*shape, generator=self.generator, device=self._device)

    def _between(self, rows: int, low: float, high: float) -> Any:
        """Draw a column of numbers from low to high."""
        return low + (high - low) * self._uniform(rows, 1)

    def _chance(self, rows: int, share: float) -> Any:
        return self._uniform(rows, 1) < share

    def _seconds(self, samples: int) -> Any:
        return torch.arange(samples, device=self._device)[None] / RATE

    def curve(self, rows: int, size: int, decibels: float) -> Any:
        """Smooth random curves over the bins of a spectrum of ``size`` samples, in dB."""
        bins = torch.arange(size // 2 + 1, device=self._device) * (RATE / size)
        octaves = torch.log2(bins.clamp(min=62.5) / 62.5)
        points = self._randn(rows, 9) * decibels
        low = octaves.floor().long().clamp(max=7)
        part = (octaves - low)[None]
        return points[:, low] * (1 - part) + points[:, low + 1] * part

    def hiss(self, rows: int, samples: int, low: float = -0.3, high: float = 2.2) -> Any:
        """Noise whose power falls with frequency to a power from low to high, unit power."""
        bins = torch.arange(samples // 2 + 1, device=self._device) * (RATE / samples)
        slope = self._between(rows, low, high)
        shape = (bins.clamp(min=40.0) / 1000.0)[None] ** (-slope / 2)
        shape = shape * 10 ** (self.curve(rows, samples, 4.0) / 20)
        out = torch.fft.irfft(torch.fft.rfft(self._randn(rows, samples)) * shape, samples)
        return _unit(out)

    def beating(self, rows: int, samples: int) -> Any:
        """Hiss, half of it beating: from the knocking of an idle engine to a rattle."""
        turn = self._seconds(samples) * self._between(rows, 5.0, 40.0) + self._uniform(rows, 1)
        sharp = torch.exp(self._between(rows, 0.0, 3.0))
        deep = self._between(rows, 0.3, 1.0) * self._chance(rows, 0.5)
        beat = (math.pi * turn).cos().square().pow(sharp)
        return self.hiss(rows, samples) * (1 + deep * (3.0 * beat - 1.0))

    def hum(self, rows: int, samples: int) -> Any:
        """Mains hum or a motor at a steady pitch, with harmonics, over some hiss."""
        mains = torch.where(self._chance(rows, 0.5), 50.0, 60.0)
        base = torch.where(self._chance(rows, 0.5), mains, self._between(rows, 25.0, 160.0))
        turn = self._seconds(samples) * (2 * math.pi) * base
        out = torch.zeros(rows, samples, device=self._device)
        fall = self._between(rows, 0.3, 1.5)
        for number in range(1, 21):
            strength = self._uniform(rows, 1) * number**-fall
            out += strength * torch.sin(turn * number + self._between(rows, 0.0, 2 * math.pi))
        return _unit(out) + self._between(rows, 0.02, 1.0) * self.hiss(rows, samples)

    def engine(self, rows: int, samples: int) -> Any:
        """Make firings that sweep up and down and are never quite even: knocks, or a drone."""
        seconds = self._seconds(samples)
        rate = torch.exp(self._between(rows, math.log(15.0), math.log(120.0)))
        swing = self._between(rows, 0.0, 0.35) * self._chance(rows, 0.6)
        slow = self._between(rows, 0.15, 1.5)
        phase = self._between(rows, 0.0, 2 * math.pi)
        uneven = 0.01 * self._randn(rows, samples).cumsum(1) / math.sqrt(RATE)
        turns = rate * (seconds + swing * (slow * seconds * 2 * math.pi + phase).sin() / slow / 6.3)
        turns = turns + uneven * rate
        struck = torch.diff(turns.floor(), dim=1, prepend=turns.floor()[:, :1]).clamp(min=0)
        struck = struck * (1.0 + 0.25 * self._randn(rows, samples))
        since = torch.arange(_KNOCK, device=self._device)[None] / RATE
        knock = self._randn(rows, _KNOCK) * torch.exp(-since / self._between(rows, 0.002, 0.02))
        size = samples + _KNOCK
        spectrum = torch.fft.rfft(struck, size) * torch.fft.rfft(knock, size)
        dull = torch.arange(spectrum.shape[1], device=self._device)[None] * (RATE / size)
        dull = torch.rsqrt(1 + (dull / torch.exp(self._between(rows, 5.7, 8.0))).square())
        knocks = _unit(torch.fft.irfft(spectrum * dull, size)[:, :samples])
        drone = torch.zeros(rows, samples, device=self._device)
        for number in range(1, 9):
            drone += self._uniform(rows, 1) / number * (2 * math.pi * number * turns / 2).sin()
        drone = _unit(drone) * self._between(rows, 0.0, 1.0)
        return knocks + drone + self._between(rows, 0.2, 1.2) * self.hiss(rows, samples, 0.8, 2.0)

    def clanks(self, rows: int, samples: int) -> Any:
        """Tools put down and blows on metal, over some hiss."""
        seconds = self._seconds(samples)
        out = torch.zeros(rows, samples, device=self._device)
        for _ in range(_CLANKS):
            since = seconds - self._uniform(rows, 1) * (samples / RATE)
            rung = (since >= 0) * self._between(rows, 0.2, 1.0)
            since = since.clamp(min=0.0)
            for _ in range(_TONES):
                pitch = torch.exp(self._between(rows, math.log(500.0), math.log(6500.0)))
                fall = torch.exp(self._between(rows, math.log(0.01), math.log(0.2)))
                tone = (2 * math.pi * pitch * since).sin() * torch.exp(-since / fall)
                out += rung * self._uniform(rows, 1) * tone
            out += rung * self._randn(rows, samples) * torch.exp(-since / 0.01)
        return _unit(out) + self._between(rows, 0.1, 1.5) * self.hiss(rows, samples)

    def air(self, rows: int, samples: int) -> Any:
        """Air let out or a spray, on and off, and the rattle of an impact wrench."""
        seconds = self._seconds(samples)
        turn = seconds * self._between(rows, 0.3, 2.5) + self._uniform(rows, 1)
        on = torch.sigmoid(((2 * math.pi * turn).sin() + self._between(rows, -0.4, 0.8)) * 12)
        rattle = seconds * self._between(rows, 12.0, 45.0)
        rattle = torch.exp(-(rattle % 1.0) * self._between(rows, 1.0, 8.0))
        rattle = torch.where(self._chance(rows, 0.4), rattle, torch.ones_like(rattle))
        blown = self.hiss(rows, samples, -1.5, 0.5) * (0.05 + on) * rattle
        return blown + self._between(rows, 0.05, 0.5) * self.hiss(rows, samples)

    def music(self, rows: int, samples: int) -> Any:
        """Play notes of several instruments and a drum, as from a radio or from the car itself."""
        seconds = self._seconds(samples)
        beat = self._between(rows, 0.12, 0.5)
        out = torch.zeros(rows, samples, device=self._device)
        for _ in range(4):
            pace = beat * torch.where(self._chance(rows, 0.5), 1.0, 2.0)
            place = seconds / pace + self._uniform(rows, 1)
            note = place.floor().long() % _NOTES
            notes = (self._uniform(rows, _NOTES) * 24).floor() / 12 + self._between(rows, 6.5, 9.5)
            pitch = torch.exp2(notes).gather(1, note)
            turn = (pitch / RATE).cumsum(1) * (2 * math.pi)
            bright = self._between(rows, 0.0, 0.7)
            tone = turn.sin() + bright * ((2 * turn).sin() + bright * (3 * turn).sin())
            out += self._uniform(rows, 1) * tone * torch.exp(-(place % 1.0) * 2.0)
        struck = torch.exp(-((seconds / beat) % 1.0) * beat * 30.0)
        drum = self._randn(rows, samples) * struck * self._between(rows, 0.0, 1.0)
        return _unit(out) + drum + 0.05 * self._randn(rows, samples)


def _unit(waves: Any) -> Any:
    return waves / waves.square().mean(1, keepdim=True).sqrt().clamp(min=1e-6)
