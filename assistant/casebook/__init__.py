"""Every event of every case, kept so that a case goes on after the machine went off."""

from assistant.casebook.keeping import KeptCase
from assistant.casebook.memory import MemoryCasebook
from assistant.casebook.records import Casebook, CaseRow, StoredEvent

__all__ = ["CaseRow", "Casebook", "KeptCase", "MemoryCasebook", "StoredEvent"]
