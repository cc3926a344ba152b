"""What a customer says is wrong and when it comes, in words for people, by the schema's names."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["SYMPTOMS", "WHEN"]

SYMPTOMS: Final[Mapping[str, str]] = {
    "protects": "the amplifier goes into protection",
    "will_not_turn_on": "the amplifier does not turn on",
    "no_sound": "it is on, but there is no sound at all",
    "silent_channel": "one channel is silent",
    "noise": "whine, hum or other noise",
    "cuts_out": "it cuts out now and then",
    "too_hot": "the amplifier gets too hot",
}
WHEN: Final[Mapping[str, str]] = {
    "always": "always",
    "accessory": "already with the key on",
    "running": "only with the engine running",
    "seconds_after_start": "some seconds after the start",
    "loud": "when it is loud",
    "warm": "when it is warm",
    "bumps": "over bumps",
    "cranking": "while the engine is cranked",
}
