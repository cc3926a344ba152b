"""The errors that only text messages know."""

from __future__ import annotations

from assistant.errors import GivenError, MisuseError

__all__ = ["CarrierBusyError", "CarrierRefusedError", "ClaimLostError"]


class ClaimLostError(MisuseError):
    """Another worker has taken over a message, or the case has gone on meanwhile."""


class CarrierBusyError(GivenError):
    """The carrier could not be reached or is overloaded; the same message may go later."""


class CarrierRefusedError(GivenError):
    """The carrier will never take this message."""
