"""What may happen to speech before it is heard, done to whole batches on the training device.

In turn: speed, joining of a speaker's clips, cuts into the speech or silence around, another voice
(``revoice``), equaliser and room, noise, a channel (telephone band, 8 kHz), level, clipping,
mu-law, and the room tone that the program itself feeds around a sound. Tempo is changed by the
step of the feature frames, and masks are laid over features. Everything is drawn from one
generator.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import torch

from assistant.speech.acoustic.features import BANDS, FRAME, HOP, fbank, frame_count
from assistant.speech.acoustic.kept_noise import KeptNoise
from assistant.speech.acoustic.noises import ComputedNoise
from assistant.speech.acoustic.revoice import revoiced

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["Augmenter", "SoundBank"]

RATE: Final = 16_000
_TAPS: Final = 4
_PAD: Final = 3200
_ROUND: Final = 4096
_ROOM: Final = 8000
_MU: Final = 255.0
_QUIET: Final = 0.03
_LOUD: Final = 0.15
_DEEPEST: Final = 0.15
_SPANNED: Final = 128
_REVOICED: Final = 0.5
_NOISES: Final = (
    ("recorded", 0.46),
    ("beating", 0.12),
    ("hum", 0.04),
    ("engine", 0.10),
    ("clanks", 0.06),
    ("air", 0.04),
    ("music", 0.05),
    ("babble", 0.13),
)
"""Kinds of noise and their shares of the clips."""


class SoundBank:
    """Sounds end to end on a device, with the span of speech in each.

    ``first`` and ``last`` are the samples where a sound first and last passes 3 % of its peak,
    counted from its start; ``loud_first`` and ``loud_last`` where it passes 15 %, which soft sounds
    at the edges, as the s of "six", need not.
    """

    def __init__(self, sounds: Sequence[NDArray[Any]], device: str) -> None:
        lengths = [len(one) for one in sounds]
        self.length = torch.tensor(lengths, device=device)
        self.start = torch.cumsum(self.length, 0) - self.length
        self.flat = torch.from_numpy(np.concatenate(sounds)).to(device)
        self.first, self.loud_first = torch.zeros_like(self.length), torch.zeros_like(self.length)
        self.last, self.loud_last = self.length.clone(), self.length.clone()
        # Clips of like length together, so that little is padding
        for some in torch.argsort(self.length).split(_SPANNED):
            self.first[some], self.last[some] = self._spans(some, _QUIET)
            self.loud_first[some], self.loud_last[some] = self._spans(some, _LOUD)

    def _spans(self, some: Any, share: float) -> tuple[Any, Any]:
        spots = torch.arange(int(self.length[some].max()), device=self.flat.device)[None]
        held = (self.start[some][:, None] + spots).clamp(max=self.total - 1)
        inside = spots < self.length[some][:, None]
        wave = self.flat[held].float().abs() * inside
        loud = wave > share * wave.amax(1, keepdim=True)
        ends = loud.shape[1] - loud.flip(1).int().argmax(1)
        nothing = ~loud.any(1)
        first = torch.where(nothing, torch.zeros_like(ends), loud.int().argmax(1))
        return first, torch.where(nothing, self.length[some], ends)

    @property
    def total(self) -> int:
        """All samples."""
        return int(self.flat.numel())


@dataclass(slots=True)
class Augmenter:
    """Makes features of clips of ``speech`` with noise from ``noise``."""

    speech: SoundBank
    noise: SoundBank
    generator: Any
    _telephone: Any = None
    _computed: ComputedNoise = field(init=False)
    _kept: KeptNoise = field(init=False)

    def __post_init__(self) -> None:
        self._computed = ComputedNoise(self.generator)
        self._kept = KeptNoise(self._computed)

    def batch(self, picks: Any, *, near_clean: float = 0.125) -> tuple[Any, Any]:
        """Give features, clips x frames x 40, and the frames of each.

        ``picks`` is clips x parts: numbers of clips of the bank to join, -1 for no part; a row
        without parts is noise alone. ``near_clean`` is the share left almost as recorded.
        """
        rows = len(picks)
        clean = self._chance(rows, near_clean)
        waves, lengths, levels = self._said(picks, clean)
        other = torch.nonzero(~clean & self._chance(rows, _REVOICED)).flatten()
        if other.numel():
            waves[other] = revoiced(waves[other], self.generator)
        waves = self._shaped(waves, self._responses(waves.shape[1], clean))
        waves = waves + self._noises(waves, levels, clean | self._chance(rows, 0.1))
        waves = self._shaped(waves, self._channels(waves.shape[1], clean), room=0)
        waves = self._levelled(waves, lengths, clean)
        stretch = self._between(rows, 0.78, 1.28)
        plain = clean | self._chance(rows, 0.3)
        hop = torch.where(plain, torch.ones_like(stretch), stretch) * HOP
        frames = frame_count(lengths, hop).long().clamp(min=1)
        features = fbank(waves, hop, int(frames.max()))
        return self._masked(features, frames, clean), frames

    def plain(self, picks: Any) -> tuple[Any, Any]:
        """Give features and frames of clips as recorded, a fifth of a second of tone around."""
        first, last = self.speech.start[picks], self.speech.length[picks]
        most = int(last.max()) + 2 * _PAD
        spots = torch.arange(most, device=picks.device)[None] - _PAD
        inside = (spots >= 0) & (spots < last[:, None])
        held = (first[:, None] + spots).clamp(0, self.speech.total - 1)
        waves = self.speech.flat[held].float() * inside + self._randn(len(picks), most) * 10
        frames = frame_count(last + 2 * _PAD).long()
        return fbank(waves, None, int(frames.max())), frames

    def _uniform(self, *shape: int) -> Any:
        return torch.rand(*shape, generator=self.generator, device=self.speech.flat.device)

    def _randn(self, *shape: int) -> Any:
        return torch.randn(*shape, generator=self.generator, device=self.speech.flat.device)

    def _between(self, rows: int, low: float, high: float) -> Any:
        return low + (high - low) * self._uniform(rows)

    def _chance(self, rows: int, share: float) -> Any:
        return self._uniform(rows) < share

    def _said(self, picks: Any, clean: Any) -> tuple[Any, Any, Any]:
        """Join the parts: waves, their lengths, and the level of the speech (rms)."""
        rows, parts = picks.shape
        speed = torch.exp(self._randn(rows).clamp(-2.2, 2.2) * 0.11)
        speed = torch.where(clean, torch.ones_like(speed), speed)
        tight = self._chance(rows, 0.4) & ~clean
        at = (
            torch.where(tight, self._between(rows, 0.0, 0.02), self._between(rows, 0.15, 0.6))
            * RATE
        )
        # As cut by a gate that soft sounds do not open
        gated = tight & self._chance(rows, 0.3)
        used, bank = picks >= 0, picks.clamp(min=0)
        first, last = self.speech.first[bank], self.speech.last[bank]
        inner = (self.speech.loud_first[bank] - first).clamp(max=int(_DEEPEST * RATE))
        begin = (first - self._slack(inner, tight, gated, 0.12)).clamp(min=0)
        inner = (last - self.speech.loud_last[bank]).clamp(max=int(_DEEPEST * RATE))
        slack = self._slack(inner, tight, gated, 0.15)
        end = torch.minimum((last + slack).float(), self.speech.length[bank].float())
        long = ((end - begin) / speed[:, None]).clamp(min=800) * used
        whole = long + self._uniform(rows, parts) * 0.25 * RATE * used
        places = at[:, None] + whole.cumsum(1) - whole
        at = at + whole.sum(1)
        after = (
            torch.where(tight, self._between(rows, 0.0, 0.02), self._between(rows, 0.1, 0.7)) * RATE
        )
        nothing = (picks < 0).all(1)
        at = torch.where(nothing, self._between(rows, 0.4, 2.5) * RATE, at)
        lengths = (at + after).long().clamp(min=4 * FRAME)
        most = -(-int(lengths.max()) // _ROUND) * _ROUND
        waves = torch.zeros(rows, most, device=picks.device)
        row, part = used.nonzero(as_tuple=True)
        source = (self.speech.start[bank] + begin)[row, part]
        start = places[row, part].long()
        self._lay(waves, row, source=source, start=start, long=long[row, part], speed=speed[row])
        power = waves.square().sum(1) / long.sum(1).clamp(min=1)
        levels = torch.where(nothing, torch.full_like(power, 1000.0), power.sqrt().clamp(min=30))
        return waves, lengths, levels

    def _slack(self, inner: Any, tight: Any, gated: Any, free: float) -> Any:
        """Give how far before its first, or after its last, sound each part is cut, in samples."""
        rows, parts = inner.shape
        deep = -0.07 * self._uniform(rows, parts).pow(2)
        slack = torch.where(tight[:, None], deep, free) * RATE
        return torch.where(gated[:, None], -inner * self._uniform(rows, parts), slack)

    def _lay(self, waves: Any, row: Any, *, source: Any, start: Any, long: Any, speed: Any) -> None:
        """Add parts to their rows, read at their speed by a windowed sine over eight samples."""
        if not len(row):
            return
        spots = torch.arange(int(long.max()) + 1, device=source.device)[None]
        where = source[:, None].double() + spots * speed[:, None]
        whole = where.floor()
        part = (where - whole).float()
        whole = whole.long()
        out = torch.zeros_like(part)
        for tap in range(1 - _TAPS, _TAPS + 1):
            away = part - tap
            weight = torch.sinc(away) * torch.cos(away * (math.pi / 2 / (_TAPS + 1))).square()
            out += weight * self.speech.flat[(whole + tap).clamp(0, self.speech.total - 1)]
        # 2 ms of fade at both ends, and nothing outside them
        edge = torch.minimum(spots, long[:, None] - spots).clamp(min=0, max=32) / 32.0
        # What runs over the end of a row is nothing, and may lie anywhere
        place = (row * waves.shape[1] + start)[:, None] + spots
        waves.view(-1).index_add_(0, (place % waves.numel()).flatten(), (out * edge).flatten())

    def _shaped(self, waves: Any, response: Any, room: int = _ROOM) -> Any:
        size = waves.shape[1] + (_ROUND * 2 if room else 0)
        return torch.fft.irfft(torch.fft.rfft(waves, size) * response, size)[:, : waves.shape[1]]

    def _responses(self, samples: int, clean: Any) -> Any:
        """Equaliser and room of each clip, over frequency."""
        rows, size = len(clean), samples + _ROUND * 2
        device = clean.device
        shaped = ~(clean | self._chance(rows, 0.25))
        gains = self._computed.curve(rows, size, 4.0) * shaped[:, None]
        seconds = torch.arange(_ROOM, device=device) / RATE
        decay = torch.exp(self._between(rows, math.log(0.06), math.log(0.9)))
        tail = self._randn(rows, _ROOM) * torch.exp(-6.9 * seconds / decay[:, None])
        tail = tail * (seconds[None] > self._between(rows, 0.001, 0.008)[:, None])
        tail = tail / tail.square().sum(1, keepdim=True).sqrt().clamp(min=1e-3)
        wet = 10 ** (-self._between(rows, -2.0, 16.0) / 20)
        wet = wet * (~(clean | self._chance(rows, 0.6)))
        room = tail * wet[:, None]
        room[:, 0] += 1.0
        return torch.fft.rfft(room, size) * 10 ** (gains / 20)

    def _noises(self, waves: Any, levels: Any, without: Any) -> Any:
        """Noise for every clip: real, computed or babble, -2 to 30 dB under the speech."""
        rows, samples = waves.shape
        noise = torch.zeros_like(waves)
        kind = torch.randperm(rows, generator=self.generator, device=waves.device)
        done = 0.0
        made = {"recorded": self._recorded, "babble": self._babble}
        self._kept.renew()
        for name, share in _NOISES:
            begin, done = round(done * rows), done + share
            some = kind[begin : round(done * rows)]
            if some.numel():
                make = made.get(name) or partial(self._kept.draw, name)
                noise[some] = make(int(some.numel()), samples)
        noise = noise / noise.square().mean(1, keepdim=True).sqrt().clamp(min=1e-3)
        below = self._uniform(rows).pow(1.25) * 32.0 - 2.0
        below = torch.where(without, below + 30.0, below)
        return noise * (levels * 10 ** (-below / 20))[:, None]

    def _recorded(self, rows: int, samples: int) -> Any:
        """Stretches of recorded noise, faster or slower, of another colour, a third over a second.

        The recordings are few beside the clips; so they are made more.
        """
        pieces = self._stretches(2 * rows, samples)
        second = self._chance(rows, 0.35) * 10 ** (-self._between(rows, 0.0, 12.0) / 20)
        both = pieces[:rows] + pieces[rows:] * second[:, None]
        curve = self._computed.curve(rows, samples, 3.0)
        coloured = torch.where(self._chance(rows, 0.6)[:, None], curve, torch.zeros_like(curve))
        return torch.fft.irfft(torch.fft.rfft(both) * 10 ** (coloured / 20), samples)

    def _stretches(self, rows: int, samples: int) -> Any:
        """Read recorded noise from any place on, at 0.7 to 1.4 of its speed, at unit power."""
        spots = torch.arange(samples, device=self.noise.flat.device)[None]
        pick = torch.randint(
            len(self.noise.start), (rows,), generator=self.generator, device=spots.device
        )
        length = self.noise.length[pick][:, None]
        begin = self._uniform(rows)[:, None].double() * length
        where = begin + spots * torch.exp(self._between(rows, -0.35, 0.35))[:, None]
        whole = where.long()
        part = (where - whole).float()
        start = self.noise.start[pick][:, None]
        here, there = (self.noise.flat[start + (whole + k) % length].float() for k in (0, 1))
        made = here * (1 - part) + there * part
        return made / made.square().mean(1, keepdim=True).sqrt().clamp(min=1.0)

    def _babble(self, rows: int, samples: int) -> Any:
        spots = torch.arange(samples, device=self.speech.flat.device)[None]
        out = torch.zeros(rows, samples, device=spots.device)
        voices = self._between(rows, 1.0, 6.0).long()
        for number in range(5):
            shift = (self._uniform(rows) * self.speech.total).long()
            piece = self.speech.flat[(shift[:, None] + spots) % self.speech.total].float()
            out += piece * (number <= voices)[:, None]
        return out

    def _channels(self, samples: int, clean: Any) -> Any:
        """Telephone bands and 8 kHz sampling, over frequency."""
        rows = len(clean)
        bins = torch.arange(samples // 2 + 1, device=clean.device)[None] * (RATE / samples)
        kind = torch.where(clean, torch.ones(rows, device=clean.device), self._uniform(rows))
        low = torch.where(kind < 0.22, self._between(rows, 150.0, 350.0), torch.zeros_like(kind))
        high = torch.where(
            kind < 0.22, self._between(rows, 3200.0, 3700.0), self._between(rows, 3700.0, 4000.0)
        )
        high = torch.where(kind < 0.42, high, torch.full_like(high, 9000.0))
        rising = torch.sigmoid((bins - low[:, None]) / 25.0)
        rising = torch.where(low[:, None] > 0, rising, torch.ones_like(rising))
        response = rising * torch.sigmoid((high[:, None] - bins) / 40.0)
        self._telephone = kind < 0.22
        return response

    def _levelled(self, waves: Any, lengths: Any, clean: Any) -> Any:
        """Level, clipping, mu-law and the program's own room tone."""
        rows, samples = waves.shape
        peak = waves.abs().amax(1, keepdim=True).clamp(min=1.0)
        waves = waves / peak
        clipped = self._chance(rows, 0.1) & ~clean
        limit = torch.where(clipped, self._between(rows, 0.15, 0.8), torch.ones_like(peak[:, 0]))
        waves = torch.minimum(waves, limit[:, None]).maximum(-limit[:, None]) / limit[:, None]
        waves = waves * 10 ** (-self._between(rows, 0.0, 32.0)[:, None] / 20)
        law = self._telephone & self._chance(rows, 0.8)
        folded = torch.log1p(_MU * waves.abs()) / math.log1p(_MU)
        folded = (folded * 127).round() / 127
        unfolded = waves.sign() * torch.expm1(folded * math.log1p(_MU)) / _MU
        waves = torch.where(law[:, None], unfolded, waves) * 32_000
        spots = torch.arange(samples, device=waves.device)[None]
        tone = self._chance(rows, 0.5)[:, None]
        # Tone takes the place of the first and last fifth of a second where nothing is said, so
        # a tightly cut clip is moved right by as much.
        shifted = torch.roll(torch.nn.functional.pad(waves, (0, 2 * _PAD)), _PAD, 1)
        spread = torch.nn.functional.pad(waves, (0, 2 * _PAD))
        waves = torch.where(tone, shifted, spread)
        lengths += torch.where(tone[:, 0], 2 * _PAD, 0)
        spots = torch.arange(samples + 2 * _PAD, device=waves.device)[None]
        around = tone & ((spots < _PAD) | (spots >= lengths[:, None] - _PAD))
        waves = torch.where(around, torch.zeros_like(waves), waves)
        floor = torch.exp(self._between(rows, math.log(0.5), math.log(40.0)))[:, None]
        floor = torch.where(tone, torch.full_like(floor, 10.0), floor)
        level = torch.where(around, torch.full_like(waves, 60.0), floor.expand_as(waves))
        return (waves + self._randn(*waves.shape) * level).clamp(-32_767, 32_767)

    def _masked(self, features: Any, frames: Any, clean: Any) -> Any:
        rows, most = features.shape[:2]
        fill = features.mean((0, 1))
        bands = torch.arange(BANDS, device=features.device)[None]
        low = (self._uniform(rows) * BANDS).long()[:, None]
        wide = (self._uniform(rows) * 7).long()[:, None]
        wide = torch.where((clean | self._chance(rows, 0.6))[:, None], 0, wide)
        gone = ((bands >= low) & (bands < low + wide))[:, None]
        times = torch.arange(most, device=features.device)[None]
        begin = (self._uniform(rows) * frames).long()[:, None]
        long = (self._uniform(rows) * 7).long()[:, None]
        long = torch.where((clean | self._chance(rows, 0.7))[:, None], 0, long)
        lost = ((times >= begin) & (times < begin + long))[:, :, None]
        return torch.where(gone | lost, fill, features)
