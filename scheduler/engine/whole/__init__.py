"""The whole of a week as one CP-SAT model, for crews that meet."""
