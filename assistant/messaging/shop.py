"""What the exchange of texts knows of the shop it answers for."""

from __future__ import annotations

import zlib
from dataclasses import dataclass

from assistant.messaging.texts import say

__all__ = ["Shop"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop:
    """The shop, and the time at which a text is answered (``now``, ISO 8601).

    ``hours`` and ``phone`` are words for people and may be empty. ``worlds`` is how many worlds a
    case draws, None for the usual number. ``seed`` fixes every draw of every case; None gives
    each case a seed of its own, made from its id.
    """

    name: str
    now: str
    hours: str = ""
    phone: str = ""
    worlds: int | None = None
    seed: int | None = None

    @property
    def contact(self) -> str:
        """Say how to reach a person, with a space behind it; empty where it is not known."""
        phone = say("contact_phone", phone=self.phone) if self.phone else ""
        return phone + (say("contact_hours", hours=self.hours) if self.hours else "")

    def seed_of(self, case_id: str) -> int:
        """Give the seed of a case: the shop's own, or the CRC-32 of the case's id."""
        return zlib.crc32(case_id.encode()) if self.seed is None else self.seed
