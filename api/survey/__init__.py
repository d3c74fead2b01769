"""Surveys of walls: the form, its drawing as it is typed, and keeping what two people edit at once."""
