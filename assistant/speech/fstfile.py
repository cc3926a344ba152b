"""Decoding graphs in memory and in the OpenFst vector file format.

The format is that of OpenFst 1.x "vector" files over the tropical semiring ("standard" arcs),
little-endian: a header, then for every state its final weight, its number of arcs and the arcs
(input label, output label, weight, next state). Source: the OpenFst library's ``FstHeader`` and
``VectorFst::Write``; only the bytes are ours to match, nothing of the library is used.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from assistant.errors import GivenError

__all__ = ["Arc", "Fst", "read_fst", "write_fst"]

_MAGIC: Final = 2125659606
_VERSION: Final = 2
_PROPERTIES: Final = 3  # expanded and mutable; nothing is promised about labels or weights
_HEADER_TAIL: Final = struct.Struct("<iiQqqq")
_STATE: Final = struct.Struct("<fq")
_ARC: Final = struct.Struct("<iifi")


class Arc(NamedTuple):
    """One transition; ``weight`` is a cost (negative log), label 0 is empty."""

    ilabel: int
    olabel: int
    weight: float
    target: int


@dataclass(slots=True)
class Fst:
    """A transducer: ``arcs[s]`` leave state ``s``; ``finals`` gives final costs by state."""

    start: int = 0
    arcs: list[list[Arc]] = field(default_factory=list)
    finals: dict[int, float] = field(default_factory=dict)

    def add_state(self) -> int:
        """Add a state without arcs and give its number."""
        self.arcs.append([])
        return len(self.arcs) - 1

    def add_arc(self, source: int, ilabel: int, olabel: int, weight: float, target: int) -> None:
        """Add one arc from ``source`` to ``target``."""
        self.arcs[source].append(Arc(ilabel, olabel, weight, target))


def _text(word: str) -> bytes:
    raw = word.encode("ascii")
    return struct.pack("<i", len(raw)) + raw


def write_fst(fst: Fst) -> bytes:
    """Give the bytes of ``fst`` as an OpenFst vector file; the same graph gives the same bytes."""
    arcs = sum(map(len, fst.arcs))
    head = _HEADER_TAIL.pack(_VERSION, 0, _PROPERTIES, fst.start, len(fst.arcs), arcs)
    raw = bytearray(struct.pack("<i", _MAGIC) + _text("vector") + _text("standard") + head)
    for state, leaving in enumerate(fst.arcs):
        raw += _STATE.pack(fst.finals.get(state, math.inf), len(leaving))
        for arc in leaving:
            raw += _ARC.pack(*arc)
    return bytes(raw)


def read_fst(raw: bytes) -> Fst:
    """Read an OpenFst vector file of standard arcs; raise ``GivenError`` when it is none."""
    try:
        return _read(raw)
    except (struct.error, IndexError) as error:
        raise GivenError(
            "The graph file ends too early.", next_step="Write the graph again."
        ) from error


def _read(raw: bytes) -> Fst:
    place = 4
    words = []
    if struct.unpack_from("<i", raw)[0] != _MAGIC:
        raise GivenError("This is no OpenFst file.", next_step="Give an OpenFst vector file.")
    for _ in range(2):
        (length,) = struct.unpack_from("<i", raw, place)
        words.append(raw[place + 4 : place + 4 + length])
        place += 4 + length
    version, _, _, start, states, total = _HEADER_TAIL.unpack_from(raw, place)
    if (words, version) != ([b"vector", b"standard"], _VERSION):
        raise GivenError(
            f"The graph file is of the kind {words!r}, version {version}.",
            next_step="Give an OpenFst vector file of standard arcs.",
        )
    place += _HEADER_TAIL.size
    fst = Fst(start=start)
    for state in range(states):
        final, count = _STATE.unpack_from(raw, place)
        place += _STATE.size
        fst.arcs.append([Arc(*_ARC.unpack_from(raw, place + k * _ARC.size)) for k in range(count)])
        place += count * _ARC.size
        if not math.isinf(final):
            fst.finals[state] = final
    if sum(map(len, fst.arcs)) != total:
        raise GivenError(
            "The graph file's arcs do not match its header.", next_step="Write the graph again."
        )
    return fst
