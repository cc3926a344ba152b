"""Recordings of noise that Debian packages carry, half for training and half for tests.

Only what is under CC0, CC BY or in the public domain; the licence of each file comes from the
package's own copyright file (Debian's machine-readable format 1.0) or, for a package with one
licence, from ``recorded.yaml``. A short sound is repeated with pauses, blows are scattered.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.signal import resample_poly

from assistant.speech.acoustic.recorded_people import recorded

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["Piece", "filled", "gather_noise", "halves", "licences_in"]

RATE: Final = 16_000
_LONGEST: Final = 8 * RATE
_SHORT: Final = 2 * RATE
_HEAD: Final = "file\tseconds\tlicence\tsource"
_BLOWS: Final = 22


@dataclass(frozen=True, slots=True)
class Piece:
    """A noise of 2 to 8 s at 16 kHz, its licence and where it comes from."""

    name: str
    samples: NDArray[np.float64]
    licence: str
    source: str


def licences_in(copyright_file: str) -> dict[str, str]:
    """Read Debian's machine-readable copyright format 1.0: give the licence of every path."""
    found: dict[str, str] = {}
    for paragraph in re.split(r"\n\s*\n", copyright_file):
        paths = re.search(r"^Files:((?:.*\n?)(?:[ \t].*\n?)*)", paragraph, re.MULTILINE)
        licence = re.search(r"^License:[ \t]*(\S.*)$", paragraph, re.MULTILINE)
        if paths and licence:
            found |= dict.fromkeys(paths[1].split(), licence[1].strip())
    return found


def filled(samples: NDArray[np.float64], seed: int) -> NDArray[np.float64]:
    """Cut what is long to 8 s; repeat what is short, louder and fainter, with pauses, for 5 s."""
    loud = np.flatnonzero(np.abs(samples) > 0.003 * np.abs(samples).max())
    sound = samples[loud[0] : loud[-1] + 1][:_LONGEST]
    if len(sound) >= _SHORT:
        return sound
    rng = np.random.default_rng(seed)
    out, at = np.zeros(5 * RATE), 0
    while at < len(out):
        part = sound[: len(out) - at]
        out[at : at + len(part)] += part * rng.uniform(0.4, 1.0)
        at += len(sound) + int(rng.uniform(0.1, 0.8) * RATE)
    return out


def halves(pieces: Sequence[Piece]) -> tuple[list[Piece], list[Piece]]:
    """Give the pieces to train on and those that ``recorded.yaml`` keeps for tests."""
    kept = frozenset(recorded()["noise"]["kept"])
    train = [piece for piece in pieces if piece.name not in kept]
    return train, [piece for piece in pieces if piece.name in kept]


def _read(path: Path) -> NDArray[np.float64]:
    samples, rate = import_module("soundfile").read(str(path), always_2d=True)
    common = int(np.gcd(rate, RATE))
    return np.asarray(resample_poly(samples.mean(1), RATE // common, rate // common))


def _licensed(root: Path) -> Iterator[Piece]:
    told = recorded()["noise"]["licensed"]
    text = root / "usr/share/doc" / told["package"] / "copyright"
    listed = licences_in(text.read_text(encoding="utf-8")) if text.is_file() else {}
    for path, licence in sorted(listed.items()):
        found = root / told["folder"] / path
        wanted = path.startswith(told["inside"]) and licence in told["licences"]
        if wanted and found.is_file() and found.stem not in told["without"]:
            source = f"{told['package']} {path}"
            yield Piece(found.stem, filled(_read(found), len(path)), licence, source)


def _doors(root: Path) -> Iterator[Piece]:
    told = recorded()["noise"]["doors"]
    for number, found in enumerate(sorted((root / told["folder"]).glob("*.ogg"))):
        source = f"{told['package']} {found.name}"
        yield Piece(found.stem, filled(_read(found), number), told["licence"], source)


def _samples(root: Path) -> Iterator[Piece]:
    told = recorded()["noise"]["samples"]
    folder, package = root / told["folder"], told["package"]
    for number, name in enumerate(told["loops"]):
        if (folder / f"{name}.flac").is_file():
            sound = filled(_read(folder / f"{name}.flac"), number)
            yield Piece(name, sound, told["licence"], f"{package} {name}")
    for number, names in enumerate(told["blows"]):
        if all((folder / f"{name}.flac").is_file() for name in names):
            blows = [_read(folder / f"{name}.flac")[:_SHORT] for name in names]
            source = f"{package} {' '.join(names)}"
            yield Piece(f"blows{number}", _scattered(blows, number), told["licence"], source)


def _scattered(blows: Sequence[NDArray[np.float64]], seed: int) -> NDArray[np.float64]:
    rng = np.random.default_rng(seed)
    out = np.zeros(_LONGEST)
    for _ in range(_BLOWS):
        blow = blows[int(rng.integers(len(blows)))]
        at = int(rng.integers(_LONGEST - RATE))
        part = blow[: _LONGEST - at]
        out[at : at + len(part)] += part * rng.uniform(0.2, 1.0)
    return out


def gather_noise(
    root: Path, out: Path, others: Sequence[Callable[[Path], Iterator[Piece]]] = ()
) -> tuple[int, int]:
    """Write ``out/train`` and ``out/test``, FLAC with a list of licences; give their counts.

    ``root`` is where the packages are installed or unpacked; ``others`` give more pieces.
    """
    makers = (_licensed, _doors, _samples, *others)
    pieces = [piece for maker in makers for piece in maker(root)]
    sides = halves(pieces)
    for name, side in zip(("train", "test"), sides, strict=True):
        (out / name).mkdir(parents=True, exist_ok=True)
        rows = [_HEAD]
        for piece in side:
            level = 0.5 / max(1e-9, float(np.abs(piece.samples).max()))
            sound = (piece.samples * level).astype(np.float32)
            import_module("soundfile").write(out / name / f"{piece.name}.flac", sound, RATE)
            seconds = f"{len(sound) / RATE:.1f}"
            rows.append("\t".join([f"{piece.name}.flac", seconds, piece.licence, piece.source]))
        (out / name / "noise.tsv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return len(sides[0]), len(sides[1])
