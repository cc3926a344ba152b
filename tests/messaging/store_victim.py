"""Accepts, answers and sends as fast as it can and says so after each; made to be killed.

Arguments: database URL, name of the worker, number of the first message.
"""

from __future__ import annotations

import sys

from store_talk import at, event, text

from assistant.casebook.sql import SqlCasebook
from assistant.messaging.numbers import Numbers
from assistant.messaging.records import Outcome
from assistant.messaging.store_sql import SqlMessageStore

NUMBERS = 5


def number_of(message: int) -> str:
    return f"+1212555010{message % NUMBERS}"


def say(what: str, which: str) -> None:
    sys.stdout.write(f"{what} {which}\n")
    sys.stdout.flush()


def work(store: SqlMessageStore, worker: str) -> str | None:
    """Answer one message by one event and one reply; give its id, None when none is waiting."""
    claimed = store.claim(worker, now=at(1), until=at(60))
    if claimed is None:
        return None
    message_id = claimed.message.message_id
    case_id = f"case {claimed.message.number}"
    kept = len(store.case_events(case_id)) if store.casebook.has_case(case_id) else 0
    told = event(case_id, kept, key=message_id)
    store.commit(
        claimed,
        Outcome(thread=claimed.thread, events=(told,), replies=(f"re {message_id}",)),
        now=at(2),
    )
    return message_id


def main() -> None:
    url, worker, first = sys.argv[1], sys.argv[2], int(sys.argv[3])
    store = SqlMessageStore(SqlCasebook(url), Numbers(bytes(32)))
    for number in range(first, first + 100_000):
        for _ in range(2):  # every message is delivered twice
            store.accept(text(f"m{number}", number_of(number)))
        say("accepted", f"m{number}")
        answered = work(store, worker)
        if answered:
            say("answered", answered)
        for sending in store.take_sendings(worker, now=at(3), until=at(60), count=2):
            store.mark_sent(sending.sending_id, carrier_id=f"c{sending.sending_id}", now=at(4))
            say("sent", sending.body)


if __name__ == "__main__":
    main()
