"""From what was told to the next check and the verdict: worlds, belief, choice."""
