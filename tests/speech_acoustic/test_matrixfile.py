"""Compressed matrices: how far off they are, and that what is read back is written the same."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.speech.acoustic.matrixfile import in_8_bits, in_16_bits, matrix_bytes, read_matrix

SEEDS = st.integers(0, 2**32 - 1)
SIZES = st.floats(1e-6, 1e6)


@given(SEEDS, SIZES)
def test_16_bits_are_half_a_step_off_at_most_and_settle_at_once(seed: int, size: float) -> None:
    values = np.random.default_rng(seed).normal(size=(5, 7)) * size
    steps, step = in_16_bits(values)
    back = (steps.astype(np.float64) - 32768) * step
    assert np.abs(back - values).max() <= step
    assert np.mean(np.abs(back - values) <= step / 2) >= 34 / 35
    assert step <= np.abs(values).max() / 2**14
    again, same = in_16_bits(back.astype(np.float32))
    assert same == step
    assert np.array_equal(again, steps)


@given(SEEDS, SIZES, st.integers(1, 600))
def test_8_bits_are_half_a_level_off_at_most(seed: int, size: float, rows: int) -> None:
    values = np.random.default_rng(seed).normal(size=(rows, 7)) * size
    levels, least, rise, step = in_8_bits(values)
    back = (least + rise * levels.astype(np.int64) - 32768) * step
    assert np.all(np.abs(back - values) <= (rise / 2 + 1) * step)
    spread = (values.max(0) - values.min(0)) / step
    assert np.all(rise <= spread / 255 + 2)


@given(SEEDS, st.integers(300, 600))
def test_what_is_written_in_8_bits_is_written_the_same_again(seed: int, rows: int) -> None:
    values = np.random.default_rng(seed).normal(size=(rows, 5)).astype(np.float32)
    data = matrix_bytes(values, one_byte=True)
    back, end = read_matrix(data, 0)
    assert end == len(data)
    assert matrix_bytes(back, one_byte=True) == data


def test_kaldi_s_levels_of_a_column_are_those_that_are_meant() -> None:
    """Kaldi takes three straight pieces between levels 0, 64, 192 and 255: ours are one line."""
    values = np.linspace(-1.0, 1.0, 256, dtype=np.float32)[:, None] * np.array([1.0, 0.01])
    data = matrix_bytes(values, one_byte=True)
    heads = np.frombuffer(data[3 + 16 : 3 + 16 + 16], "<u2").reshape(2, 4).astype(int)
    assert np.array_equal(
        np.diff(heads) * 255, np.array([64, 128, 63]) * np.ptp(heads, axis=1)[:, None]
    )
    back, _ = read_matrix(data, 0)
    assert np.abs(back[:, 0] - values[:, 0]).max() < 1.01 / 255
    assert np.abs(back[:, 1] - values[:, 1]).max() <= 2 / 2**14  # two steps


@pytest.mark.parametrize("one_byte", [False, True])
def test_a_matrix_of_zeros_stays_one(*, one_byte: bool) -> None:
    back, _ = read_matrix(matrix_bytes(np.zeros((2, 3), np.float32), one_byte=one_byte), 0)
    assert np.array_equal(back, np.zeros((2, 3)))


def test_whole_floats_are_read_too() -> None:
    matrix = np.arange(6, dtype="<f4").reshape(2, 3)
    head = b"FM \x04" + struct.pack("<i", 2) + b"\x04" + struct.pack("<i", 3)
    back, end = read_matrix(b"..." + head + matrix.tobytes(), 3)
    assert np.array_equal(back, matrix)
    assert end == 3 + len(head) + 24
