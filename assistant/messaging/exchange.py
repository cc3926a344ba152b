"""What a customer's text leads to: events of a case, replies, and what is kept of the number.

Pure: ids and the time come in by arguments, dialogues are given by the caller, nothing is sent.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from assistant.messaging.memory import recall
from assistant.messaging.records import Outcome
from assistant.messaging.reserved import reserved
from assistant.messaging.segments import bodies, segments
from assistant.messaging.shop import Shop
from assistant.messaging.texts import say, spoken_words
from assistant.messaging.turn import Turn

if TYPE_CHECKING:
    from assistant.messaging.records import Dialogues, IncomingText, Thread
    from assistant.messaging.reserved import Reserved

__all__ = ["Shop", "exchange"]

_MOST_SEGMENTS: Final = 10


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

    The carriers' words go before everything: STOP and its like give no reply at all, and neither
    does any text of a number that has opted out or that a person at the shop answers. YES is an
    answer to what is open, unless the number had opted out: then it is back, as the carrier has
    it.
    """
    word = reserved(message.text)
    if word == "leave":
        return Outcome(thread=replace(thread, opted_out=True))
    if thread.opted_out and word != "back":
        return Outcome(thread=thread)
    if word == "help":
        return Outcome(thread=thread, replies=bodies(_help(shop)))
    turn = Turn(
        thread=replace(thread, opted_out=False),
        message=message,
        dialogues=dialogues,
        shop=shop,
        new_case_id=new_case_id,
        memory=recall(thread),
        later=later,
    )
    text = _reply(turn, word, back=thread.opted_out)
    return Outcome(
        thread=replace(turn.thread, memory=turn.memory.written()),
        events=turn.events,
        replies=bodies(text),
        closed=turn.closed,
    )


def _reply(turn: Turn, word: Reserved | None, *, back: bool) -> str:
    message = turn.message
    if turn.thread.held_by:
        return ""
    lead = ""
    if back or (word == "back" and spoken_words(message.text) != "yes"):
        lead = say("back", shop=turn.shop.name)
    elif segments(message.text) > _MOST_SEGMENTS:
        lead = say("too_long")
    elif message.place:
        lead = say("place")
    elif message.media:
        lead = say("picture")
        if spoken_words(message.text):
            return f"{lead} {turn.answered(message.text)}".strip()
    else:
        return turn.answered(message.text)
    return f"{lead} {turn.open_question()}".strip()


def _help(shop: Shop) -> str:
    """Name the shop, how to end the messages, and that rates apply (CTIA Messaging Principles)."""
    text = say("help", shop=shop.name, contact=shop.contact)
    return f"{text[:1].upper()}{text[1:]}"
