"""Many phrases said by as many voices: every clip a blend of Kokoro's training voices of its own.

``say_all`` needs phrases spelled in Kokoro's sounds (``spelled``), the voices and the network, and
writes a pack of plain samples. No voice that is kept for testing has a part in a blend.
"""

from __future__ import annotations

import gzip
import json
import time
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import torch

from assistant.speech.acoustic.kokoro import Encoded, Kokoro
from assistant.speech.acoustic.voices import KOKORO_FOREIGN, KOKORO_TRAINING

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from assistant.speech.acoustic.spelled import Line

__all__ = ["Voices", "say_all"]

RATE: Final = 16_000
_STYLE: Final = 256
_HALF: Final = _STYLE // 2
_LONGEST: Final = 100
_PEAK: Final = 16_000
_KEPT: Final = 960
_QUIET: Final = 0.005
_BLOCK: Final = 4096
_FRAMES: Final = 8000
_COMMA, _STOP, _BANG, _ASKED, _SPACE = 3, 4, 5, 6, 16


class Voices:
    """Styles of the training voices: for each a row of 256 for each length of text.

    The first half of a row is how a voice sounds, the second how it speaks.
    """

    def __init__(self, styles: dict[str, NDArray[np.float32]]) -> None:
        self._styles = {
            name: styles[name].reshape(-1, _STYLE) for name in (*KOKORO_TRAINING, *KOKORO_FOREIGN)
        }
        every = np.stack([rows[:_LONGEST] for rows in self._styles.values()])
        self._spread = every.mean(1).std(0)

    @classmethod
    def read(cls, folder: Path) -> Voices:
        """Read Kokoro's voice files, ``NAME.bin``; other voices in the folder are not looked at."""
        names = (*KOKORO_TRAINING, *KOKORO_FOREIGN)
        return cls({name: np.fromfile(folder / f"{name}.bin", np.float32) for name in names})

    def save(self, path: Path) -> None:
        """Write what short phrases need, as half precision."""
        rows = {name: one[: _LONGEST + 1].astype(np.float16) for name, one in self._styles.items()}
        np.savez_compressed(path, **rows)  # type: ignore[arg-type]

    @classmethod
    def load(cls, path: Path) -> Voices:
        """Read what ``save`` wrote."""
        with np.load(path) as held:
            return cls({name: held[name].astype(np.float32) for name in held.files})

    def blend(self, rng: np.random.Generator, sounds: int) -> tuple[str, str, NDArray[np.float32]]:
        """Draw a voice for a text of so many sounds: its name, its accent (a, b), its style.

        Sound and way of speaking are drawn apart, each of one to three voices, most of them
        English; a quarter lie a little beyond a voice, away from another; all are moved a little.
        """
        sound_of, sound = self._mixed(rng, sounds, foreign=0.35)
        speech_of, speech = self._mixed(rng, sounds, foreign=0.12)
        style = np.concatenate([sound[:_HALF], speech[_HALF:]])
        style += self._spread * rng.normal(0.0, 0.08, _STYLE).astype(np.float32)
        accents = [name[0] for name in speech_of if name in KOKORO_TRAINING]
        accent = accents[0] if accents and rng.random() < 0.85 else str(rng.choice(["a", "b"]))
        return f"{'+'.join(sound_of)}/{'+'.join(speech_of)}", accent, style.astype(np.float32)

    def _mixed(
        self, rng: np.random.Generator, sounds: int, *, foreign: float
    ) -> tuple[list[str], NDArray[np.float32]]:
        count = int(rng.choice([1, 2, 3], p=[0.3, 0.4, 0.3]))
        names = [str(one) for one in rng.choice(KOKORO_TRAINING, count, replace=False)]
        if rng.random() < foreign:
            names[-1] = str(rng.choice(KOKORO_FOREIGN))
        # A style of another length now and then: short words said as in a sentence, or reversed
        length = sounds if rng.random() < 0.75 else int(rng.integers(4, 60))
        rows = [self._styles[name][min(length, len(self._styles[name]) - 1)] for name in names]
        shares = rng.dirichlet(np.ones(count))
        style = sum(share * row for share, row in zip(shares, rows, strict=True))
        if rng.random() < 0.25:
            other = str(rng.choice(KOKORO_TRAINING))
            row = self._styles[other][min(length, len(self._styles[other]) - 1)]
            style = style + rng.uniform(0.1, 0.35) * (style - row)
        return names, np.asarray(style, dtype=np.float32)


def _pointed(tokens: Sequence[int], rng: np.random.Generator) -> list[int]:
    """Add pauses and a tone at the end, as marks: some say words one by one, ask or call out."""
    slow = rng.random() < 0.1
    made = []
    for token in tokens:
        if token == _SPACE and rng.random() < (0.5 if slow else 0.04):
            made.append(_COMMA)
        made.append(token)
    end = rng.random()
    for below, mark in ((0.3, _STOP), (0.38, _ASKED), (0.46, _BANG), (0.52, _COMMA)):
        if end < below:
            return [*made, mark]
    return made


def _at_rate(waves: Any) -> Any:
    """Give 24 kHz waves at 16 kHz, over frequency; clips x samples, a multiple of three."""
    size = waves.shape[1] * 2 // 3
    spectrum = torch.fft.rfft(waves)[:, : size // 2 + 1]
    bins = torch.arange(spectrum.shape[1], device=waves.device) * (RATE / size)
    return torch.fft.irfft(spectrum * torch.sigmoid((7800.0 - bins) / 40.0), size) * (2 / 3)


def _cut(waves: Any) -> list[NDArray[np.int16]]:
    """Level clips and cut the silence around them, with 60 ms kept."""
    peak = waves.abs().amax(1, keepdim=True).clamp(min=1e-3)
    loud = waves.abs() > _QUIET * peak
    first = loud.int().argmax(1).tolist()
    last = (loud.shape[1] - loud.flip(1).int().argmax(1)).tolist()
    whole = (waves / peak * _PEAK).round().short().cpu().numpy()
    return [
        row[max(0, begin - _KEPT) : end + _KEPT].copy()
        for row, begin, end in zip(whole, first, last, strict=True)
    ]


class _Speaker:
    """Says blocks of lines: encodes those of equal length, decodes those that last as long."""

    def __init__(self, net: Kokoro, voices: Voices, rng: np.random.Generator, device: str) -> None:
        self._net, self._voices, self._rng, self._device = net, voices, rng, device

    def say(self, lines: Sequence[Line]) -> list[tuple[str, NDArray[np.int16]]]:
        drawn = []
        for line in lines:
            name, accent, style = self._voices.blend(self._rng, len(line.american))
            tokens = line.american if accent == "a" else line.british
            speed = float(np.exp(self._rng.uniform(np.log(0.7), np.log(1.4))))
            drawn.append((name, [0, *_pointed(tokens, self._rng), 0], style, speed))
        said: list[tuple[str, NDArray[np.int16]]] = [("", np.zeros(0, np.int16))] * len(lines)
        groups: dict[int, list[int]] = {}
        for k, one in enumerate(drawn):
            groups.setdefault(len(one[1]), []).append(k)
        waiting: dict[int, list[tuple[int, Encoded]]] = {}
        for members in groups.values():
            tokens = torch.tensor([drawn[k][1] for k in members], device=self._device)
            style = torch.from_numpy(np.stack([drawn[k][2] for k in members])).to(self._device)
            speed = torch.tensor([drawn[k][3] for k in members], device=self._device)
            whole = self._net.encode(tokens, style, speed)
            for row, (k, total) in enumerate(zip(members, whole.total.tolist(), strict=True)):
                waiting.setdefault(total, []).append((k, whole.part(row)))
        for total, ready in waiting.items():
            most = max(1, _FRAMES // total)
            for begin in range(0, len(ready), most):
                some = ready[begin : begin + most]
                sounds = _cut(_at_rate(self._net.decode(Encoded.joined([e for _, e in some]))))
                for (k, _), sound in zip(some, sounds, strict=True):
                    said[k] = (drawn[k][0], sound)
        return said


def say_all(
    lines: Sequence[Line],
    net: Kokoro,
    voices: Voices,
    folder: Path,
    *,
    seed: int,
    device: str,
    minutes: float = 1e6,
    tell: Callable[[str], None] = print,
) -> int:
    """Say lines in an order drawn by ``seed`` until ``minutes`` are over; give how many.

    Writes a pack to ``folder``: ``samples.bin`` (int16 at 16 kHz, end to end) and its list.
    """
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(seed)
    order = rng.permutation(len(lines))
    speaker = _Speaker(net, voices, rng, device)
    rows: list[dict[str, Any]] = []
    begun, at = time.monotonic(), 0
    with (folder / "samples.bin").open("wb") as out, torch.no_grad():
        for begin in range(0, len(order), _BLOCK):
            if time.monotonic() - begun > 60 * minutes:
                break
            some = [lines[int(k)] for k in order[begin : begin + _BLOCK]]
            for line, (name, sound) in zip(some, speaker.say(some), strict=True):
                clip = {"file": "", "words": line.words, "speaker": name, "set": line.set}
                rows.append({"clip": clip, "start": at, "size": len(sound), "ways": line.ways})
                out.write(sound.tobytes())
                at += len(sound)
            tell(f"{len(rows)} clips, {at / RATE / 3600:.2f} h, {time.monotonic() - begun:.0f} s")
    (folder / "clips.json.gz").write_bytes(gzip.compress(json.dumps(rows).encode(), 3))
    return len(rows)
