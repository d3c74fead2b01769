"""The commands that plan: a week, the rest of a week again, offers, the crews of a week, and what would pay."""
