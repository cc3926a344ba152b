"""Every event of every case, kept so that a case goes on after the machine went off.

``keeping`` is not imported here: it brings the dialogue with it, which a process that only looks
at the store does not need.
"""

from assistant.casebook.memory import MemoryCasebook
from assistant.casebook.records import Casebook, CaseRow, StoredEvent

__all__ = ["CaseRow", "Casebook", "MemoryCasebook", "StoredEvent"]
