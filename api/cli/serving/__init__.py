"""`eaveboard serve`: the pages in one process, or on PostgreSQL in several that share a port."""
