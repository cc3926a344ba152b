"""The two families of errors: what a person gave us, and our own misuse of a part.

Every error carries ``next_step``: one sentence that says what to do about it.
"""

from __future__ import annotations

__all__ = ["GivenError", "MisuseError", "ProbetellError"]


class ProbetellError(Exception):
    """Base of both families; never raised itself."""

    def __init__(self, message: str, *, next_step: str) -> None:
        super().__init__(message)
        self.message = message
        self.next_step = next_step

    def __str__(self) -> str:
        return f"{self.message} {self.next_step}".strip()


class GivenError(ProbetellError, ValueError):
    """What the user, a file or another program gave cannot be used; nothing was changed."""


class MisuseError(ProbetellError, RuntimeError):
    """A part of the program was called in a way that it forbids; nothing was changed."""
