"""Jobs: the list, the story of each, and the rows that somebody types."""
