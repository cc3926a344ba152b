from __future__ import annotations

import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import GivenError
from assistant.speech.fstfile import Arc, Fst, read_fst, write_fst

_WEIGHTS = st.floats(0, 50, width=32)


@st.composite
def _graphs(draw: st.DrawFn) -> Fst:
    count = draw(st.integers(1, 6))
    states = st.integers(0, count - 1)
    arc = st.builds(Arc, st.integers(0, 300), st.integers(0, 90), _WEIGHTS, states)
    arcs = draw(st.lists(st.lists(arc, max_size=5), min_size=count, max_size=count))
    return Fst(
        start=draw(states), arcs=arcs, finals=draw(st.dictionaries(states, _WEIGHTS, max_size=3))
    )


@given(_graphs())
def test_what_is_written_is_read_back(fst: Fst) -> None:
    assert read_fst(write_fst(fst)) == fst


def test_bytes_are_those_of_an_openfst_vector_file() -> None:
    # OpenFst, fst/fst.cc FstHeader::Write and fst/vector-fst.h: magic 2125659606, the names with
    # 32-bit lengths, version 2, flags, 64-bit properties, start, states, arcs; then each state.
    fst = Fst(start=0, arcs=[[Arc(2, 1, 0.5, 1)], []], finals={1: 0.0})
    expected = (
        struct.pack("<i", 2125659606)
        + struct.pack("<i", 6) + b"vector"
        + struct.pack("<i", 8) + b"standard"
        + struct.pack("<iiQqqq", 2, 0, 3, 0, 2, 1)
        + struct.pack("<fq", math.inf, 1) + struct.pack("<iifi", 2, 1, 0.5, 1)
        + struct.pack("<fq", 0.0, 0)
    )  # fmt: skip
    assert write_fst(fst) == expected


@pytest.mark.parametrize(
    "raw",
    [b"", b"abc", b"\0" * 80, write_fst(Fst(arcs=[[Arc(1, 1, 0.0, 0)]], finals={0: 0.0}))[:-3]],
)
def test_other_bytes_are_refused(raw: bytes) -> None:
    with pytest.raises(GivenError):
        read_fst(raw)
