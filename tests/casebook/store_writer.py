"""Keeps events as fast as it can and says so after each; made to be killed."""

from __future__ import annotations

import sys

from assistant.casebook.records import StoredEvent
from assistant.casebook.sql import SqlCasebook
from assistant.conversation.events import Opened, Typed
from assistant.knowledge.schema import Complaint, Installation

book = SqlCasebook(sys.argv[1])
opened = Opened(installation=Installation(), complaint=Complaint(symptom="noise"))
book.open_case("k", StoredEvent(sequence=0, at="t", event=opened))
for number in range(1, 100_000):
    book.append("k", StoredEvent(sequence=number, at="t", event=Typed(text=f"answer {number}")))
    sys.stdout.write(f"{number}\n")
    sys.stdout.flush()
