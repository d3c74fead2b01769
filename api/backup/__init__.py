"""Backups: all that the service keeps in one file, verified by reading it back, and put back from it."""
