"""Admission control: what one sender may ask of the machine, so that it keeps time for all others."""
