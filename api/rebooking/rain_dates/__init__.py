"""Rain dates: another day held for a posted visit, should the first be weathered out."""
