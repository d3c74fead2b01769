"""Local search: a plan held as arrays, what a change of one route costs, ruin and recreate."""
