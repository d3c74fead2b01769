"""The engine. Week in, plan out: `README.md` has its mathematics on one page; `scheduler` is its public face.

model: the week as arrays, and plans of routes. pricing: routes of one crew day. master: rows, cuts, linear and integer
programs. search: how plans are found and proven. reasons: why a job waits. planning: the one call. again: planning
anew, offers, moves by hand. worth: what would pay. Each imports only those named before it.
"""
