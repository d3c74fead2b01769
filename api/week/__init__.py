"""The week: built from the facts, planned in a process of its own, changed by hand, locked, and posted."""
