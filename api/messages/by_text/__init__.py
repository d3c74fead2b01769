"""Text messages: the gateway that sends them, and a call to it."""
