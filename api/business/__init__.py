"""The business itself: what it decides, its first days, and reading one from files."""
