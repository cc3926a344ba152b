"""One module a step; they name each other by ``revision`` and ``down_revision``."""
