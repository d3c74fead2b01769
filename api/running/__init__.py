"""The day as it runs: where each crew is, how far behind, and which promises are at risk because of it."""
