"""Best paths, held to all paths of small sounds."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.speech.alignments import any_phones, only_silence, phone_paths

if TYPE_CHECKING:
    from numpy.typing import NDArray

BLANK, PHONE = 2.25, 0.75


def _said(path: tuple[int, ...]) -> tuple[int, ...]:
    """Give what a path says: runs count once, blanks not at all (Graves et al., ICML 2006)."""
    return tuple(label for label, _ in itertools.groupby(path) if label)


def _worth(scores: NDArray[np.float32], path: tuple[int, ...]) -> float:
    return float(sum(row[label] for row, label in zip(scores, path, strict=True))) - BLANK * sum(
        label == 0 for label in path
    )


@st.composite
def _scores(draw: st.DrawFn) -> NDArray[np.float32]:
    frames = draw(st.integers(1, 6))
    values = draw(st.lists(st.floats(-9, 0, width=32), min_size=3 * frames, max_size=3 * frames))
    return np.array(values, dtype=np.float32).reshape(frames, 3)


_WAYS = st.lists(st.lists(st.integers(1, 2), min_size=1, max_size=4), min_size=1, max_size=3)


@given(_scores(), _WAYS)
def test_the_path_of_a_phrase_is_the_best_of_all_that_say_it(
    scores: NDArray[np.float32], ways: list[list[int]]
) -> None:
    paths = list(itertools.product(range(3), repeat=len(scores)))
    for way, found in zip(ways, phone_paths(scores, ways, BLANK), strict=True):
        worth = [_worth(scores, path) for path in paths if _said(path) == tuple(way)]
        if worth:
            assert found == pytest.approx(max(worth), abs=1e-3)
        else:
            assert found < -1e29  # more phones than there is time for


@given(_scores())
def test_any_phones_are_the_best_of_all_paths_that_say_something(
    scores: NDArray[np.float32],
) -> None:
    paths = itertools.product(range(3), repeat=len(scores))
    worth = [
        _worth(scores, path) - PHONE * len(_said(path)) for path in paths if len(_said(path)) > 0
    ]
    assert any_phones(scores, BLANK, PHONE) == pytest.approx(max(worth), abs=1e-3)


@given(_scores())
def test_silence_is_the_path_of_blanks(scores: NDArray[np.float32]) -> None:
    wanted = _worth(scores, (0,) * len(scores))
    assert only_silence(scores, BLANK) == pytest.approx(wanted, abs=1e-3)
