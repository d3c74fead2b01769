"""The yards' shelves, kept by moves."""
