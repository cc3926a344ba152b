"""The webhook's answer in the carrier's markup (TwiML), well-formed for any text."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from twilio.twiml.messaging_response import MessagingResponse

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["MEDIA_TYPE", "printable", "twiml"]

MEDIA_TYPE: Final = "application/xml"
# What XML 1.0 (section 2.2, "Char") does not allow, and the C1 controls, which nobody can read.
_UNPRINTABLE: Final = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]"
)


def printable(text: str) -> str:
    """Give ``text`` without control characters and other code points that XML forbids."""
    return _UNPRINTABLE.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))


def twiml(bodies: Sequence[str] = ()) -> str:
    """Give the answer that sends each of ``bodies`` as a message; empty bodies are left out."""
    response = MessagingResponse()
    for body in map(printable, bodies):
        if body.strip():
            response.message(body)
    return str(response)
