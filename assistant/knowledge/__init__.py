"""What is known: installation schema, faults, repairs, checks and cautions as validated data."""

from assistant.knowledge.loader import Knowledge, load, pair_of, pairs_of, positions_of

__all__ = ["Knowledge", "load", "pair_of", "pairs_of", "positions_of"]
