"""The dialogue as a table: events in, actions out; no clock, no input or output."""

from assistant.conversation.dialogue import Dialogue, replay

__all__ = ["Dialogue", "replay"]
