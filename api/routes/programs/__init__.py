"""Doors for programs: tokens, what has changed, and who is told of it by webhook."""
