"""Addresses of the bench and the shelves."""
