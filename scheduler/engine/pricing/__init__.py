"""Pricing: the routes of one crew day with a negative reduced cost, by labels."""
