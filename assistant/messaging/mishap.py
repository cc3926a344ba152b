"""Naming an error for the log, which must hold no number and no text."""

from __future__ import annotations

import traceback

__all__ = ["place_of"]


def place_of(error: BaseException) -> str:
    """Name an error's kind and where it was raised, without its words."""
    frames = traceback.extract_tb(error.__traceback__)
    where = f"{frames[-1].filename.rsplit('/', 1)[-1]}:{frames[-1].lineno}" if frames else "?"
    return f"{type(error).__name__} at {where}"
