"""Customers, sites and jobs from files as offices have them: one line may make a customer, a site, an awning and a job.

`columns.py` says what can stand in a line, `reading.py` joins what it holds in pieces, `recognize.py` finds the rows
that it means, `rows.py` takes it in.
"""
