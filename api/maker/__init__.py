"""Orders to the makers: what is on order for which awning, what is late, the paper and its mail."""
