"""The physics of an installation, over all worlds at once."""
