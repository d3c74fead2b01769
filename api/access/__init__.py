"""Who is calling, and what they may do: accounts, day links, and the guards of routes."""
