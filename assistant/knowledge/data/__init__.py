"""The data files of what is known."""
