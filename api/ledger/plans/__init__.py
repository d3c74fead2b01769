"""Stored plans, which of them is posted, and one crew's day of it, as reads; and what is noted on a posted day."""
