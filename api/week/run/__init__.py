"""A run of the planner: asked for, at work in a process of its own, seen by whoever watches, and what it leaves."""
