"""Doors to one's own sign-in: the password given again, and what was changed."""
