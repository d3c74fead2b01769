"""The roster: who rides with whom on each day of the weeks ahead, filled by the solver, set by hand, taken back."""
