"""How long work takes: the business's task times, the estimate of a visit, and fitting both to finished jobs."""
