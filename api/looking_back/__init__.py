"""The owner's page: what planned weeks came to, what was lost, and what would pay next."""
