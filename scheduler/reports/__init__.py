"""What is read out of a plan: its week sheet, gap, promises, odds, and how it went."""
