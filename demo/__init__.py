"""The demonstration: one case of an invented workshop, played from recorded speech."""
