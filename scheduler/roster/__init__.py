"""Who rides with whom: the roster, the crews that are formed of it, and better pairs for a planned week."""
