"""``probetell forget``: erase a customer's number and all that belongs to it."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from assistant.commands.workplace import needs_messages

if TYPE_CHECKING:
    from assistant.settings import Settings

__all__ = ["run_forget"]


def run_forget(settings: Settings, *, number: str, yes: bool, practice: bool) -> int:
    """Erase ``number`` from the database and its files; give 1 when it was not confirmed."""
    with needs_messages():
        from assistant.messaging.numbers import masked, normalise
        from assistant.messaging.plan import database_of, key_of
        from assistant.messaging.work_order import open_store
    phone = normalise(number)
    if not yes:
        print(f"All messages and cases of {masked(phone)} are erased for good. Go on? (y/n) ",
              end="", flush=True)  # fmt: skip
        if sys.stdin.readline().strip().lower() not in {"y", "yes"}:
            print("Nothing was erased.")
            return 1
    store = open_store(
        database_of(settings, practice=practice), key_of(settings, practice=practice)
    )
    cases = store.forget(phone)
    print(f"Erased {masked(phone)} with {cases} {'case' if cases == 1 else 'cases'}.")
    return 0
