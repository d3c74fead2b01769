"""Addresses of the week sheet, runs, plans and the owner's page."""
