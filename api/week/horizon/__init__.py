"""The horizon: the weeks ahead planned together, from today's rows to a `week/2` document, its runs and its plan."""
