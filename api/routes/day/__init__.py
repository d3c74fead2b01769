"""Addresses of a crew's day."""
