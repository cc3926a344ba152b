"""Spoken readings for tests and the demo, and the recipe that rendered them."""
