"""Text messages: the webhook, what customers write, the replies, and their delivery."""
