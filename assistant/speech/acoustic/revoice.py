"""Other voices made of given speech: formants moved, whispered, or said by a steady buzz.

A short-time spectrum is split into its smooth envelope (the low cepstrum) and the rest. The
envelope is stretched over frequency, as by a longer or shorter throat, and put on the speech's
own fine structure, on noise (a whisper), or on the pulses of a steady pitch with noise where the
speech has no voice (as simple synthesisers and vocoders sound). The loudness of every frame is
kept.
"""

from __future__ import annotations

from typing import Any, Final

import torch

__all__ = ["revoiced"]

RATE: Final = 16_000
_SIZE: Final = 512
_HOP: Final = 128
_WHISPERED: Final = 0.2
_BUZZED: Final = 0.2


def _stretched(envelope: Any, factor: Any) -> Any:
    """Move what lies at a frequency to ``factor`` times it; clips x bins x frames."""
    bins = envelope.shape[1]
    spots = torch.arange(bins, device=envelope.device)[None] / factor[:, None]
    low = spots.floor().clamp(max=bins - 2).long()
    part = (spots - low).clamp(0.0, 1.0)[:, :, None]
    low = low[:, :, None].expand(-1, -1, envelope.shape[2])
    return envelope.gather(1, low) * (1 - part) + envelope.gather(1, low + 1) * part


def _voiced(power: Any) -> Any:
    """Tell how much of each frame's sound is below 1 kHz rather than above 3 kHz: 0 to 1."""
    bins = power.shape[1]
    split_low, split_high = bins * 1000 // (RATE // 2), bins * 3000 // (RATE // 2)
    low = power[:, 3:split_low].sum(1, keepdim=True) + 1.0
    high = power[:, split_high:].sum(1, keepdim=True) + 1.0
    return torch.sigmoid(4.0 * (torch.log10(low / high) - 0.3))


def _pulses(pitch: Any, samples: int, generator: Any) -> Any:
    """Pulses of a pitch that glides slowly, of about the power of white noise."""
    spots = torch.arange(samples, device=pitch.device)[None] / RATE
    glide = torch.rand(len(pitch), 1, generator=generator, device=pitch.device) * 0.3 - 0.2
    turns = pitch[:, None] * (spots + glide * spots.square() / 2)
    struck = torch.diff(turns.floor(), dim=1, prepend=torch.zeros_like(turns[:, :1]))
    return struck * (RATE / pitch[:, None]).sqrt()


def revoiced(waves: Any, generator: Any) -> Any:
    """Give ``waves`` (clips x samples, 16 kHz) said by other voices, all of it drawn."""
    rows, samples = waves.shape
    device = waves.device

    def uniform() -> Any:
        return torch.rand(rows, generator=generator, device=device)

    window = torch.hann_window(_SIZE, device=device)

    def spectrum(sound: Any) -> Any:
        return torch.stft(sound, _SIZE, _HOP, window=window, return_complex=True)

    spoken = spectrum(waves)
    power = spoken.real.square() + spoken.imag.square()
    logs = (power + 1e-1).log() / 2
    cepstrum = torch.fft.irfft(logs, _SIZE, dim=1)
    cut = (24.0 + 16.0 * uniform())[:, None, None]
    place = torch.arange(_SIZE, device=device)
    place = torch.minimum(place, _SIZE - place)[None, :, None]
    kept = torch.sigmoid((cut - place) / 2.0)
    envelope = torch.fft.rfft(cepstrum * kept, dim=1).real
    kind = uniform()
    whispered = (kind < _WHISPERED)[:, None, None]
    buzzed = ((kind >= _WHISPERED) & (kind < _WHISPERED + _BUZZED))[:, None, None]
    factor = torch.exp(0.09 * torch.randn(rows, generator=generator, device=device).clamp(-2, 2))
    target = _stretched(envelope, factor)
    noise = torch.randn(rows, samples, generator=generator, device=device)
    pitch = torch.exp(uniform() * 1.4 + 4.25)  # 70 to 285 Hz
    voice = _voiced(power)
    hiss = spectrum(noise)
    buzz = spectrum(_pulses(pitch, samples, generator)) * voice + hiss * (1 - voice)
    own = spoken * torch.exp(target - envelope)
    made = torch.where(buzzed, buzz, hiss) * torch.exp(target)
    made = torch.where(buzzed | whispered, made, own)
    size = made.real.square() + made.imag.square()
    level = (power.sum(1, keepdim=True) / (size.sum(1, keepdim=True) + 1.0)).sqrt().clamp(max=1e4)
    # Where a whisper has no voice it loses most of its strength
    level = level * torch.where(whispered, 1 - 0.7 * voice, torch.ones_like(voice))
    return torch.istft(made * level, _SIZE, _HOP, window=window, length=samples)
