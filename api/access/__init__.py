"""Who is calling, what they may do, and that a write which is sent again is done once."""
