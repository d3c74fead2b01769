"""The facts that weeks and pages are built from: of a week, of single jobs, and what must be true before a visit."""
