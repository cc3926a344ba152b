"""Recordings of noise that Debian packages carry, some for training and some kept for tests.

Only what is under CC0, CC BY or in the public domain; the licence of each file comes from the
package's own copyright file or, for a package with one licence or a list of makers beside the
sounds, from ``recorded.yaml``. A short sound is repeated with pauses or stands in a row with others
of its family, a long one is cut into parts, blows are scattered.
"""

from __future__ import annotations

import io
import re
from collections import Counter
from dataclasses import dataclass, replace
from functools import cache
from importlib import import_module
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Final

import numpy as np
from pydantic import BaseModel, ConfigDict

from assistant.errors import MisuseError
from assistant.speech.acoustic.archives import members
from assistant.speech.acoustic.debian_copyright import (
    allowed,
    fits,
    paragraph_of,
    read_paragraphs,
)
from assistant.speech.acoustic.noise_pieces import (
    RATE,
    Piece,
    cleaned,
    filled,
    in_a_row,
    parts_of,
    read_sound,
    trimmed,
)
from assistant.speech.acoustic.recorded_people import recorded

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from numpy.typing import NDArray

__all__ = ["Package", "Piece", "filled", "gather_noise", "halves", "packages"]

_LONGEST: Final = 8 * RATE
_SHORT: Final = 2 * RATE
_HEAD: Final = "file\tseconds\tlicence\tsource\tattribution"
_BLOWS: Final = 22
_ENDINGS: Final = frozenset({".ogg", ".opus", ".wav", ".flac", ".mp3"})


class Package(BaseModel):
    """Which sounds of a package are taken, and how pieces are made of them.

    ``inside`` and ``without`` are patterns of paths within ``folder`` or within the archives that
    ``archives`` fit; ``member`` is left out before a path and ``source`` put before it to have the
    path that the copyright file names. ``licence`` and ``holders`` stand for that file where it
    names no single sounds, with ``cc0`` the patterns that are under CC0 all the same.

    Without ``parts`` a sound is filled to 5 s or cut to 8 s. With it, what is longer than ``apart``
    seconds gives up to so many parts. What is shorter is repeated to ``length`` seconds, with
    ``families`` in a row with those of its folder whose names differ in digits only, or with those
    that ``together`` names, about ``most`` in a piece; ``loops`` go on without pauses.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    package: str
    begin: str = ""
    folder: str
    archives: tuple[str, ...] = ()
    member: str = ""
    source: str = ""
    inside: tuple[str, ...]
    without: tuple[str, ...] = ()
    licence: str = ""
    cc0: tuple[str, ...] = ()
    holders: str = ""
    parts: int = 0
    apart: float = 2.0
    length: float = 6.0
    families: bool = False
    together: dict[str, tuple[str, ...]] = {}
    loops: tuple[str, ...] = ()
    most: int = 12


@dataclass(frozen=True, slots=True)
class _Sound:
    path: str
    samples: NDArray[np.float64]
    licence: str
    holders: str


@cache
def packages() -> tuple[Package, ...]:
    """Give the packages of ``recorded.yaml`` whose sounds are taken by their paths."""
    return tuple(Package.model_validate(one) for one in recorded()["noise"]["licensed"])


def halves(pieces: Sequence[Piece]) -> tuple[list[Piece], list[Piece]]:
    """Give the pieces to train on and those that ``recorded.yaml`` keeps for tests."""
    kept = frozenset(recorded()["noise"]["kept"])
    train = [piece for piece in pieces if piece.name not in kept]
    return train, [piece for piece in pieces if piece.name in kept]


def _licensed(root: Path) -> Iterator[Piece]:
    for told in packages():
        sounds = _sounds(root, told)
        if told.parts:
            yield from _grouped(told, list(sounds))
            continue
        for sound in sounds:
            samples = filled(sound.samples, len(told.source + sound.path))
            name, source = PurePosixPath(sound.path).stem, f"{told.package} {sound.path}"
            yield Piece(name, samples, sound.licence, source, sound.holders)


def _sounds(root: Path, told: Package) -> Iterator[_Sound]:
    """Read what a package has, by path, where the licence allows it."""
    simple = frozenset(recorded()["noise"]["licences"])
    text = root / "usr/share/doc" / told.package / "copyright"
    listed = read_paragraphs(text.read_text(encoding="utf-8")) if text.is_file() else ()
    used = _samples_used(told.package)

    def licence_of(path: str) -> tuple[str, str]:
        if told.licence:
            return ("CC0" if fits(path, told.cc0) else told.licence), told.holders
        paragraph = paragraph_of(told.source + path, listed)
        return (paragraph.licence, paragraph.holders) if paragraph else ("", "")

    def wanted(path: str) -> bool:
        short = path.removeprefix(told.member)
        name = PurePosixPath(short)
        taken = fits(short, told.inside) and not fits(short, told.without)
        new = taken and name.suffix in _ENDINGS and name.stem not in used
        return new and allowed(licence_of(short)[0], simple)

    for path, content in _contents(root / told.folder, told.archives, wanted):
        short = path.removeprefix(told.member)
        samples = read_sound(content if isinstance(content, Path) else io.BytesIO(content))
        yield _Sound(short, samples, *licence_of(short))


def _contents(
    folder: Path, archives: Sequence[str], wanted: Callable[[str], bool]
) -> Iterator[tuple[str, Path | bytes]]:
    for name in archives:
        for archive in sorted(folder.glob(name)):
            yield from members(archive, wanted)
    if archives:
        return
    for found in sorted(folder.rglob("*")):
        path = found.relative_to(folder).as_posix()
        if found.is_file() and wanted(path):
            yield path, found


def _samples_used(package: str) -> frozenset[str]:
    """Give the samples of which ``samples`` makes pieces: half of them are for tests."""
    told = recorded()["noise"]["samples"]
    if package != told["package"]:
        return frozenset()
    return frozenset(told["loops"]) | {name for names in told["blows"] for name in names}


def _grouped(told: Package, sounds: Sequence[_Sound]) -> Iterator[Piece]:
    families: dict[tuple[str, bool], list[_Sound]] = {}
    for whole in sounds:
        sound = replace(whole, samples=trimmed(whole.samples))
        if len(sound.samples) >= told.apart * RATE:
            name = _slug(told.begin, PurePosixPath(sound.path).with_suffix("").as_posix())
            yield from _apart(told, sound, name)
        elif len(sound.samples):
            key = _family(told, sound.path), fits(sound.path, told.loops)
            families.setdefault(key, []).append(sound)
    for (family, is_loop), members_ in families.items():
        count = max(1, round(len(members_) / told.most))
        for number in range(count):
            name = _slug(told.begin, family) + (f"_{number + 1}" if count > 1 else "")
            yield _row(told, members_[number::count], name, pauses=not is_loop)


def _apart(told: Package, sound: _Sound, name: str) -> Iterator[Piece]:
    parts = parts_of(sound.samples, told.parts)
    for number, part in enumerate(parts, 1):
        of = f" part {number} of {len(parts)}" if len(parts) > 1 else ""
        source = f"{told.package} {sound.path}{of}"
        called = f"{name}_{number}" if of else name
        yield Piece(called, cleaned(part), sound.licence, source, sound.holders)


def _row(told: Package, sounds: Sequence[_Sound], name: str, *, pauses: bool) -> Piece:
    samples = [sound.samples for sound in sounds]
    row = in_a_row(samples, name, seconds=told.length if pauses else 8.0, pauses=pauses)
    licence = _all_of([sound.licence for sound in sounds])
    holders = "; ".join(dict.fromkeys(sound.holders for sound in sounds if sound.holders))
    source = " ".join([told.package, *(sound.path for sound in sounds)])
    return Piece(name, cleaned(row), licence, source, holders)


def _all_of(licences: Sequence[str]) -> str:
    """Join licences by "and", each once; those with an "or" stand after a comma."""
    plain = [part for one in licences if " or " not in one for part in one.split(" and ")]
    choices = [one for one in licences if " or " in one]
    joined = " and ".join(dict.fromkeys(plain))
    return ", and ".join(dict.fromkeys([joined, *choices] if joined else choices))


def _family(told: Package, path: str) -> str:
    for name, patterns in told.together.items():
        if fits(path, patterns):
            return name
    whole = PurePosixPath(path).with_suffix("").as_posix()
    return re.sub(r"[\d.]+(alt)?$", "", whole) if told.families else whole


def _slug(begin: str, name: str) -> str:
    """Join the words of a path; the endings of a C4Group's folders tell nothing."""
    plain = re.sub(r"\.oc[a-z](?=/|$)", "", f"{begin}/{name}".lower())
    return re.sub(r"[^a-z0-9]+", "_", plain.replace("~", "_loop")).strip("_")


def _doors(root: Path) -> Iterator[Piece]:
    told = recorded()["noise"]["doors"]
    for number, found in enumerate(sorted((root / told["folder"]).glob("*.ogg"))):
        source, samples = f"{told['package']} {found.name}", filled(read_sound(found), number)
        yield Piece(found.stem, samples, told["licence"], source, told["holders"])


def _samples(root: Path) -> Iterator[Piece]:
    told = recorded()["noise"]["samples"]
    folder, package = root / told["folder"], told["package"]
    licence, holders = told["licence"], told["holders"]
    for number, name in enumerate(told["loops"]):
        if (folder / f"{name}.flac").is_file():
            sound = filled(read_sound(folder / f"{name}.flac"), number)
            yield Piece(name, sound, licence, f"{package} {name}", holders)
    for number, names in enumerate(told["blows"]):
        if all((folder / f"{name}.flac").is_file() for name in names):
            blows = [read_sound(folder / f"{name}.flac")[:_SHORT] for name in names]
            source = f"{package} {' '.join(names)}"
            yield Piece(f"blows{number}", _scattered(blows, number), licence, source, holders)


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

    ``root`` is where the packages are installed or unpacked; ``others`` give more pieces. Raises
    ``GivenError`` when an archive of a package cannot be read, and ``MisuseError`` when two pieces
    have one name: the second would take the place of the first, on whichever side it is.
    """
    makers = (_licensed, _doors, _samples, *others)
    left_out = frozenset(recorded()["noise"]["left_out"])
    made = (piece for maker in makers for piece in maker(root))
    pieces = [piece for piece in made if piece.name not in left_out]
    twice = [name for name, count in Counter(piece.name for piece in pieces).items() if count > 1]
    if twice:
        raise MisuseError(
            f"Two noises are named {twice[0]}.",
            next_step="Give one of them another beginning in recorded.yaml.",
        )
    sides = halves(pieces)
    for name, side in zip(("train", "test"), sides, strict=True):
        (out / name).mkdir(parents=True, exist_ok=True)
        rows = [_HEAD]
        for piece in side:
            level = 0.5 / max(1e-9, float(np.abs(piece.samples).max()))
            sound = (piece.samples * level).astype(np.float32)
            import_module("soundfile").write(out / name / f"{piece.name}.flac", sound, RATE)
            rows.append(
                "\t".join([f"{piece.name}.flac", f"{len(sound) / RATE:.1f}", *_told(piece)])
            )
        (out / name / "noise.tsv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return len(sides[0]), len(sides[1])


def _told(piece: Piece) -> tuple[str, str, str]:
    package = piece.source.split(" ")[0]
    holders = piece.holders or f"see the copyright file of {package}"
    return piece.licence, piece.source, " ".join(holders.split())
