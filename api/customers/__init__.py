"""All that is kept on one customer: gathered, given out as one file, and erased."""
