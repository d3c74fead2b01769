"""The bench: an opened crate counted against its list, and what was found missing."""
