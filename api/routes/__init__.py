"""The doors: one module a noun. Each reads what was sent, says who may, calls one function of a subject, and shows.

A page answers in JSON too where a program asks for it.
"""
