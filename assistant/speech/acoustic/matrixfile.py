"""Matrices as Kaldi's files hold them: floats, or compressed to two bytes or one byte an entry.

Source of the layouts: ``CompressedMatrix`` of Kaldi, which ``Matrix::Read`` takes where an
uncompressed matrix is expected. Both compressed forms lie on steps of one size, a power of two, so
that what is read back is exact in single precision and written again gives the same bytes.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["in_8_bits", "in_16_bits", "matrix_bytes", "read_matrix"]

_MOST_STEPS: Final = 32767
_LEVELS: Final = 255
_MARKS: Final = (0, 64, 192, 255)
"""The levels whose values the head of a column tells; those between lie evenly."""
_HEAD: Final = struct.Struct("<ffii")


def in_16_bits(values: NDArray[Any]) -> tuple[NDArray[np.uint16], float]:
    """Give a matrix as whole steps, 32768 for zero, and the step.

    The step is a power of two, of which the largest entry has at most 32767: so what is read
    back is exact in single precision, gives the same steps again, and is at most half a step off
    (a whole one for an entry within half a step of a power of two).
    """
    largest = float(np.abs(values).max(initial=0.0))
    step = 2.0 ** (int(np.frexp(largest)[1]) - 15)
    steps = np.round(np.asarray(values, np.float64) / step).clip(-_MOST_STEPS, _MOST_STEPS)
    return (steps + _MOST_STEPS + 1).astype(np.uint16), step


def in_8_bits(
    values: NDArray[Any],
) -> tuple[NDArray[np.uint8], NDArray[np.int64], NDArray[np.int64], float]:
    """Give a matrix as levels from 0 to 255 in columns of their own: levels, least, rise, step.

    An entry is (least + rise x level) x step, with ``least`` and ``rise`` those of its column,
    whole numbers of steps. It is half a rise off at most, but for what 16 bits lose. A column that
    lies on such levels gets them again.
    """
    steps, step = in_16_bits(values)
    whole = steps.astype(np.int64)
    least = whole.min(0, initial=_MOST_STEPS * 2)
    above = whole - least
    common = np.maximum(np.gcd.reduce(above, axis=0), 1)
    needed = np.maximum(-(-above.max(0, initial=0) // _LEVELS), 1)
    # The head of a column ends at level 255, which must have a place in its two bytes
    needed = np.where(common * _LEVELS >= above.max(0, initial=0), common, needed)
    needed = np.minimum(needed, np.maximum((2 * _MOST_STEPS + 1 - least) // _LEVELS, 1))
    levels = np.round(above / needed).clip(0, _LEVELS)
    return levels.astype(np.uint8), least, needed, step


def matrix_bytes(values: NDArray[Any], *, one_byte: bool = False) -> bytes:
    """Give ``values`` compressed: with ``one_byte`` in 8 bits an entry, else in 16."""
    if one_byte:
        levels, least, rise, step = in_8_bits(values)
        heads = (least[:, None] + rise[:, None] * np.array(_MARKS)).astype("<u2")
        kind, body = b"CM ", heads.tobytes() + levels.T.tobytes()
    else:
        steps, step = in_16_bits(values)
        kind, body = b"CM2 ", steps.astype("<u2").tobytes()
    bottom, span = -(_MOST_STEPS + 1) * step, (2 * _MOST_STEPS + 1) * step
    head = _HEAD.pack(bottom, span, *np.shape(values))
    return b"".join((kind, head, body))


def read_matrix(data: bytes, at: int) -> tuple[NDArray[np.float32], int]:
    """Read the matrix at ``at``, compressed or not; give it and where it ends."""
    if data[at : at + 2] != b"CM":
        rows, columns = struct.unpack_from("<xixi", data, at + 3)
        end = at + 13 + 4 * rows * columns
        return np.frombuffer(data[at + 13 : end], "<f4").reshape(rows, columns), end
    start = data.index(b" ", at) + 1
    bottom, span, rows, columns = _HEAD.unpack_from(data, start)
    step = span / (2 * _MOST_STEPS + 1)
    begin = start + _HEAD.size
    if data[at : start - 1] == b"CM2":
        end = begin + 2 * rows * columns
        steps = np.frombuffer(data[begin:end], "<u2").reshape(rows, columns)
        return (bottom + step * steps).astype(np.float32), end
    body = begin + 8 * columns
    end = body + rows * columns
    heads = np.frombuffer(data[begin:body], "<u2").reshape(columns, 4).astype(np.float64)
    levels = np.frombuffer(data[body:end], np.uint8).reshape(columns, rows)
    column = np.arange(columns)[:, None]
    piece = np.searchsorted(_MARKS[1:3], levels, side="left")
    low, high = np.array(_MARKS[:3])[piece], np.array(_MARKS[1:])[piece]
    near, far = heads[column, piece], heads[column, piece + 1]
    steps = near + (far - near) * (levels - low) / (high - low)
    return (bottom + step * steps.T).astype(np.float32), end
